"""How long walks and defects are kept at least, and which are past that; pure. Nothing is deleted here.

The record only grows: what is past its time is named, and a person decides what becomes of it.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from voicelog.defects.book import Defect

DAYS = 92
"""Three months and no less: what 49 CFR 396.11(a)(4) asks for a report with its certificate and the
driver's review (seen at second hand). Local policy may ask for more."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A walk or a defect that is past its time."""

    name: str
    """The id of the walk or the defect."""
    last: date
    """When the last thing happened to it."""
    until: date
    """The last day that it had to be kept."""


def months_after(day: date, months: int) -> date:
    """Return the same day so many months later, or the month's last where it has no such day."""
    years, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + years, month + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def keep_until(defect: Defect, months: int = 0) -> date | None:
    """Return the last day a defect must be kept, counted from the last thing that happened to it.

    Three months at least, whatever the policy says. None while it is open.
    """
    if defect.is_open or not defect.history:
        return None
    last = defect.history[-1][0].date()
    return max(months_after(last, months), last + timedelta(days=DAYS))


def past_retention(defects: Iterable[Defect], today: date, months: int = 0) -> tuple[Kept, ...]:
    """Return the ended defects that need be kept no longer, oldest end first."""
    due = (
        Kept(d.defect_id, d.history[-1][0].date(), until)
        for d in defects
        if (until := keep_until(d, months)) is not None and until < today
    )
    return tuple(sorted(due, key=lambda kept: (kept.until, kept.name)))


def walks_past_retention(
    walks: Mapping[str, date], defects: Iterable[Defect], today: date, months: int, repairs_months: int = 0
) -> tuple[Kept, ...]:
    """Return the walks that need be kept no longer, oldest first; none where ``months`` is 0.

    ``walks`` is the day of each walk's last event. A walk that says something of a defect is kept as
    long as the defect is.
    """
    if months == 0:
        return ()
    needed: dict[str, date] = {}
    for defect in defects:
        until = keep_until(defect, repairs_months) or date.max
        for _, event in defect.history:
            if walk := getattr(event, "walk", ""):
                needed[walk] = max(needed.get(walk, date.min), until)
    due = (
        Kept(walk, last, until)
        for walk, last in walks.items()
        if (until := max(months_after(last, months), needed.get(walk, date.min))) < today
    )
    return tuple(sorted(due, key=lambda kept: (kept.until, kept.name)))
