"""Written answers made into words for the ear: no figures, no symbols, numbers as people say them.

Pure. What is returned holds letters, spaces, apostrophes and the marks ``, . ?`` alone, so that no
engine spells out a symbol or takes it for an instruction.
"""

from __future__ import annotations

import re
from fractions import Fraction

from num2words import num2words

from voicelog.errors import GrammarError
from voicelog.phrases.numbers import LARGEST, say_value
from voicelog.sheet.model import Lexicon, Measure

_NUMBER = r"(?<![\w.])-?(?:\d[\d,]*[ -]\d+/\d+|\d+/\d+|\d[\d,]*(?:\.\d+)?|\.\d+)"
_FRACTION_WORDS = r"(?:quarters?|eighths?|sixteenths?|thirty seconds?)"
_SYMBOLS = {
    "%": " percent",
    "&": " and ",
    "+": " plus ",
    "=": " equals ",
    "\N{DEGREE SIGN}": " degrees ",
    "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    ";": ",",
    ":": ",",
    "(": ", ",
    ")": ", ",
    "\N{EN DASH}": ", ",
    "\N{EM DASH}": ", ",
    "!": ".",
}
_INITIALS = {"psi": "p s i"}
"""Units that are written short and said letter by letter."""


def for_the_ear(text: str, lexicon: Lexicon) -> str:
    """Return ``text`` as it is to be spoken; empty where there is nothing to say.

    ``belt deflection 3/8 in`` becomes ``belt deflection three eighths of an inch``. In another
    language than English the figures are left to the engine, which knows its own number words.
    """
    if lexicon.language is None:
        text = _numbers_said(text, lexicon)
    return _without_symbols(text, keep_figures=lexicon.language is not None)


def _numbers_said(text: str, lexicon: Lexicon) -> str:
    measures = {m.symbol: m for m in lexicon.measures.values()}
    longest_first = "|".join(re.escape(s) for s in sorted(measures, key=len, reverse=True))
    unit = rf"(?:\s?(?P<unit>{longest_first})(?!\w))?" if measures else "(?P<unit>)?"
    text = re.sub(
        rf"(?P<number>{_NUMBER}){unit}",
        lambda m: f" {_quantity(m['number'], measures.get(m['unit'] or ''))} ",
        text,
    )
    # Figures inside a word, such as those of an entry's id.
    text = re.sub(r"\d+", lambda m: f" {_in_words(int(m[0]))} ", text)
    for measure in lexicon.measures.values():
        one = measure.say[0]
        text = re.sub(rf"\b({_FRACTION_WORDS}) {one}\b", rf"\1 of {_article(one)} {one}", text)
    for short, letters in _INITIALS.items():
        text = re.sub(rf"\b{short}\b", letters, text, flags=re.IGNORECASE)
    return text


def _quantity(written: str, measure: Measure | None) -> str:
    try:
        value, denominator = _value(written)
    except ZeroDivisionError:  # not a number, whatever it is
        return written.replace("/", " over ")
    places = len(written.partition(".")[2])
    number = _number(value, denominator, places)
    if measure is None:
        return number
    one = measure.say[0]
    many = measure.say[1] if len(measure.say) > 1 else one
    part_of_one = denominator > 1 and 0 < value < 1 and "point" not in number
    return f"{number} {one if value == 1 or part_of_one else many}"


def _value(written: str) -> tuple[Fraction, int]:
    """Return the number, and the denominator it is written with; 1 where it has no vulgar fraction."""
    pieces = re.split(r"[ -]", written.lstrip("-").replace(",", ""))
    size = sum((Fraction(piece) for piece in pieces), Fraction(0))
    denominator = int(pieces[-1].partition("/")[2] or 1)
    return (-size if written.startswith("-") else size), denominator


def _number(value: Fraction, denominator: int, places: int) -> str:
    if abs(value) <= LARGEST:
        # Halves are said as quarters are, "one half"; 4/32 stays thirty-seconds, as gauges have it.
        finest = max(denominator, 4) if denominator > 1 else 10**places
        try:
            return say_value(value, Fraction(1, finest))
        except GrammarError:
            pass
    if value.denominator > 1 and denominator > 1:
        return f"{_in_words(value.numerator)} over {_in_words(value.denominator)}"
    return _in_words(float(value) if value.denominator > 1 else int(value))


def _in_words(number: float) -> str:
    try:
        return str(num2words(number)).replace("-", " ").replace(",", "")
    except OverflowError:  # longer than there are names for
        return " ".join(str(num2words(int(digit))) for digit in str(number) if digit.isdigit())


def _without_symbols(text: str, *, keep_figures: bool) -> str:
    for symbol, said in _SYMBOLS.items():
        text = text.replace(symbol, said)
    text = "".join(c if c.isalpha() or c in " ,.?'" or (keep_figures and c.isdigit()) else " " for c in text)
    text = re.sub(r"\s+([,.?])", r"\1", re.sub(r"\s+", " ", text))
    # Of marks that follow each other the last says how the sentence ends.
    text = re.sub(r"[,.?\s]*([,.?])", r"\1", text)
    return text.strip(" ,.")


def _article(word: str) -> str:
    return "an" if word[0] in "aeiou" else "a"
