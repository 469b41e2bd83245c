"""The record store: nothing acknowledged is lost, and nothing written is ever changed.

A data folder holds ``voicelog.db`` (SQLite: write-ahead log, synchronous=FULL), the sound under
``clips/`` and the lock files of open walks under ``locks/``. When :meth:`Store.append` returns,
its events and their sound are on the disk; when it raises, the record is as it was before. Times
come from the clock that is passed in and carry their UTC offset.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from threading import RLock
from types import TracebackType
from typing import Self

from sqlite_utils import Database

from voicelog.errors import RecordError
from voicelog.people.keys import Cost, Signer
from voicelog.records import editions, schema
from voicelog.records.across import Across
from voicelog.records.backup import copy_store
from voicelog.records.chain import (
    FIRST_PREVIOUS,
    Row,
    Stored,
    body_of,
    clip_named,
    clip_of,
    link,
    set_back,
    stored,
)
from voicelog.records.clip_files import clip_path, read_clip, write_clip
from voicelog.records.clips import Clip
from voicelog.records.defect_rows import chain_name, last_of, rows_of
from voicelog.records.defects import DefectRecord
from voicelog.records.export import Exported, to_export
from voicelog.records.faults import faults
from voicelog.records.history import PointHistory, point_history
from voicelog.records.lists import changed_since_signed, list_event, list_extent, walk_summaries
from voicelog.records.locks import held
from voicelog.records.may_append import check_opening, check_signature, gone_on
from voicelog.records.opening import open_database
from voicelog.records.people_record import PeopleRecord, person_rows
from voicelog.records.proof import store_problems, walk_problems
from voicelog.records.readings import list_readings
from voicelog.records.removal import RemovalRecord, removed_sound
from voicelog.records.removed import no_longer_there
from voicelog.records.seals import Seal, key_of, seals_of, stamped
from voicelog.records.summary import WalkSummary
from voicelog.records.walk_ids import check_walk_id, new_walk_id
from voicelog.sheet.model import Sheet
from voicelog.sheet.policy import Policy
from voicelog.walk.events import Event, WalkStarted

DATABASE = "voicelog.db"
BUSY_SECONDS = 5.0
"""How long to wait for another program that is writing."""


class Store:
    """The record of all walks in one data folder. Safe to use from several threads."""

    def __init__(self, folder: Path, db: Database, clock: Callable[[], datetime], cost: Cost) -> None:
        """Use :meth:`open` instead."""
        self.folder = folder
        self._db = db
        self._clock = clock
        self._path = folder / DATABASE
        self._clips = folder / "clips"
        self._turn = RLock()
        self.people = PeopleRecord(db, self._path, self._turn, self._writing, self._time, cost)
        """Who is on record here, and their keys."""
        self.defects = DefectRecord(db, self._path, self._turn, self._now, self.people.now)
        """The defects of every unit."""
        self.removal = RemovalRecord(
            db, self._path, self._turn, self._writing, self._now, self.people.now, self.people.roll
        )
        """What was removed when its time was past, and the removing."""
        self.across = Across(db, self._path, self._turn)
        """What is asked across many walks."""

    @classmethod
    def open(
        cls,
        folder: Path,
        *,
        clock: Callable[[], datetime],
        busy_seconds: float = BUSY_SECONDS,
        pin_cost: Cost = Cost(),  # noqa: B008 - frozen
        make: bool = True,
    ) -> Store:
        """Open the data folder, making it when it is not there; without ``make`` that is an error.

        ``clock`` gives the time now, with its UTC offset; ``pin_cost`` is what a try of a PIN costs
        for keys made from now on. Raises RecordError when the folder cannot
        be used, or holds something else than a record this version can read.
        """
        with faults(folder / DATABASE):
            db = open_database(folder, DATABASE, busy_seconds, make=make)
        return cls(folder, db, clock, pin_cost)

    def close(self) -> None:
        """Close the record; it cannot be used afterwards."""
        with self._turn, faults(self._path):
            self._db.close()

    def __enter__(self) -> Self:
        """Return the store itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the record."""
        self.close()

    def append(
        self,
        walk: str,
        events: Sequence[Event],
        clips: Sequence[Clip] = (),
        *,
        signer: Signer | None = None,
        after: int | None = None,
    ) -> tuple[Stored, ...]:
        """Add events to a walk, all or none, with the sound they came from.

        On return they are on the disk. A walk begins with ``walk started``, and with nothing else.
        Each clip must be named by one of ``events``, and each clip an event names must be in
        ``clips`` or kept in this walk already. A signature must be over the head as it is now.
        Where people are on record, ``signer`` is who does it: their role must allow each event, and
        what needs a seal gets theirs. ``after`` is how many events whoever does it was shown; the walk
        must not have gone on since. Raises RecordError, and then nothing was added.
        """
        check_walk_id(walk, self.folder)
        with self._turn, faults(self._path), self._writing() as fresh:
            number, previous = self._last(walk)
            if number == 0 and (gone := self.removal.walk(walk)):
                raise no_longer_there(gone)
            if after is not None and after != number:
                raise gone_on(walk)
            check_opening(walk, number, events)
            now = self._now()
            self._keep_clips(walk, events, clips, now, fresh)
            people = self.people.now()
            added = []
            clips_so_far, seals_so_far = partial(self._clips_named, walk), partial(seals_of, self._db, walk)
            defects_so_far = partial(self._defects_head, walk)
            for given in events:
                number += 1
                check_signature(self._db, walk, given, previous)
                event = stamped(given, people, signer, clips_so_far, seals_so_far, defects_so_far)
                body = body_of(event)
                digest = link(walk, number, now, event.kind, body, previous)
                row = Row(0, walk, number, now, event.kind, body, previous, digest)
                row = replace(row, seq=schema.insert_row(self._db, row))
                list_event(self._db, row, event)
                list_extent(self._db, row, event)
                list_readings(self._db, row)
                added.append(stored(row))
                if signer is not None and key_of(event):
                    seal = Seal(walk, number, signer.key_id, signer.seal(digest))
                    self._db.table("seals").insert(asdict(seal))
                previous = digest
        return tuple(added)

    def events(self, walk: str) -> tuple[Stored, ...]:
        """Return a walk's events in order; empty when there is no such walk."""
        with self._turn, faults(self._path):
            return tuple(stored(row) for row in schema.rows(self._db, "walk = ?", (walk,)))

    def head(self, walk: str, number: int | None = None) -> str:
        """Return the hash of the walk's last event, or of event ``number``; 64 zeros where there is none."""
        with self._turn, faults(self._path):
            if number is None:
                return self._last(walk)[1]
            found = self._db.query("SELECT hash FROM events WHERE walk = ? AND number = ?", (walk, number))
            return next((str(row["hash"]) for row in found), FIRST_PREVIOUS)

    def walks(self) -> tuple[WalkSummary, ...]:
        """Return every walk, in the order they were started."""
        with self._turn, faults(self._path):
            return walk_summaries(self._db)

    def walks_of(self, unit_id: str) -> tuple[WalkSummary, ...]:
        """Return every walk of a unit, in the order they were started."""
        with self._turn, faults(self._path):
            return walk_summaries(self._db, "unit_id = ?", (unit_id,))

    def point_history(self, unit_id: str, sheet_id: str, point_id: str) -> PointHistory:
        """Return what was said of a point of a unit in all its walks, oldest first."""
        with self._turn, faults(self._path):
            return point_history(self._db, unit_id, sheet_id, point_id)

    def changed_since_signed(self) -> frozenset[str]:
        """Return the signed walks that went on after their last signature, which does not cover that."""
        with self._turn, faults(self._path):
            return changed_since_signed(self._db)

    def open_walk(self, unit_id: str, sheet_id: str) -> str | None:
        """Return the latest walk of this unit and sheet that was not finished, or None."""
        with self._turn, faults(self._path):
            found = walk_summaries(
                self._db, "unit_id = ? AND sheet_id = ? AND finished IS NULL", (unit_id, sheet_id)
            )
        return found[-1].walk if found else None

    def new_walk_id(self, unit_id: str, at: datetime) -> str:
        """Return an id that no walk here has, such as ``engine_61-20261125-0710-1``.

        It is not set aside: of two who start a walk under one id, the second is refused.
        """
        with self._turn, faults(self._path):
            return new_walk_id(self._db, unit_id, at)

    def clip(self, sha256: str) -> bytes:
        """Return a clip's FLAC file; RecordError when it is missing or was altered."""
        with faults(self._clips):
            try:
                return read_clip(self._clips, sha256)
            except RecordError:
                if gone := self.removal.of_clip(sha256):
                    raise removed_sound(gone) from None
                raise

    def verify(self, walk: str) -> tuple[str, ...]:
        """Return what is wrong with a walk's record, in plain words; empty when it is whole.

        Finds altered, missing, moved and added events, a broken chain, and altered or missing
        sound. Safe while the walk is running.
        """
        with faults(self._path), self._aside() as db:
            return walk_problems(db, self._clips, walk)

    def verify_all(self) -> tuple[str, ...]:
        """Return what is wrong with the whole record: the file, its guards, and every walk."""
        with faults(self._path), self._aside() as db:
            return store_problems(db, self._clips)

    def exported(self, walk: str, sheet: Sheet) -> Exported:
        """Return what :mod:`voicelog.records.export` writes of a walk; ``sheet`` is what it was made with.

        Raises RecordError for sound that is missing or was altered.
        """
        with self._turn, faults(self._path), self._db.atomic():
            rows = schema.rows(self._db, "walk = ?", (walk,))
            seals = seals_of(self._db, walk)
            people = person_rows(self._db)
            chain, chain_seals = self._unit_chain(walk)
        named = {sha for row in rows if (sha := clip_named(row)) is not None}
        clips = [] if self.removal.without_sound(walk) else sorted(named)
        held = tuple((sha, self.clip(sha)) for sha in clips)
        with faults(self.folder):
            made_with = tuple(sorted((sha, Path(path).read_bytes()) for sha, path in sheet.sources))
        return to_export(rows, seals, people, made_with, held, chain, chain_seals)

    def clock_set_back(self, walk: str) -> bool:
        """Return whether the clock was set back during the walk: a remark, not a fault."""
        return bool(set_back(self.events(walk)))

    def keep_editions(self, sheet: Sheet) -> None:
        """Keep the files that a sheet was made from, so that its walks can be read as they were made."""
        with self._turn, faults(self.folder):
            editions.keep(self.folder, ((sha256, Path(path)) for sha256, path in sheet.sources))

    def keep_policy(self, policy: Policy) -> None:
        """Keep the local policy that a signature names. Raises RecordError when its file was changed."""
        with self._turn, faults(self.folder):
            editions.keep_policy(self.folder, policy)

    def backup(self, target: Path) -> None:
        """Copy the record and its sound to ``target``, whole even while a walk is running.

        Run again on the same target, it brings that copy up to date. Raises RecordError when the
        target holds another record, or when not all could be copied.
        """
        with faults(target), self._aside() as db:
            copy_store(db, self.folder, target)

    @contextmanager
    def lock(self, walk: str) -> Iterator[None]:
        """Hold the walk for writing; RecordError when another window or program holds it.

        The lock goes away with the process, also when that is killed.
        """
        check_walk_id(walk, self.folder)
        with held(self.folder / "locks" / f"{walk}.lock", walk):
            yield

    @contextmanager
    def _aside(self) -> Iterator[Database]:
        """Open the record once more, so that long reading does not hold up a running walk."""
        with Database(sqlite3.connect(self._path, timeout=BUSY_SECONDS)) as db:
            yield db

    @contextmanager
    def _writing(self) -> Iterator[list[Path]]:
        """Hold the only write transaction; yields the list to note newly written clips in."""
        fresh: list[Path] = []
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield fresh
        except BaseException:
            # Still inside the transaction, so no other writer can have come to rely on these.
            for path in fresh:
                with suppress(OSError):
                    path.unlink()
            self._db.rollback()
            raise
        try:
            self._db.commit()
        except BaseException:
            # The clips stay: a commit that failed late may yet be found whole after a power cut.
            self._db.rollback()
            raise

    def _keep_clips(
        self, walk: str, events: Sequence[Event], clips: Sequence[Clip], now: str, fresh: list[Path]
    ) -> None:
        """Write the clips and their rows, when they are the ones the events name."""
        kept = self._clips_of(walk)
        named = {sha for event in events if (sha := clip_of(event)) is not None}
        given = {clip.sha256: clip for clip in clips}
        if strays := (named - kept - given.keys()) | (given.keys() - named):
            raise RecordError(
                f"The sound and the events do not belong together: clip {min(strays)[:12]}.",
                where=f"walk {walk}",
                remedy="This is a fault of voicelog: report it. Say the entry once more.",
            )
        for sha, clip in given.items():
            if write_clip(self._clips, clip):
                fresh.append(clip_path(self._clips, sha))
            if sha not in kept:
                row = {
                    "walk": walk,
                    "sha256": sha,
                    "seconds": clip.seconds,
                    "bytes": len(clip.flac),
                    "added": now,
                }
                self._db.table("clips").insert(row)

    def _clips_of(self, walk: str) -> set[str]:
        """Return the SHA-256 of every clip that is noted for the walk."""
        return {row["sha256"] for row in self._db.query("SELECT sha256 FROM clips WHERE walk = ?", (walk,))}

    def _clips_named(self, walk: str) -> set[str]:
        """Return the SHA-256 of every clip that an event of the walk names, also where they were removed."""
        rows = schema.rows(self._db, "walk = ?", (walk,))
        return {sha for row in rows if (sha := clip_named(row)) is not None}

    def _unit_of(self, walk: str) -> str:
        """Return the id of the unit that a walk is of; empty when there is no such walk."""
        for row in schema.rows(self._db, "walk = ? AND number = 1", (walk,)):
            event = stored(row).event
            return event.unit_id if isinstance(event, WalkStarted) else ""
        return ""

    def _defects_head(self, walk: str) -> str:
        """Return the hash of the last event of the defects of a walk's unit; 64 zeros where it has none."""
        return last_of(self._db, self._unit_of(walk))[1]

    def _unit_chain(self, walk: str) -> tuple[list[Row], list[Seal]]:
        """Return the defects of a walk's unit, and the seals over them."""
        unit = self._unit_of(walk)
        return rows_of(self._db, unit), seals_of(self._db, chain_name(unit))

    def _last(self, walk: str) -> tuple[int, str]:
        """Return the number and hash of the walk's last event."""
        sql = "SELECT number, hash FROM events WHERE walk = ? ORDER BY number DESC LIMIT 1"
        rows = list(self._db.query(sql, (walk,)))
        return (rows[0]["number"], rows[0]["hash"]) if rows else (0, FIRST_PREVIOUS)

    def _now(self) -> str:
        return self._time().isoformat()

    def _time(self) -> datetime:
        now = self._clock()
        if now.utcoffset() is None:
            raise RecordError(
                "The clock does not say which UTC offset its time has.",
                where=now.isoformat(),
                remedy="This is a fault of voicelog: report it.",
            )
        return now
