"""The control words: published radiotelephone procedure, which this trade already speaks, and
the few the walk needs beside it.

Source of "say again", "correction", "disregard", "stand by", "affirmative", "negative": ICAO
Annex 10 volume II, chapter 5 (from memory). The rest are plain words of our own.
"""

from __future__ import annotations

COMMANDS: dict[str, tuple[str, ...]] = {
    "say again": ("say again", "repeat that"),
    "disregard": ("disregard", "disregard that", "disregard last"),
    "stand by": ("stand by",),
    "resume": ("resume", "resume listening"),
    "affirmative": ("affirmative", "affirm"),
    "negative": ("negative",),
    "next stop": ("next stop",),
    "previous stop": ("previous stop", "last stop"),
    "what is left": ("what is left", "what is left here", "what's left"),
    "where am i": ("where am i",),
    "remark": ("remark", "begin remark"),
    "end of remark": ("end of remark", "end remark"),
    "walk complete": ("walk complete", "end of walk"),
}
"""Command to the ways it is said; the first is its name."""

CORRECTION: tuple[str, ...] = ("correction", "negative")
"""Said before what replaces the last entry."""
