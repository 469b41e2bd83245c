"""What the events of entries make of a walk's state; pure."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from voicelog.walk.entries import Change, Entry, EntryStatus, points_meant
from voicelog.walk.events import (
    Claim,
    EntryConfirmed,
    EntryLogged,
)
from voicelog.walk.standing import WalkState


def logged(state: WalkState, event: EntryLogged, at: datetime) -> WalkState:
    """Return the state after an entry was logged."""
    entries = dict(state.entries)
    if event.corrects is not None and event.corrects in entries and not event.doubts:
        entries[event.corrects] = replace(entries[event.corrects], status="replaced")
        entries = _without_results_of(event.corrects, entries)
    status: EntryStatus = "doubt" if event.doubts else "standing"
    entry = Entry(event, at, event.claim, status, by=state.operators[-1] if state.operators else "")
    marked = state.marks.without(points_meant(entry))
    state = replace(state, marks=marked)
    if event.computed_from:
        # It was not said: what is asked, corrected or disregarded next is what was said last.
        entries = _without_result(event.claim, entries)
        return replace(state, entries={**entries, event.entry_id: entry})
    entries[event.entry_id] = entry
    state = replace(state, entries=entries, last_entry=event.entry_id)
    if event.doubts:
        return replace(state, asked=event.entry_id)
    point = state.sheet.points[event.claim.point_id]
    return replace(state, named=point.id, stop_id=point.stop_id, asked=None)


def changed(
    state: WalkState,
    entry_id: str,
    event: Change,
    at: datetime,
    *,
    claim: Claim | None = None,
    status: EntryStatus | None = None,
) -> WalkState:
    """Return the state after something was done about an entry, with its new claim or status, if any."""
    entry = state.entries[entry_id]
    now = replace(
        entry,
        claim=claim or entry.claim,
        status=status or entry.status,
        changes=(*entry.changes, (at, event)),
    )
    entries = {**state.entries, entry_id: now}
    if not isinstance(event, EntryConfirmed):
        state = replace(state, marks=state.marks.without(points_meant(entry) | points_meant(now)))
    corrects = entry.logged.corrects
    if status == "standing" and corrects is not None and corrects in entries:
        entries[corrects] = replace(entries[corrects], status="replaced")
        entries = _without_results_of(corrects, entries)
    if not isinstance(event, EntryConfirmed):
        entries = _without_results_of(entry_id, entries)
    return replace(state, entries=entries)


def _without_results_of(entry_id: str, entries: dict[str, Entry]) -> dict[str, Entry]:
    """Return the entries where no result counts that was computed from one that was changed."""
    return {
        key: replace(e, status="replaced") if entry_id in e.logged.computed_from else e
        for key, e in entries.items()
    }


def _without_result(claim: Claim, entries: dict[str, Entry]) -> dict[str, Entry]:
    """Return the entries where no earlier result of the same reading counts."""
    same = (claim.point_id, claim.reading_id)
    return {
        key: replace(e, status="replaced")
        if e.logged.computed_from and (e.claim.point_id, e.claim.reading_id) == same
        else e
        for key, e in entries.items()
    }
