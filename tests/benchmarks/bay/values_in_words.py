"""How people say a measured value, written without looking at the product's spoken numbers.

Cardinals are num2words'. Values are exact; every form of a value says that value and no other.
"""

from __future__ import annotations

from fractions import Fraction

from num2words import num2words

from voicelog.sheet.model import Reading

_PARTS = {2: ("half", "halves"), 4: ("quarter", "quarters"), 8: ("eighth", "eighths")}
_UNITS = {
    "inch": ("inch", "inches", "an"),
    "quart": ("quart", "quarts", "a"),
    "psi": ("psi", "psi", ""),
    "volt": ("volt", "volts", ""),
    "inH2O": ("inch of water", "inches of water", ""),
}


def cardinal(number: int) -> str:
    """Return the cardinal without hyphens and without "and": ``one hundred twenty five``."""
    return str(num2words(number)).replace("-", " ").replace(",", "").replace(" and ", " ")


def ways(value: Fraction, reading: Reading) -> tuple[str, ...]:
    """Return ways to say a value with its unit, the plainest first.

    ValueError for a value that this module has no words for.
    """
    one, many, article = _UNITS[reading.unit]
    if value.denominator == 1 and reading.resolution.denominator == 1:
        return tuple(f"{number} {one if value == 1 else many}" for number in _whole(int(value)))
    if reading.resolution.denominator in _PARTS:
        return tuple(_fractions(value, one, many, article))
    if 100 % reading.resolution.denominator == 0:
        return tuple(f"{number} {one if value == 1 else many}" for number in _decimals(value))
    raise ValueError(f"no words for {value} {reading.unit}")


def _whole(number: int) -> list[str]:
    forms = [cardinal(number)]
    hundreds, rest = divmod(number, 100)
    if hundreds == 1 and rest:
        forms.append(f"one hundred and {cardinal(rest)}")
        forms.append(f"one {cardinal(rest)}" if rest > 9 else f"one oh {cardinal(rest)}")
    return forms


def _fractions(value: Fraction, one: str, many: str, article: str) -> list[str]:
    whole, part = divmod(value, 1)
    if not part:
        forms = [f"{cardinal(int(whole))} {one if whole == 1 else many}"]
        return [*forms, f"{article} {one}"] if whole == 1 else forms
    singular, plural = _PARTS[part.denominator]
    counted = f"{cardinal(part.numerator)} {singular if part.numerator == 1 else plural}"
    loose = f"{'an' if singular == 'eighth' else 'a'} {singular}" if part.numerator == 1 else counted
    if not whole:
        forms = [f"{counted} {one}", f"{counted} of {article} {one}"]
        return [*forms, f"half {article} {one}"] if part == Fraction(1, 2) else forms
    head = cardinal(int(whole))
    forms = [f"{head} and {counted} {many}", f"{head} and {loose} {many}"]
    return [*forms, f"{article} {one} and {loose}" if whole == 1 else f"{head} {many} and {loose}"]


def _decimals(value: Fraction) -> list[str]:
    whole, part = divmod(value, 1)
    head = cardinal(int(whole))
    if not part:
        return [head, f"{head} point zero"]
    places = f"{int(part * 100):02d}".rstrip("0")
    digits = " ".join(cardinal(int(digit)) for digit in places)
    forms = [f"{head} point {digits}"]
    if whole and len(places) == 1:
        forms.append(f"{head} {digits}")
    if whole and len(places) == 2 and places[0] != "0":
        forms.append(f"{head} {cardinal(int(places))}")
    return forms
