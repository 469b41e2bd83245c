"""Spoken numbers as the trade says them, by enumeration.

Invariant: a spoken form stands for exactly the values listed for it, never for a rounded one. A
form that can mean two values of the same range is listed with both; nothing here picks one.
Values are :class:`fractions.Fraction` in the reading's own unit; words are lower case.

A lone "oh" and "nothing" are not forms of zero: the first is a sigh, the second often begins
"nothing wrong", and neither may become a reading.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import cache, lru_cache

from voicelog.errors import GrammarError
from voicelog.phrases.expression import Expression, Tag, choice, phrases

LARGEST = 9999
"""The largest whole part that has spoken forms."""

MOST_VALUES = 20_000
"""The most values a range may have before it is refused as too fine to say."""

_UNITS = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("zero", "ten", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_DIGIT_WORDS = {*_UNITS[1:10], "niner"}
_PARTS = {
    2: ("half", "halves"),
    4: ("quarter", "quarters"),
    8: ("eighth", "eighths"),
    16: ("sixteenth", "sixteenths"),
    32: ("thirty second", "thirty seconds"),
}
_GLYPHS = {"1/2": "½", "1/4": "¼", "3/4": "¾", "1/8": "⅛", "3/8": "⅜", "5/8": "⅝", "7/8": "⅞"}
_TEEN_TY = {teen: ty for teen, ty in zip(_UNITS[13:20], _TENS[3:10], strict=True)}
_SWAP = {**_TEEN_TY, **{ty: teen for teen, ty in _TEEN_TY.items()}}


def _distinct(forms: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(forms))


# Whole numbers


def _below_hundred(number: int) -> str:
    if number < 20:
        return _UNITS[number]
    tens, units = divmod(number, 10)
    return f"{_TENS[tens]} {_UNITS[units]}" if units else _TENS[tens]


def _cardinal(number: int, joint: str = " ") -> str:
    """Return the cardinal; ``joint`` is " " or " and ", said before the part below a hundred."""
    thousands, rest = divmod(number, 1000)
    hundreds, small = divmod(rest, 100)
    large = []
    if thousands:
        large.append(f"{_UNITS[thousands]} thousand")
    if hundreds:
        large.append(f"{_UNITS[hundreds]} hundred")
    if not large:
        return _below_hundred(small)
    return " ".join(large) + (joint + _below_hundred(small) if small else "")


@cache
def _digit_by_digit(digits: str) -> tuple[str, ...]:
    """Return the digits one by one, with zero or oh and nine or niner the same throughout."""
    return _distinct(
        " ".join(oh if d == "0" else niner if d == "9" else _UNITS[int(d)] for d in digits)
        for oh in ("zero", "oh")
        for niner in ("nine", "niner")
    )


def _whole_candidates(number: int) -> Iterator[str]:
    for joint in (" ", " and "):
        cardinal = _cardinal(number, joint)
        yield cardinal
        if cardinal.startswith(("one hundred", "one thousand")):
            yield "a" + cardinal.removeprefix("one")
    hundreds, small = divmod(number, 100)
    if hundreds > 10 and hundreds % 10:
        tail = _below_hundred(small)
        yield from (
            f"{_below_hundred(hundreds)} hundred{joint}{tail}"
            if small
            else f"{_below_hundred(hundreds)} hundred"
            for joint in (" ", " and ")
        )
    if hundreds and small:
        head = _below_hundred(hundreds)
        if small >= 10:
            yield f"{head} {_below_hundred(small)}"
        else:
            yield f"{head} oh {_UNITS[small]}"
            yield f"{head} zero {_UNITS[small]}"
    if number:
        yield from _digit_by_digit(str(number))


@cache
def _whole_forms(number: int) -> tuple[str, ...]:
    if number > LARGEST:
        raise GrammarError(
            f"the number {number} has no spoken forms: the largest is {LARGEST}",
            remedy="use a larger unit, or a smaller range, for this reading",
        )
    return _distinct(_whole_candidates(number))


# Decimals


@cache
def _decimal_tails(digits: str) -> tuple[str, ...]:
    """Return the ways to say the digits after the point; trailing zeros may be left out."""
    kept = digits.rstrip("0") or "0"
    tails: list[str] = []
    for length in range(len(kept), len(digits) + 1):
        said = digits[:length]
        tails.extend(_digit_by_digit(said))
        if length == 2 and said[0] != "0":
            tails.append(_below_hundred(int(said)))
        if length == 3 and said[0] != "0" and said[1] != "0":
            tails.append(f"{_UNITS[int(said[0])]} {_below_hundred(int(said[1:]))}")
    return _distinct(tails)


def _decimal_forms(value: Fraction, places: int) -> Iterator[str]:
    """Yield the decimal forms, with the point and, where that is how it is said, without."""
    whole, part = divmod(value, 1)
    digits = f"{int(part * 10**places):0{places}d}"
    tails = _decimal_tails(digits)
    heads = _whole_forms(int(whole))
    if not part:
        yield from heads
    if whole:
        yield from (f"{head} point {tail}" for tail in tails for head in heads)
    else:
        heads = ("zero ", "", "oh ") if part else ("zero ",)
        yield from (f"{head}point {tail}" for tail in tails for head in heads)
    if 1 <= whole <= 99 and places <= 2 and (part or places == 1):
        # "twenty six" is 26, never 20.6: after a bare ten only "oh five" or "sixty five" are clear.
        bare_ten = whole >= 20 and whole % 10 == 0
        for tail in tails:
            if not (bare_ten and tail.split()[0] in _DIGIT_WORDS):
                yield f"{_below_hundred(int(whole))} {tail}"


# Vulgar fractions


def _part_forms(numerator: int, denominator: int) -> Iterator[str]:
    """Yield the ways to say a fraction below one that end in its denominator."""
    singular, plural = _PARTS[denominator]
    if numerator != 1:
        yield f"{_below_hundred(numerator)} {plural}"
        if denominator == 4:
            yield f"{_below_hundred(numerator)} {singular}"
            yield f"{_below_hundred(numerator)} fourths"
        return
    yield f"one {singular}"
    yield f"an {singular}" if denominator == 8 else f"a {singular}"
    if denominator == 4:
        yield from ("one fourth", "a fourth")


def _fraction_forms(value: Fraction, finest: int) -> Iterator[str]:
    """Yield the forms with vulgar fractions for a resolution of ``1/finest``."""
    whole, part = divmod(value, 1)
    thirty_seconds = value * 32
    if finest == 32 and thirty_seconds.denominator == 1 and thirty_seconds < 100:
        # Tread gauges are read in thirty-seconds throughout: 4/32, not 1/8.
        in_gauge_units = tuple(_part_forms(int(thirty_seconds), 32))
        if part and not whole:
            yield from in_gauge_units
    else:
        in_gauge_units = ()
    if not part:
        yield from _whole_forms(int(whole))
        yield from in_gauge_units
        return
    parts = list(_part_forms(part.numerator, part.denominator))
    if part.denominator != finest and finest in _PARTS:
        parts.extend(_part_forms(int(part * finest), finest))
    if not whole:
        yield from parts
        if part.numerator == 1 and part.denominator <= 4:
            yield _PARTS[part.denominator][0]
        return
    for joint in (" ", " and "):
        yield from (f"{_cardinal(int(whole), joint)} and {form}" for form in parts)
    if whole < 20:
        # "one three eighths"; never "thirty two thirty seconds", which is 32/32.
        counted = (form for form in parts if not form.startswith(("a ", "an ")))
        yield from (f"{_below_hundred(int(whole))} {form}" for form in counted if "second" not in form)
    yield from in_gauge_units


# Values and their forms


def _places(denominator: int) -> int | None:
    """Return how many decimal digits hold every multiple of 1/denominator; None above three."""
    return next((places for places in range(4) if 10**places % denominator == 0), None)


@lru_cache(maxsize=65_536)
def spoken_forms(value: Fraction, resolution: Fraction) -> tuple[str, ...]:
    """Return every way a person says ``value`` of a quantity with this ``resolution``.

    The first form is the one to read back. Raises :class:`GrammarError` for a value that cannot
    be said: neither a decimal of at most three digits nor in halves down to thirty-seconds.
    """
    if value < 0:
        return tuple(f"minus {form}" for form in spoken_forms(-value, resolution))
    finest = math.lcm(value.denominator, resolution.denominator)
    if finest == 1:
        return _whole_forms(int(value))
    places = _places(finest)
    decimals = _decimal_forms(value, places) if places is not None else iter(())
    if finest in _PARTS:
        fractions = _fraction_forms(value, finest)
        return _distinct([*decimals, *fractions] if finest == 2 else [*fractions, *decimals])
    if places is None:
        raise GrammarError(
            f"the value {value} cannot be said with a resolution of {resolution}",
            remedy="use a resolution such as 1, 0.5, 0.1, 0.05, 0.01, 1/8, 1/16 or 1/32",
        )
    # "twelve and a half" is exact at 0.1 too; left out, it would be heard as a bare "twelve".
    fractions = _fraction_forms(value, 1) if (value % 1).denominator in (2, 4) else iter(())
    return _distinct([*decimals, *fractions])


def say_value(value: Fraction, resolution: Fraction) -> str:
    """Return the form to read back, as said after any doubt about style is gone."""
    return spoken_forms(value, resolution)[0]


@lru_cache(maxsize=256)
def values(low: Fraction, high: Fraction, resolution: Fraction) -> tuple[Fraction, ...]:
    """Return ``low``, ``low + resolution`` and so on, up to and including ``high`` if it is met.

    Raises :class:`GrammarError` for a resolution that is not above zero, a range upside down, or
    more than :data:`MOST_VALUES` values.
    """
    if resolution <= 0:
        raise GrammarError(f"the resolution is {resolution}", remedy="give a resolution above zero")
    if high < low:
        raise GrammarError(f"the range {low} to {high} is upside down", remedy="give the lower bound first")
    count = int((high - low) // resolution) + 1
    if count > MOST_VALUES:
        raise GrammarError(
            f"the range {low} to {high} by {resolution} has {count} values, too many to tell apart",
            remedy=f"use a coarser resolution or a narrower range, at most {MOST_VALUES} values",
        )
    return tuple(low + step * resolution for step in range(count))


def _grid(low: Fraction, resolution: Fraction) -> Fraction:
    """Return the resolution to speak in: finer when the range starts off it (0.5, 1.5, ...)."""
    return Fraction(1, math.lcm(low.denominator, resolution.denominator))


@lru_cache(maxsize=64)
def number_forms(low: Fraction, high: Fraction, resolution: Fraction) -> dict[str, tuple[Fraction, ...]]:
    """Return each spoken form with the value(s) of the range it can mean, lowest first.

    Do not change the dictionary: it is shared between calls.
    """
    grid = _grid(low, resolution)
    meanings: dict[str, tuple[Fraction, ...]] = {}
    for value in values(low, high, resolution):
        for form in spoken_forms(value, grid):
            meanings[form] = (*meanings.get(form, ()), value)
    return meanings


@lru_cache(maxsize=64)
def number_expression(
    low: Fraction, high: Fraction, resolution: Fraction, *, tag: str = "value"
) -> Expression:
    """Return one of the range's spoken forms, tagged with its value as ``str(Fraction)``.

    One tag for each value, around all its forms; a form with two meanings is under both.
    """
    grid = _grid(low, resolution)
    return choice(
        Tag(tag, str(value), phrases(spoken_forms(value, grid))) for value in values(low, high, resolution)
    )


def digits(value: Fraction, resolution: Fraction) -> tuple[str, ...]:
    """Return the ways ``value`` is written in figures, such as ``12.6`` or ``1 1/2``.

    The commonest first; a speech model often writes figures where words were said.
    """
    if value < 0:
        return tuple(f"-{form}" for form in digits(-value, resolution))
    finest = math.lcm(value.denominator, resolution.denominator)
    places = _places(finest)
    decimals = list(_written_decimals(value, places)) if places is not None else []
    if finest not in _PARTS:
        return _distinct(decimals)
    fractions = list(_written_fractions(value, finest))
    return _distinct([*decimals, *fractions] if finest == 2 else [*fractions, *decimals])


def _written_decimals(value: Fraction, places: int) -> Iterator[str]:
    whole, part = divmod(value, 1)
    wholes = [str(int(whole))] + ([f"{int(whole):,}"] if whole >= 1000 else [])
    if not part:
        yield from wholes
    if places:
        all_digits = f"{int(part * 10**places):0{places}d}"
        shortest = len(all_digits.rstrip("0")) or 1
        for length in range(shortest, places + 1):
            yield from (f"{head}.{all_digits[:length]}" for head in wholes)
            if not whole and part:
                yield f".{all_digits[:length]}"


def _written_fractions(value: Fraction, finest: int) -> Iterator[str]:
    whole, part = divmod(value, 1)
    if not part:
        yield str(int(whole))
        return
    written = [str(part)]
    if part.denominator != finest:
        written.append(f"{int(part * finest)}/{finest}")
    if finest == 32 and not whole:
        written.reverse()
    head = str(int(whole)) if whole else ""
    for form in written:
        yield f"{head} {form}" if whole else form
        if whole:
            yield f"{head}-{form}"
    if str(part) in _GLYPHS:
        yield f"{head}{_GLYPHS[str(part)]}"


# Values that are easily heard for one another


def _near_forms(value: Fraction, grid: Fraction) -> Iterator[str]:
    """Yield word strings, forms or not, that differ from a form of ``value`` by one mishearing."""
    forms = spoken_forms(value, grid)
    said_back = forms[0].split()
    yield " ".join(said_back[1:])
    yield " ".join(said_back[:-1])
    for form in forms:
        spoken = form.split()
        for place, word in enumerate(spoken):
            if word in _SWAP:
                yield " ".join((*spoken[:place], _SWAP[word], *spoken[place + 1 :]))
        yield f"{form} and a half"
        if form.endswith(" and a half"):
            yield form.removesuffix(" and a half")
        for joint in (" and a ", " and an "):
            yield form.replace(joint, " ")
            if len(spoken) >= 2:
                yield f"{spoken[0]}{joint}{' '.join(spoken[1:])}"


def confusable_values(
    value: Fraction, low: Fraction, high: Fraction, resolution: Fraction
) -> tuple[Fraction, ...]:
    """Return the other values of the range that are easily heard for ``value``, lowest first.

    A teen for its ten or the reverse in any form (fifteen, fifty), "and a half" gained or lost,
    "one half" for "one and a half", and the form read back with its first or last word lost.
    """
    meanings = number_forms(low, high, resolution)
    grid = _grid(low, resolution)
    near = {meant for form in _near_forms(value, grid) for meant in meanings.get(form, ())}
    return tuple(sorted(near - {value}))
