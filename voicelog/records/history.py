"""What was said of one point of a unit over all its walks, read from the events themselves.

Reads without a sheet: what a condition or reading was called is in whatever sheet the walk was made
with. A withdrawn or replaced entry is in the history, marked as such.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from sqlite_utils import Database

from voicelog.records.chain import Row, stored
from voicelog.walk.events import (
    Claim,
    DoubtSettled,
    EntryCorrected,
    EntryLogged,
    EntryWithdrawn,
    Event,
    GroupMarkConfirmed,
    GroupMarked,
    GroupMarkReopened,
    Heard,
    RemarkLogged,
    RemarkTranscribed,
)
from voicelog.walk.remarks import Remark, remarks_in, transcribed

Standing = Literal["standing", "doubt", "replaced", "withdrawn"]


@dataclass(frozen=True, slots=True)
class PastEntry:
    """One entry of a point, as it now stands in its walk."""

    walk: str
    operator: str
    at: datetime
    entry_id: str
    claim: Claim
    status: Standing
    heard: Heard


@dataclass(frozen=True, slots=True)
class PastRemark:
    """A dictated note about the point."""

    walk: str
    remark: Remark

    @property
    def at(self) -> datetime:
        """When it was begun."""
        return self.remark.at

    @property
    def words(self) -> str:
        """Its transcript, or that there is none yet."""
        return self.remark.words

    @property
    def clips(self) -> tuple[str, ...]:
        """The SHA-256 of its sound, part by part."""
        return self.remark.clips


@dataclass(frozen=True, slots=True)
class PastMark:
    """What a group mark had to do with the point: ``sound, by group mark``, confirmed or re-opened."""

    walk: str
    at: datetime
    by: str
    what: str


@dataclass(frozen=True, slots=True)
class PointHistory:
    """Everything said of a point, oldest first."""

    entries: tuple[PastEntry, ...] = ()
    remarks: tuple[PastRemark, ...] = ()
    marks: tuple[PastMark, ...] = ()

    def readings(self, reading_id: str) -> tuple[PastEntry, ...]:
        """Return the values of a reading that stand, oldest first."""
        return tuple(e for e in self.entries if e.status == "standing" and e.claim.reading_id == reading_id)

    def before(self, walk: str) -> PointHistory:
        """Return the same without one walk."""
        return PointHistory(
            tuple(e for e in self.entries if e.walk != walk),
            tuple(r for r in self.remarks if r.walk != walk),
            tuple(m for m in self.marks if m.walk != walk),
        )


_OPERATOR = (
    "(SELECT json_extract(o.body, '$.operator') FROM events o INDEXED BY events_kind"
    " WHERE o.kind IN ('walk started', 'walk resumed', 'walk handed over') AND o.walk = e.walk"
    " AND o.number <= e.number ORDER BY o.number DESC LIMIT 1)"
)
"""Who had the walk in hand when an event was logged."""


def point_history(db: Database, unit_id: str, sheet_id: str, point_id: str) -> PointHistory:
    """Return what was said of a point of a unit; empty where nothing was."""
    # The order of the joins is fixed: from the short list of the point to its events.
    found = db.query(
        f"SELECT e.*, {_OPERATOR} AS operator FROM point_list p CROSS JOIN events e ON e.seq = p.seq"
        " WHERE p.unit_id = ? AND p.sheet_id = ? AND p.point_id = ? ORDER BY p.seq",
        (unit_id, sheet_id, point_id),
    )
    entries = _Entries()
    remarks: dict[str, dict[str, tuple[datetime, RemarkLogged]]] = {}
    marks: list[PastMark] = []
    for values in found:
        operator = values.pop("operator")
        line = stored(Row(**values))
        event: Event = line.event
        if isinstance(event, RemarkLogged):
            remarks.setdefault(line.walk, {})[event.remark_id] = (line.at, event)
        elif isinstance(event, RemarkTranscribed):
            past = remarks.get(line.walk, {}).get(event.remark_id)
            if past is None:
                continue  # a damaged record: its proof tells of it
            remarks[line.walk][event.remark_id] = (past[0], transcribed(past[1], event))
        elif isinstance(event, GroupMarked | GroupMarkConfirmed | GroupMarkReopened):
            what = {"group marked": "sound, by group mark"}.get(event.kind, event.kind)
            marks.append(PastMark(line.walk, line.at, event.by, what))
        elif isinstance(event, EntryLogged):
            entries.log(line.walk, operator, line.at, event)
        elif isinstance(event, DoubtSettled | EntryCorrected):
            entries.change(line.walk, event.entry_id, "standing", event.claim)
        elif isinstance(event, EntryWithdrawn):
            entries.change(line.walk, event.entry_id, "withdrawn")
    of_point = entries.of_point(point_id)
    said = tuple(PastRemark(walk, r) for walk, parts in remarks.items() for r in remarks_in(parts.values()))
    return PointHistory(of_point, said, tuple(marks))


class _Entries:
    """Entries as they stand after each event, by the rules of :mod:`voicelog.walk.entry_changes`."""

    def __init__(self) -> None:
        self._past: dict[tuple[str, str], PastEntry] = {}
        self._logged: dict[tuple[str, str], EntryLogged] = {}

    def of_point(self, point_id: str) -> tuple[PastEntry, ...]:
        return tuple(e for e in self._past.values() if e.claim.point_id == point_id)

    def log(self, walk: str, operator: str, at: datetime, event: EntryLogged) -> None:
        if not event.doubts:
            self._replaced(walk, event.corrects)
        if event.computed_from:
            same = (event.claim.point_id, event.claim.reading_id)
            for key, past in self._past.items():
                computed = key[0] == walk and self._logged[key].computed_from
                if computed and (past.claim.point_id, past.claim.reading_id) == same:
                    self._past[key] = replace(past, status="replaced")
        status: Standing = "doubt" if event.doubts else "standing"
        self._logged[walk, event.entry_id] = event
        self._past[walk, event.entry_id] = PastEntry(
            walk, operator, at, event.entry_id, event.claim, status, event.heard
        )

    def change(self, walk: str, entry_id: str, status: Standing, claim: Claim | None = None) -> None:
        past = self._past.get((walk, entry_id))
        if past is None:
            return
        self._past[walk, entry_id] = replace(past, status=status, claim=claim or past.claim)
        if status == "standing":
            self._replaced(walk, self._logged[walk, entry_id].corrects)
        self._without_results_of(walk, entry_id)

    def _replaced(self, walk: str, entry_id: str | None) -> None:
        if entry_id is not None and (past := self._past.get((walk, entry_id))) is not None:
            self._past[walk, entry_id] = replace(past, status="replaced")
            self._without_results_of(walk, entry_id)

    def _without_results_of(self, walk: str, entry_id: str) -> None:
        for key, past in self._past.items():
            if key[0] == walk and entry_id in self._logged[key].computed_from:
                self._past[key] = replace(past, status="replaced")
