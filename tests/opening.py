"""Walks that can begin at once, and walks whose cautions are affirmed."""

from __future__ import annotations

from dataclasses import replace

from voicelog.conduct import Conductor
from voicelog.sheet.model import Sheet
from voicelog.walk.replies import Update


def without_gate(sheet: Sheet) -> Sheet:
    """Return the sheet without any caution to affirm."""
    return replace(sheet, gate=(), stops=tuple(replace(stop, gate=()) for stop in sheet.stops))


def affirm_all(walk: Conductor) -> Update | None:
    """Affirm every caution that is asked where the walk stands; return the last answer."""
    update = None
    while walk.state.caution is not None:
        update = walk.typed("affirmative")
    return update
