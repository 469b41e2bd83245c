"""What is asked across many walks, without reading all of each: part of the record store."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from threading import RLock
from typing import NamedTuple, cast

from sqlite_utils import Database

from voicelog.records.decisions import Decided, latest_decisions
from voicelog.records.faults import faults
from voicelog.records.readings import PastReading, latest_readings, latest_values, readings_with, repaired_at
from voicelog.records.walk_facts import WalkFacts, started, walk_facts
from voicelog.sheet.model import Extent
from voicelog.walk.events import WalkStarted

_LAST = (
    "SELECT unit_id, unit_name, sheet_id, sheet_title, walk, started, max(first_seq), extent"
    " FROM walk_list WHERE finished IS NOT NULL GROUP BY unit_id, sheet_id, extent"
)
_LATEST = (
    "SELECT unit_id, sheet_id, walk, max(first_seq) FROM walk_list GROUP BY unit_id, sheet_id"
    " ORDER BY max(first_seq)"
)


class LastWalk(NamedTuple):
    """The last finished walk of a unit with a sheet and of an extent."""

    unit_id: str
    unit_name: str
    sheet_id: str
    sheet_title: str
    extent: Extent
    walk: str
    at: datetime


class Across:
    """Questions over all walks of one data folder; of :class:`voicelog.records.store.Store`."""

    def __init__(self, db: Database, path: Path, turn: RLock) -> None:
        """Take the open record."""
        self._db, self._path, self._turn = db, path, turn

    def readings(self, unit_id: str, sheet_id: str) -> tuple[PastReading, ...]:
        """Return the readings of a unit in its walks with a sheet, in the order they were logged."""
        with self._turn, faults(self._path):
            return tuple(readings_with(self._db, unit_id, sheet_id))

    def latest_readings(
        self, unit_id: str, sheet_id: str, point_id: str, reading_id: str, count: int
    ) -> list[PastReading]:
        """Return the latest values of one reading, oldest first."""
        with self._turn, faults(self._path):
            return latest_readings(self._db, unit_id, sheet_id, point_id, reading_id, count)

    def latest_values(
        self,
        unit_id: str,
        sheet_id: str,
        point_id: str,
        reading_id: str,
        count: int,
        unit: str,
        after: datetime | None,
    ) -> tuple[list[float], list[float]]:
        """Return days since 1970 and values, in ``unit``, of what :meth:`latest_readings` finds ``after``."""
        with self._turn, faults(self._path):
            key = (unit_id, sheet_id, point_id, reading_id)
            return latest_values(self._db, *key, count, unit, after)

    def repaired_at(self) -> dict[tuple[str, str, str], datetime]:
        """Return when each point (unit, sheet, point) was last repaired, where it ever was."""
        with self._turn, faults(self._path):
            return repaired_at(self._db)

    def facts_of(self, unit_id: str) -> tuple[WalkFacts, ...]:
        """Return the walks of a unit, in the order they were started."""
        with self._turn, faults(self._path):
            return walk_facts(self._db, "w.unit_id = ?", (unit_id,))

    def facts_since(self, since: datetime) -> tuple[WalkFacts, ...]:
        """Return the walks of all units that were started at ``since`` or later."""
        with self._turn, faults(self._path):
            return walk_facts(self._db, "julianday(w.started) >= julianday(?)", (since.isoformat(),))

    def started(self, walk: str) -> WalkStarted | None:
        """Return how a walk began; None where that cannot be read."""
        with self._turn, faults(self._path):
            return started(self._db, walk)

    def last_walks(self) -> tuple[LastWalk, ...]:
        """Return the last finished walk of every unit, sheet and extent."""
        with self._turn, faults(self._path):
            found = self._db.conn.execute(_LAST).fetchall()
        return tuple(
            LastWalk(unit, name, sheet, title, cast("Extent", extent), walk, datetime.fromisoformat(started))
            for unit, name, sheet, title, walk, started, _, extent in found
        )

    def latest(self) -> dict[tuple[str, str], str]:
        """Return the walk that was started last, of each unit and sheet."""
        with self._turn, faults(self._path):
            found = self._db.conn.execute(_LATEST).fetchall()
        return {(unit, sheet): walk for unit, sheet, walk, _ in found}

    def decisions(self) -> tuple[Decided, ...]:
        """Return each unit's latest decision on service, where it has one."""
        with self._turn, faults(self._path):
            return latest_decisions(self._db)
