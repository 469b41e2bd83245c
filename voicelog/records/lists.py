"""Lists drawn from the events, kept in the same transaction: walks, and what concerns each point.

They only make answers quick. Whatever is read through them is read from the events themselves, and
:mod:`voicelog.records.list_proof` tells where a list is not what the events say.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from sqlite_utils import Database

from voicelog.errors import RecordError
from voicelog.records.chain import Row, stored
from voicelog.records.summary import WalkSummary
from voicelog.walk.events import (
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryLogged,
    EntryWithdrawn,
    Event,
    GroupMarkConfirmed,
    GroupMarked,
    GroupMarkReopened,
    RemarkLogged,
    RemarkTranscribed,
    SignedOff,
    WalkFinished,
    WalkStarted,
)

_WALKS = "SELECT * FROM walk_list"


def list_row(db: Database, row: Row) -> None:
    """Enter one row of ``events`` in the lists; one that cannot be read is left out."""
    try:
        list_event(db, row, stored(row).event)
    except RecordError:
        return  # an altered event: its walk's proof tells of it


def list_correction(db: Database, row: Row) -> None:
    """Enter a row that replaces an entry under that entry's points; for records made by a version before."""
    try:
        list_points(db, row, stored(row).event)
    except RecordError:
        return  # an altered event: its walk's proof tells of it


def list_event(db: Database, row: Row, event: Event) -> None:
    """Enter an event in the lists; inside the transaction that adds its ``row``."""
    if isinstance(event, WalkStarted):
        values = (
            row.walk,
            event.unit_id,
            event.unit_name,
            event.sheet_id,
            event.sheet_title,
            event.operator,
            row.at,
            row.at,
            row.number,
            row.seq,
        )
        db.execute(
            "INSERT OR IGNORE INTO walk_list (walk, unit_id, unit_name, sheet_id, sheet_title, operator,"
            " started, last, events, first_seq) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            values,
        )
        return
    db.execute("UPDATE walk_list SET last = ?, events = ? WHERE walk = ?", (row.at, row.number, row.walk))
    if isinstance(event, WalkFinished):
        db.execute("UPDATE walk_list SET finished = ? WHERE walk = ?", (row.at, row.walk))
    elif isinstance(event, SignedOff):
        db.execute(
            "UPDATE walk_list SET signed = signed || ? || char(10) WHERE walk = ?", (event.meaning, row.walk)
        )
    list_points(db, row, event)


def list_extent(db: Database, row: Row, event: Event) -> None:
    """Enter the extent of a walk that begins; apart, for a list of a version before has no place for it."""
    if isinstance(event, WalkStarted):
        db.execute("UPDATE walk_list SET extent = ? WHERE walk = ?", (event.extent, row.walk))


def list_points(db: Database, row: Row, event: Event) -> None:
    """Enter an event under the points it concerns; once, however often it is done."""
    for point_id in sorted(points_of(event, lambda entry_id: _logged(db, row.walk, entry_id))):
        db.execute(
            "INSERT OR IGNORE INTO point_list (unit_id, sheet_id, point_id, seq)"
            " SELECT unit_id, sheet_id, ?, ? FROM walk_list WHERE walk = ?",
            (point_id, row.seq, row.walk),
        )


def points_of(event: Event, logged: Callable[[str], EntryLogged | None]) -> frozenset[str]:
    """Return the ids of the points that an event concerns; ``logged`` finds an entry of its walk."""
    match event:
        case EntryLogged(corrects=corrected):
            replaced = logged(corrected) if corrected is not None else None
            return _meant(event) | (_meant(replaced) if replaced else frozenset())
        case DoubtSettled(entry_id=entry_id, claim=claim) | EntryCorrected(entry_id=entry_id, claim=claim):
            entry = logged(entry_id)
            return frozenset((claim.point_id,)) | (_meant(entry) if entry else frozenset())
        case EntryConfirmed(entry_id=entry_id) | EntryWithdrawn(entry_id=entry_id):
            entry = logged(entry_id)
            return _meant(entry) if entry else frozenset()
        case RemarkLogged(point_id=str(point_id)) | RemarkTranscribed(point_id=str(point_id)):
            return frozenset((point_id,))
        case (
            GroupMarked(point_ids=ids) | GroupMarkConfirmed(point_ids=ids) | GroupMarkReopened(point_ids=ids)
        ):
            return frozenset(ids)
        case _:
            return frozenset()


def _meant(entry: EntryLogged) -> frozenset[str]:
    candidates = (c.claim.point_id for doubt in entry.doubts for c in doubt.candidates)
    return frozenset((entry.claim.point_id, *candidates))


def _logged(db: Database, walk: str, entry_id: str) -> EntryLogged | None:
    """Return an entry of a walk as it was logged, or None."""
    found = db.query(
        "SELECT * FROM events WHERE walk = ? AND kind = 'entry logged'"
        " AND json_extract(body, '$.entry_id') = ?",
        (walk, entry_id),
    )
    for row in found:
        event = stored(Row(**row)).event
        return event if isinstance(event, EntryLogged) else None
    return None


def changed_since_signed(db: Database) -> frozenset[str]:
    """Return the signed walks whose last event is no signature: what came after it nobody signed."""
    found = db.conn.execute(
        "SELECT w.walk FROM walk_list w WHERE w.signed <> '' AND 'signed off' IS NOT"
        " (SELECT kind FROM events e WHERE e.walk = w.walk AND e.number = w.events)"
    )
    return frozenset(walk for (walk,) in found)


def walk_summaries(db: Database, where: str = "1 = 1", values: Sequence[str] = ()) -> tuple[WalkSummary, ...]:
    """Return the walks that fit an SQL condition on ``walk_list``, in the order they were started."""
    found = db.query(f"{_WALKS} WHERE {where} ORDER BY first_seq", values)
    return tuple(
        WalkSummary(
            walk=row["walk"],
            unit_id=row["unit_id"],
            unit_name=row["unit_name"],
            sheet_id=row["sheet_id"],
            sheet_title=row["sheet_title"],
            operator=row["operator"],
            started=datetime.fromisoformat(row["started"]),
            finished=datetime.fromisoformat(row["finished"]) if row["finished"] else None,
            signed=tuple(row["signed"].split("\n")[:-1]),
            last=datetime.fromisoformat(row["last"]),
            events=row["events"],
        )
        for row in found
    )
