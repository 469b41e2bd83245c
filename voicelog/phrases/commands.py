"""The control words: published radiotelephone procedure, which this trade already speaks, and
the few the walk needs beside it.

Source of "say again", "correction", "disregard", "stand by", "affirmative", "negative": ICAO
Annex 10 volume II, chapter 5 (from memory). The rest are plain words of our own.
"""

from __future__ import annotations

from voicelog.sheet.model import Language, Lexicon

MARK_THE_REST = "mark the rest of this stop sound"
"""The group mark's command, by its name."""

COMMANDS: dict[str, tuple[str, ...]] = {
    "say again": ("say again", "repeat that"),
    "disregard": ("disregard", "disregard that", "disregard last"),
    "stand by": ("stand by",),
    "resume": ("resume", "resume listening"),
    "hand over": ("hand over", "hand over the tablet"),
    "affirmative": ("affirmative", "affirm"),
    "acknowledged": ("acknowledged",),
    "negative": ("negative",),
    "next stop": ("next stop",),
    "previous stop": ("previous stop", "last stop"),
    "what is left": ("what is left", "what is left here", "what's left"),
    "what is left on the walk": ("what is left on the walk", "what is left in all"),
    MARK_THE_REST: (
        MARK_THE_REST,
        "the rest of this stop is sound",
    ),
    "what is open": ("what is open", "what was asked"),
    "where am i": ("where am i",),
    "remark": ("remark", "begin remark"),
    "end of remark": ("end of remark", "end remark"),
    "walk complete": ("walk complete", "end of walk"),
    "start the clock": ("start the clock", "start clock"),
    "stop the clock": ("stop the clock", "stop clock", "stop test"),
    "cancel test": ("cancel test", "cancel the test"),
    "read the clock": ("read the clock",),
}
"""Command to the ways it is said; the first is its name."""

OF_THE_CLOCK = frozenset({"start the clock", "stop the clock", "cancel test", "read the clock"})
"""Commands that can only be said where the sheet has a timed test."""

CORRECTION: tuple[str, ...] = ("correction", "negative")
"""Said before what replaces the last entry."""

ENGLISH = Language(
    name="English",
    commands=COMMANDS,
    correction=CORRECTION,
    is_=("is", "are", "looks", "look"),
    at=("is", "at", "reads", "measures"),
    on=("on", "at"),
    the=("the",),
    and_=("and",),
    go_to=("go to", "moving to"),
    one=("one", "side"),
    start=("start", "begin"),
    mark=("mark",),
    stop=("stop",),
)
"""The words of a lexicon that names no language."""


def language_of(lexicon: Lexicon) -> Language:
    """Return the language that a lexicon's words are in."""
    return lexicon.language or ENGLISH
