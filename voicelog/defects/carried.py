"""What the next walk of a unit begins with: its open and repaired defects, and points to recheck.

The same for a walk that is taken up or over: what has changed of them since they were carried in.
"""

from __future__ import annotations

from collections.abc import Collection

from voicelog.defects.book import Defect, UnitBook
from voicelog.defects.events import RepairCertified
from voicelog.defects.life import SHOWN
from voicelog.sheet.model import Sheet
from voicelog.walk.events import CarriedDefect, CarriedRecheck, DefectsCarried


def carried(
    book: UnitBook,
    sheet: Sheet,
    walk: str = "",
    before: tuple[CarriedDefect, ...] = (),
    asked: Collection[str] = (),
) -> DefectsCarried | None:
    """Return what is carried into a walk with a sheet, worst first; None where nothing is or is new.

    Every open defect of the unit is read out, also those of another sheet, and of a point that this
    one has no more: the operator drives the whole unit. What is to be looked at again is only of
    points of this sheet, but whatever the walk's extent. ``before`` is what was carried into the
    ``walk`` before, and ``asked`` the points it is to look at again; what it found itself is no news.
    """
    known = {defect.defect_id: defect for defect in before}
    whole = sheet.whole or sheet
    defects = tuple(
        known.get(defect.defect_id, new) if _found_in(walk, defect) else new
        for defect in book.open()
        if not all(h.said.walk == walk for h in defect.hearings)
        for new in (_carried(defect, whole),)
    )
    rechecks = tuple(
        CarriedRecheck(point_id=point_id, by=wish.by, reason=wish.reason)
        for (of_sheet, point_id), wish in book.rechecks.items()
        if of_sheet == sheet.id and wish.walk != walk and point_id not in asked
    )
    if not rechecks and set(defects) == set(before):
        return None
    again = [d.point_id for d in defects if d.look_again] + [r.point_id for r in rechecks]
    beyond = [i for i in dict.fromkeys(again) if i in whole.points and i not in sheet.points]
    return DefectsCarried(defects=defects, rechecks=rechecks, added=tuple(beyond))


def _found_in(walk: str, defect: Defect) -> bool:
    """Return whether a defect stands as it does because of what a walk itself found."""
    return defect.worst.walk == walk and not defect.after_work


def _carried(defect: Defect, sheet: Sheet) -> CarriedDefect:
    worst = defect.worst
    here = worst.sheet_id == sheet.id and worst.point_id in sheet.points
    return CarriedDefect(
        defect_id=defect.defect_id,
        point_id=worst.point_id,
        point=_named(worst.point, sheet.points[worst.point_id].full_name if here else worst.point),
        matter=worst.matter,
        what=worst.what,
        class_name=worst.class_name,
        state=defect.state,
        stood=stands(defect),
        since=f"{defect.heard_at:%Y-%m-%d}",
        look_again=defect.after_work and here,
        here=here,
    )


def _named(then: str, now: str) -> str:
    """Return a point by the name that it has now, and the one it had when the defect was heard."""
    return now if then == now else f"{now} (then {then})"


def stands(defect: Defect) -> str:
    """Return how a defect stands, in words: ``deferred until 2026-12-04``."""
    words = SHOWN[defect.state]
    if defect.state == "certified":
        words = "certified, no repair needed" if _needed_none(defect) else "repair certified"
    if defect.state == "deferred" and defect.deferred_until is not None:
        words += f" until {defect.deferred_until.isoformat()}"
    if defect.contradictions:
        words += ", since said to be sound"
    return words


def _needed_none(defect: Defect) -> bool:
    """Return whether the latest certificate says that no repair was needed."""
    made = [event for _, event in defect.history if isinstance(event, RepairCertified)]
    return bool(made) and made[-1].certifies == "no repair needed"
