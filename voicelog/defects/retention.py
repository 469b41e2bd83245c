"""How long a defect's history must be kept, and which are past that; pure. Nothing is deleted here.

The record only grows: what is past its time is named, and a person decides what becomes of the whole
data folder it is in.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from voicelog.defects.book import Defect
from voicelog.errors import DefectError

DAYS = 92
"""Three months and no less: what 49 CFR 396.11(a)(4) asks for a report with its certificate and the
driver's review (seen at second hand). Local policy may ask for more."""


def keep_until(defect: Defect, days: int = DAYS) -> date | None:
    """Return the last day an ended defect must be kept; None while it is open.

    Counted from the last thing that happened to it. Raises DefectError for less than a day.
    """
    if days < 1:
        raise DefectError(f"nothing can be kept for {days} days", remedy="give one day or more")
    if defect.is_open or not defect.history:
        return None
    return defect.history[-1][0].date() + timedelta(days=days)


def past_retention(defects: Iterable[Defect], today: date, days: int = DAYS) -> tuple[Defect, ...]:
    """Return the ended defects that need be kept no longer, oldest end first."""
    due = [(until, d) for d in defects if (until := keep_until(d, days)) is not None and until < today]
    return tuple(d for _, d in sorted(due, key=lambda pair: (pair[0], pair[1].defect_id)))
