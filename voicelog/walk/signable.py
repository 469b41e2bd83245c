"""What the record itself asks of a signature, without the sheet; pure.

:mod:`voicelog.walk.review` decides what may be signed, with the sheet and the local policy at hand.
These two rules hold below it, whatever program asks: nothing with an open doubt is signed, and a
signature means what its role can mean. So the proof of wholeness can look for both.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from voicelog.walk.events import DoubtSettled, EntryCorrected, EntryLogged, EntryWithdrawn, Event, SignedOff

Role = Literal["operator", "officer"]
SignatureMeaning = Literal["inspected by", "confirmed by"]
Decision = Literal["none", "in service", "in service with restrictions", "out of service"]

MEANINGS: dict[Role, SignatureMeaning] = {"operator": "inspected by", "officer": "confirmed by"}
"""What the signature of each role means; the mechanic's belongs to the repair, not to the walk."""

DECISIONS: tuple[Decision, ...] = ("in service", "in service with restrictions", "out of service")
"""What an officer decides. voicelog records the decision and does not make it."""


def misfit(signed: SignedOff) -> str | None:
    """Return what of a signature does not belong to its role, to follow "the signature"; or None."""
    if signed.role == "mechanic":
        return "of a mechanic does not belong to a walk"
    if signed.meaning != MEANINGS[signed.role]:
        return f"of an {signed.role} does not mean '{signed.meaning}'"
    if (signed.decision == "none") is (signed.role == "officer"):
        return f"of an {signed.role} cannot carry the decision '{signed.decision}'"
    return None


@dataclass(frozen=True, slots=True)
class _Entry:
    reading: tuple[str, str | None]
    """Point and reading that it is about."""
    computed_from: tuple[str, ...]
    corrects: str | None
    in_doubt: bool


def open_doubts(events: Iterable[Event]) -> tuple[str, ...]:
    """Return the ids of the entries in doubt after a walk's events, oldest first.

    As :mod:`voicelog.walk.state` tells it; events of other kinds change nothing here.
    """
    entries: dict[str, _Entry] = {}
    for event in events:
        match event:
            case EntryLogged():
                _log(entries, event)
            case DoubtSettled() | EntryCorrected() if event.entry_id in entries:
                known = entries[event.entry_id]
                about = (event.claim.point_id, event.claim.reading_id)
                entries[event.entry_id] = replace(known, reading=about, in_doubt=False)
                _replaced(entries, known.corrects)
                _without_results(entries, event.entry_id)
            case EntryWithdrawn() if event.entry_id in entries:
                entries[event.entry_id] = replace(entries[event.entry_id], in_doubt=False)
                _without_results(entries, event.entry_id)
    return tuple(entry_id for entry_id, entry in entries.items() if entry.in_doubt)


def _log(entries: dict[str, _Entry], event: EntryLogged) -> None:
    if not event.doubts:
        _replaced(entries, event.corrects)
    about = (event.claim.point_id, event.claim.reading_id)
    if event.computed_from:
        # The same result computed before counts no more.
        for entry_id, entry in entries.items():
            if entry.computed_from and entry.reading == about:
                entries[entry_id] = replace(entry, in_doubt=False)
    entries[event.entry_id] = _Entry(about, event.computed_from, event.corrects, bool(event.doubts))


def _replaced(entries: dict[str, _Entry], entry_id: str | None) -> None:
    if entry_id is not None and entry_id in entries:
        entries[entry_id] = replace(entries[entry_id], in_doubt=False)
        _without_results(entries, entry_id)


def _without_results(entries: dict[str, _Entry], of: str) -> None:
    for entry_id, entry in entries.items():
        if of in entry.computed_from:
            entries[entry_id] = replace(entry, in_doubt=False)
