"""What of a unit is open from other walks when one of its walks is signed; pure."""

from __future__ import annotations

from datetime import date

from voicelog.defects.book import Defect, UnitBook
from voicelog.defects.carried import stands
from voicelog.defects.from_walk import rank_of
from voicelog.walk.fitness import OpenBefore
from voicelog.walk.state import WalkState, matter_of


def open_before(book: UnitBook, state: WalkState, today: date) -> tuple[OpenBefore, ...]:
    """Return the unit's open defects that this walk does not itself say as bad, worst first.

    One whose repair is certified is left out: the shop has answered for it, and its point is asked
    for again. One that the walk found sound is not: that closes nothing.
    """
    return tuple(
        OpenBefore(
            defect_id=defect.defect_id,
            sheet_id=defect.worst.sheet_id,
            point_id=defect.worst.point_id,
            what=defect.worst.what,
            words=_words(defect),
            class_id=defect.worst.class_id,
            rank=defect.worst.rank,
            of_reading=defect.worst.matter.startswith("reading:"),
            overdue=defect.lapsed(today),
        )
        for defect in book.open()
        if defect.state != "certified" and not _said(state, defect)
    )


def _said(state: WalkState, defect: Defect) -> bool:
    """Return whether the walk says a defect as it is held, or worse."""
    return any(
        (state.sheet.id, e.claim.point_id, matter_of(state.sheet, e.claim)) == defect.key
        and rank_of(state.sheet, e.claim) >= defect.worst.rank
        for e in state.defects()
    )


def _words(defect: Defect) -> str:
    what = f"{defect.worst.point} {defect.worst.what}"
    return f"{what}, open since {defect.heard_at:%Y-%m-%d}, {stands(defect)}"
