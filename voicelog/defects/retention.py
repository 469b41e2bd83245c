"""How long walks, their sound and defects are kept at least, what is past that, and what holds it; pure.

Three months are kept whatever the policy says, and a repair for a year. A walk is held as long as
anything still rests on it: an open defect, one within its own time, a doubt, an officer's question, a
signature that is lacking. What is held says why and what to do. Nothing is removed here.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from voicelog.defects.book import Defect, UnitBook
from voicelog.defects.events import DefectRepaired
from voicelog.defects.removal_events import Removal
from voicelog.walk.state import WalkState

DAYS = 92
"""Three months and no less: what 49 CFR 396.11(a)(4) asks for a report with its certificate and the
driver's review (seen at second hand). Local policy may ask for more."""
REPAIR_MONTHS = 12
"""A year and no less: what 49 CFR 396.3(c) asks for the record of repairs (seen at second hand). The six
months after a vehicle has left are for the local policy: voicelog does not know when one leaves."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A walk or a defect that is past its time."""

    name: str
    """The id of the walk or the defect."""
    last: date
    """When the last thing happened to it."""
    until: date
    """The last day that it had to be kept."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Why something past its time may not be removed yet."""

    why: str
    remedy: str


def months_after(day: date, months: int) -> date:
    """Return the same day so many months later, or the month's last where it has no such day."""
    years, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + years, month + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def kept_until(last: date, months: int) -> date:
    """Return the last day that a thing is kept: by the policy's months, and three months at least."""
    return max(months_after(last, months), last + timedelta(days=DAYS))


def keep_until(defect: Defect, months: int = 0) -> date | None:
    """Return the last day a defect must be kept, counted from the last thing that happened to it.

    Three months at least, whatever the policy says, and a year where it was repaired. None while it is
    open.
    """
    if defect.is_open or not defect.history:
        return None
    repaired = any(isinstance(event, DefectRepaired) for _, event in defect.history)
    return kept_until(defect.history[-1][0].date(), max(months, REPAIR_MONTHS) if repaired else months)


def past_retention(defects: Iterable[Defect], today: date, months: int = 0) -> tuple[Kept, ...]:
    """Return the ended defects that need be kept no longer, oldest end first."""
    due = (
        Kept(d.defect_id, d.history[-1][0].date(), until)
        for d in defects
        if (until := keep_until(d, months)) is not None and until < today
    )
    return tuple(sorted(due, key=lambda kept: (kept.until, kept.name)))


def walks_past(walks: Mapping[str, date], today: date, months: int) -> tuple[Kept, ...]:
    """Return the walks past the policy's own months, oldest first; none where ``months`` is 0.

    ``walks`` is the day of each walk's last event. What still holds one back is not looked at.
    """
    if months == 0:
        return ()
    due = (Kept(walk, last, kept_until(last, months)) for walk, last in walks.items())
    return tuple(sorted((k for k in due if k.until < today), key=lambda kept: (kept.until, kept.name)))


def of_defects(defects: Iterable[Defect]) -> dict[str, tuple[Defect, ...]]:
    """Return for each walk the defects that anything in it has to do with."""
    found: dict[str, dict[str, Defect]] = {}
    for defect in defects:
        for _, event in defect.history:
            if walk := getattr(event, "walk", ""):
                found.setdefault(walk, {})[defect.defect_id] = defect
    return {walk: tuple(its.values()) for walk, its in found.items()}


def held_by_defects(defects: Iterable[Defect], today: date, repairs_months: int) -> tuple[Hold, ...]:
    """Return what of a walk's ``defects`` still needs the walk."""
    found = []
    for defect in defects:
        until = keep_until(defect, repairs_months)
        if until is None:
            why = f"it speaks of the defect {defect.defect_id}, which is open"
            found.append(Hold(why, "have it repaired, certified and closed"))
        elif until >= today:
            why = f"it speaks of the defect {defect.defect_id}, which is kept until {until}"
            found.append(Hold(why, "wait until then"))
    return tuple(found)


def walks_past_retention(
    walks: Mapping[str, date], defects: Iterable[Defect], today: date, months: int, repairs_months: int = 0
) -> tuple[Kept, ...]:
    """Return the walks that need be kept no longer, oldest first; none where ``months`` is 0.

    A walk that says something of a defect is kept as long as the defect is.
    """
    speaks = of_defects(defects)
    return tuple(
        kept
        for kept in walks_past(walks, today, months)
        if not held_by_defects(speaks.get(kept.name, ()), today, repairs_months)
    )


def held_by_itself(state: WalkState, book: UnitBook, walk: str) -> tuple[Hold, ...]:
    """Return what in a walk is not settled: its end, doubts, an officer's question, the signature."""
    if state.finished is None:
        return (
            Hold(
                "it was never finished",
                "take it up with voicelog walk, say 'walk complete', and have it signed",
            ),
        )
    found = []
    if doubts := state.doubts():
        many = "a doubt is" if len(doubts) == 1 else f"{len(doubts)} doubts are"
        found.append(Hold(f"{many} open in it", f"settle it: voicelog review {walk}"))
    for recheck in book.rechecks.values():
        if recheck.walk == walk:
            why = f"an officer asked in it that {recheck.point} be looked at again, and nobody has"
            found.append(Hold(why, "it is asked for in the unit's next walk with this sheet"))
    if not found and not _signed(state):
        found.append(
            Hold(
                "no officer has signed it with a key as it now stands",
                f"let an officer look at it and sign it: voicelog review {walk}",
            )
        )
    return tuple(found)


def _signed(state: WalkState) -> bool:
    """Whether an officer's signature with a key covers all there is: only signatures come after it."""
    later = len(state.signatures)
    for number, (_, signed) in zip(state.signature_numbers, state.signatures, strict=True):
        later -= 1
        whole = state.events - number == later
        if whole and signed.meaning == "confirmed by" and signed.key_id:
            return True
    return False


def wrongly_removed(event: Removal, book: UnitBook, on: date) -> tuple[str, ...]:
    """Return for each walk that could not be removed on a day why, in plain words; of the book as it was."""
    if event.months < 1:
        return ("the policy did not say how long it is kept",)
    found = []
    speaks = of_defects(book.defects.values())
    asked = {recheck.walk for recheck in book.rechecks.values()}
    for gone in event.walks:
        until = kept_until(gone.last.date(), event.months)
        holds = held_by_defects(speaks.get(gone.walk, ()), on, event.repairs_months)
        if until >= on:
            found.append(f"{gone.walk} was to be kept until {until}")
        elif holds:
            found.append(f"{gone.walk}: {holds[0].why}")
        elif gone.walk in asked:
            found.append(f"{gone.walk}: an officer's question about it was open")
    return tuple(found)
