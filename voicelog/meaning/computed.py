"""How the result of a timed test is worded: rounded, but never across its limit.

The record keeps the exact value and bounds. Here the value has two or three figures, the bounds are rounded
outward, and all have more figures where fewer would move one to the other side of the limit.
"""

from __future__ import annotations

import decimal
from decimal import Decimal
from fractions import Fraction

from voicelog.limits.rounding import written
from voicelog.meaning.facts import Claim
from voicelog.phrases.numbers import LARGEST, say_value
from voicelog.sheet.model import Lexicon, Reading
from voicelog.sheet.timed import A_MINUTE

_SHOWN_FIGURES = 3
_SPOKEN_FIGURES = 2
"""At least: the whole part always has all of its own."""
_MOST_SPOKEN_PLACES = 3

_SYMBOLS = {
    "percent": "%",
    "degree": "°",
    "inch / inch": "in per in",
    "quart / hour": "qt/h",
    "gallon / mile": "gal/mi",
}
_SAID = {
    "percent": ("percent", "percent"),
    "degree": ("degree", "degrees"),
    "inch / inch": ("inch for each inch", "inches for each inch"),
    "quart / hour": ("quart an hour", "quarts an hour"),
    "gallon / mile": ("gallon a mile", "gallons a mile"),
}
"""Units that only results have, which no lexicon has a measure for."""


def symbol_of(unit: str, lexicon: Lexicon) -> str:
    """Return the symbol of a unit: ``psi``; of a loss, ``psi/min``."""
    of, minute = unit.removesuffix(A_MINUTE), "/min" if unit.endswith(A_MINUTE) else ""
    measure = lexicon.measures.get(of)
    return (measure.symbol if measure else _SYMBOLS.get(of, of)) + minute


def show_computed(claim: Claim, reading: Reading, lexicon: Lexicon) -> str:
    """Return a result with its bounds: ``1.96 psi/min (0.96 to 2.98)``."""
    value, low, high = (f"{number:f}" for number in _rounded(claim, reading, _SHOWN_FIGURES))
    return f"{value} {symbol_of(reading.unit, lexicon)} ({low} to {high})"


def say_computed(claim: Claim, reading: Reading, lexicon: Lexicon) -> str:
    """Return a result as it is read back: ``two psi a minute, between one and three``."""
    value, low, high = (_words(number) for number in _rounded(claim, reading, _SPOKEN_FIGURES))
    return f"{value} {_unit_said(reading, lexicon)}, between {low} and {high}"


def say_limit(reading: Reading, lexicon: Lexicon) -> str:
    """Return the limit of a result in words: ``at most two psi a minute``; empty where there is none."""
    limit = reading.limit
    if limit is None:
        return ""
    bounds = (("at least", limit.minimum), ("at most", limit.maximum))
    parts = [f"{lead} {_words(written(bound))}" for lead, bound in bounds if bound is not None]
    return f"{', '.join(parts)} {_unit_said(reading, lexicon)}"


def _unit_said(reading: Reading, lexicon: Lexicon) -> str:
    minute = " a minute" if reading.unit.endswith(A_MINUTE) else ""
    of = reading.unit.removesuffix(A_MINUTE)
    measure = lexicon.measures.get(of)
    said = _SAID.get(of, (of,)) if measure is None else measure.say
    return (said[0] if minute else said[min(1, len(said) - 1)]) + minute


def _rounded(claim: Claim, reading: Reading, least: int) -> tuple[Decimal, Decimal, Decimal]:
    limit = reading.limit
    bounds = [] if limit is None else [b for b in (limit.minimum, limit.maximum) if b is not None]
    value = claim.value or Fraction(0)
    low = value if claim.low is None else claim.low
    high = value if claim.high is None else claim.high

    def rounded(exact: Fraction, rounding: str) -> Decimal:
        figures = max(least, len(str(abs(int(exact)))))
        return written(exact, bounds, figures, rounding)

    return (
        rounded(value, decimal.ROUND_HALF_EVEN),
        rounded(low, decimal.ROUND_FLOOR),
        rounded(high, decimal.ROUND_CEILING),
    )


def _words(number: Decimal) -> str:
    """Return a rounded number in words, or in figures where it has too many of them to be said."""
    places = max(0, -int(number.as_tuple().exponent))
    if places > _MOST_SPOKEN_PLACES or abs(number) > LARGEST:
        return f"{number:f}"
    # "minus zero" would be said of a bound that is hardly below it.
    return say_value(Fraction(number), Fraction(1, 10**places))
