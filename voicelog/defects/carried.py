"""What the next walk of a unit begins with: its open and repaired defects, and points to recheck."""

from __future__ import annotations

from voicelog.defects.book import Defect, UnitBook
from voicelog.defects.life import SHOWN
from voicelog.walk.events import CarriedDefect, CarriedRecheck, DefectsCarried


def carried(book: UnitBook, sheet_id: str) -> DefectsCarried | None:
    """Return what is carried into a walk with a sheet, worst first; None where there is nothing.

    Every open defect of the unit is read out, also those of another sheet: the operator drives the
    whole unit. What is to be looked at again is only of points of this sheet.
    """
    defects = tuple(_carried(defect, sheet_id) for defect in book.open())
    rechecks = tuple(
        CarriedRecheck(point_id=point_id, by=asked.by, reason=asked.reason)
        for (of_sheet, point_id), asked in book.rechecks.items()
        if of_sheet == sheet_id
    )
    return DefectsCarried(defects=defects, rechecks=rechecks) if defects or rechecks else None


def _carried(defect: Defect, sheet_id: str) -> CarriedDefect:
    worst = defect.worst
    return CarriedDefect(
        defect_id=defect.defect_id,
        point_id=worst.point_id,
        point=worst.point,
        matter=worst.matter,
        what=worst.what,
        class_name=worst.class_name,
        state=defect.state,
        stood=stands(defect),
        since=f"{defect.heard_at:%Y-%m-%d}",
        look_again=defect.after_work and worst.sheet_id == sheet_id,
        here=worst.sheet_id == sheet_id,
    )


def stands(defect: Defect) -> str:
    """Return how a defect stands, in words: ``deferred until 2026-12-04``."""
    words = SHOWN[defect.state]
    if defect.state == "deferred" and defect.deferred_until is not None:
        words += f" until {defect.deferred_until.isoformat()}"
    if defect.contradictions:
        words += ", since said to be sound"
    return words
