"""What a list of many walks tells of each: who, when, how much was covered, how quickly. No walk is folded.

Read from the events themselves, by their kind. What a walk left out is as it was when it was ended.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlite_utils import Database

from voicelog.errors import RecordError
from voicelog.records.chain import Row, stored
from voicelog.records.lists import changed_since_signed
from voicelog.walk.events import WalkStarted

_STARTED = (
    "SELECT e.* FROM walk_list w CROSS JOIN events e ON e.seq = w.first_seq"
    " WHERE {where} ORDER BY w.first_seq"
)
_ENTRIES = (
    "SELECT w.walk, (SELECT count(*) FROM events e INDEXED BY events_kind"
    " WHERE e.kind = 'entry logged' AND e.walk = w.walk) FROM walk_list w WHERE {where}"
)
_LATER = (
    "SELECT e.walk, e.kind, e.at, e.body FROM walk_list w CROSS JOIN events e INDEXED BY events_kind"
    " ON e.walk = w.walk AND e.kind IN ('walk resumed', 'walk finished', 'signed off', 'group marked',"
    " 'group mark confirmed', 'group mark reopened') WHERE {where} ORDER BY e.seq"
)


CHANGED_SINCE = ", CHANGED SINCE"
"""After the last signature of a walk that went on since: no signature covers that."""


@dataclass(frozen=True, slots=True)
class WalkFacts:
    """One walk among many."""

    walk: str
    started: WalkStarted
    at: datetime
    operators: tuple[str, ...]
    """Whoever began it, and then each who took it up."""
    entries: int
    finished_at: datetime | None = None
    missing: tuple[str, ...] = ()
    """Ids of the required points that were not covered at its end."""
    group_marked: int = 0
    """Points that were marked sound by group, but for those that were re-opened."""
    group_confirmed: int = 0
    """How many of them the officer let stand."""
    signatures: tuple[str, ...] = ()
    """``confirmed by M. Ruiz``."""
    decision: str = ""
    """The officer's latest."""

    @property
    def seconds(self) -> float | None:
        """Return how long it took; None where it was not finished."""
        return (self.finished_at - self.at).total_seconds() if self.finished_at else None

    @property
    def seconds_an_entry(self) -> float | None:
        """Return its pace; None where it was not finished or nothing was logged."""
        return self.seconds / self.entries if self.seconds is not None and self.entries else None

    @property
    def confirmed(self) -> bool:
        """Whether an officer has signed it, and nothing was changed since."""
        signed = self.signatures
        return any(s.startswith("confirmed by") for s in signed) and not signed[-1].endswith(CHANGED_SINCE)


def walk_facts(db: Database, where: str, values: Sequence[str]) -> tuple[WalkFacts, ...]:
    """Return the walks that fit an SQL condition on ``walk_list w``, in the order they were started."""
    found: dict[str, WalkFacts] = {}
    for values_of in db.query(_STARTED.format(where=where), values):
        row = Row(**values_of)
        event = _started(row)
        if event is not None:
            at = datetime.fromisoformat(row.at)
            found[row.walk] = WalkFacts(row.walk, event, at, (event.operator,), 0)
    for walk, entries in db.conn.execute(_ENTRIES.format(where=where), values):
        if walk in found:
            found[walk] = replace(found[walk], entries=entries)
    marks: dict[str, dict[str, bool]] = {}
    for walk, kind, at, body in db.conn.execute(_LATER.format(where=where), values):
        if walk in found:
            try:
                found[walk] = _after(found[walk], marks.setdefault(walk, {}), kind, at, json.loads(body))
            except (ValueError, KeyError, TypeError):
                continue  # an altered event: its walk's proof tells of it
    for walk in changed_since_signed(db) & found.keys():
        *earlier, last = found[walk].signatures or ("",)
        found[walk] = replace(found[walk], signatures=(*earlier, last + CHANGED_SINCE))
    return tuple(
        replace(facts, group_marked=len(its), group_confirmed=sum(its.values()))
        for walk, facts in found.items()
        for its in (marks.get(walk, {}),)
    )


def started(db: Database, walk: str) -> WalkStarted | None:
    """Return how a walk began; None where that cannot be read."""
    found = db.query("SELECT * FROM events WHERE walk = ? AND number = 1", (walk,))
    return next((event for row in found if (event := _started(Row(**row)))), None)


def _started(row: Row) -> WalkStarted | None:
    try:
        event = stored(row).event
    except RecordError:
        return None  # an altered event: its walk's proof tells of it
    return event if isinstance(event, WalkStarted) else None


def _after(facts: WalkFacts, marks: dict[str, bool], kind: str, at: str, body: dict[str, Any]) -> WalkFacts:
    """Return the walk after one more event; ``marks`` are its points by group mark, and if confirmed."""
    match kind:
        case "walk resumed":
            return replace(facts, operators=(*facts.operators, body["operator"]))
        case "walk finished":
            return replace(facts, finished_at=datetime.fromisoformat(at), missing=tuple(body["missing"]))
        case "signed off":
            decision = body["decision"] if body["decision"] != "none" else facts.decision
            signed = (*facts.signatures, f"{body['meaning']} {body['by']}")
            return replace(facts, signatures=signed, decision=decision)
    for point_id in body["point_ids"]:
        if kind == "group mark reopened":
            marks.pop(point_id, None)
        elif kind == "group marked" or point_id in marks:
            marks[point_id] = kind == "group mark confirmed"
    return facts
