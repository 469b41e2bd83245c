"""How claims are worded: as they are said back, and as they are shown. Exact, never rounded."""

from __future__ import annotations

from fractions import Fraction

from voicelog.meaning.computed import say_computed, show_computed, symbol_of
from voicelog.meaning.facts import Claim
from voicelog.phrases.numbers import digits
from voicelog.phrases.quantities import say_quantity
from voicelog.sheet.model import Lexicon, Limit, Reading, Sheet
from voicelog.sheet.quantities import show


def say_what(claim: Claim, sheet: Sheet) -> str:
    """Return what is said of the point: ``dripping``, ``deflection one half inch``."""
    if claim.condition_id is not None:
        return sheet.lexicon.conditions[claim.condition_id].say[0]
    reading = sheet.points[claim.point_id].reading(claim.reading_id or "")
    if claim.low is not None:
        return f"{reading.name} {say_computed(claim, reading, sheet.lexicon)}"
    measure = sheet.lexicon.measures.get(reading.unit)
    return f"{reading.name} {say_quantity(claim.value or Fraction(0), reading, measure)}"


def say_claim(claim: Claim, sheet: Sheet) -> str:
    """Return the claim as it is said back: ``left lift cylinder dripping``."""
    return f"{sheet.points[claim.point_id].full_name} {say_what(claim, sheet)}"


def show_quantity(value: Fraction, reading: Reading, lexicon: Lexicon) -> str:
    """Return a value and its unit's symbol as the trade writes them: ``1/2 in``, ``12.6 V``."""
    # A limit may be finer than anything that is said, such as 1/64.
    written = next(iter(digits(value, reading.resolution)), show(value))
    return f"{written} {symbol_of(reading.unit, lexicon)}"


def show_value(claim: Claim, sheet: Sheet) -> str:
    """Return a reading's value as :func:`show_quantity` does; empty for a condition."""
    if claim.reading_id is None or claim.value is None:
        return ""
    if claim.low is not None:
        reading = sheet.points[claim.point_id].reading(claim.reading_id)
        return show_computed(claim, reading, sheet.lexicon)
    return show_quantity(claim.value, sheet.points[claim.point_id].reading(claim.reading_id), sheet.lexicon)


def show_limit(reading: Reading, lexicon: Lexicon) -> str:
    """Return a reading's limit in words: ``at most 3/4 in``; ``no limit`` where there is none.

    A unit's own limit is told as such, with the one that it takes the place of.
    """
    return _limit_in_words(reading.limit, reading, lexicon)


def _limit_in_words(limit: Limit | None, reading: Reading, lexicon: Lexicon) -> str:
    if limit is None:
        return "no limit"
    parts = []
    if limit.minimum is not None:
        parts.append(f"at least {show_quantity(limit.minimum, reading, lexicon)}")
    if limit.maximum is not None:
        parts.append(f"at most {show_quantity(limit.maximum, reading, lexicon)}")
    words = ", ".join(parts)
    other = limit.replaces
    if other is None:
        return f"{words}, the unit's own" if limit.own else words
    kind = "published" if other.basis == "published" else "the sheet's"
    looser = ", looser than" if limit.looser else ";"
    return f"{words}, the unit's own{looser} {kind} {_limit_in_words(other, reading, lexicon)}"
