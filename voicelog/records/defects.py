"""The record of defects: one chain of events a unit, and the list of defects drawn from them.

A chain is hashed as a walk's is (:mod:`voicelog.records.chain`), under the name ``unit`` and the
unit's id. What comes of a walk is worked out from the chain as it stands and appended in one
transaction, so that two programs cannot both enter it. What a person does at a desk is sealed with
their key where people are on record. Nothing is ever deleted here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from threading import RLock

from sqlite_utils import Database

from voicelog.defects.book import Defect, UnitBook, apply
from voicelog.defects.events import DEFECT_EVENT, DefectEvent, DefectsEntered, OfADefect
from voicelog.defects.from_walk import from_walk
from voicelog.errors import DefectError
from voicelog.people.keys import Signer
from voicelog.people.state import People
from voicelog.records.chain import canonical, link
from voicelog.records.defect_list import Listed, list_entry, read_listed
from voicelog.records.defect_rows import book_of, chain_name, entered, last_of, rows_of
from voicelog.records.defect_seals import sealed_act
from voicelog.records.faults import faults
from voicelog.records.seals import Seal, key_of, seals_of
from voicelog.walk.state import WalkState

__all__ = ["DefectRecord", "Listed"]


class DefectRecord:
    """The defects in one data folder; part of :class:`voicelog.records.store.Store`."""

    def __init__(
        self,
        db: Database,
        path: Path,
        turn: RLock,
        now: Callable[[], str],
        people: Callable[[], People],
    ) -> None:
        """Take the open record; ``now`` gives the time as it is written, ``people`` who is on record."""
        self._db, self._path, self._turn, self._now, self._people = db, path, turn, now, people

    def book(self, unit_id: str) -> UnitBook:
        """Return all defects of a unit; an empty book where it has none."""
        with self._turn, faults(self._path):
            return book_of(self._db, unit_id)

    def unit_of(self, defect_id: str) -> str:
        """Return the unit that a defect is of; :class:`DefectError` when there is no such defect."""
        with self._turn, faults(self._path):
            found = list(self._db.query("SELECT unit_id FROM defect_list WHERE defect_id = ?", (defect_id,)))
        if not found:
            raise DefectError(f"there is no defect {defect_id}", remedy="list them with: voicelog shop list")
        return str(found[0]["unit_id"])

    def queue(self) -> tuple[Listed, ...]:
        """Return the open defects of all units, worst class first, then the oldest."""
        return self._listed("open = 1", (), "rank DESC, heard_at, defect_id")

    def of_unit(self, unit_id: str) -> tuple[Listed, ...]:
        """Return every defect that a unit ever had, in the order they were first heard."""
        return self._listed("unit_id = ?", (unit_id,), "heard_at, defect_id")

    def _listed(self, where: str, values: Sequence[str], order: str) -> tuple[Listed, ...]:
        with self._turn, faults(self._path):
            found = self._db.query(f"SELECT summary FROM defect_list WHERE {where} ORDER BY {order}", values)
            return tuple(read_listed(row["summary"]) for row in found)

    def do(
        self, defect_id: str, act: Callable[[Defect], OfADefect], *, signer: Signer | None = None
    ) -> Defect:
        """Let ``act`` decide on a defect as it stands now, append its event, return what came of it.

        Where people are on record, ``signer`` is who does it: the act must be in their name, they
        must have its role, and it is sealed with their key. Raises what ``act`` raises, and
        PersonError; then nothing was added.
        """
        unit_id = self.unit_of(defect_id)
        with self._turn, faults(self._path), self._writing():
            rows = rows_of(self._db, unit_id)
            book = book_of(self._db, unit_id)
            seals = seals_of(self._db, chain_name(unit_id))
            event = sealed_act(act(book.defect(defect_id)), self._people(), signer, rows, seals)
            return self._append(book, (event,), signer).defect(defect_id)

    def take_up(self, walk: str, state: WalkState) -> UnitBook:
        """Enter what a walk says of its unit's defects; return the unit's book after it."""
        started = state.started
        if started is None:
            raise DefectError("this walk has no beginning", where=walk, remedy="check its name")
        with self._turn, faults(self._path), self._writing():
            book = book_of(self._db, started.unit_id)
            events = from_walk(book, walk, state, datetime.fromisoformat(self._now()))
            if events or book.entered.get(walk, 0) < state.events:
                head = self._hash_of(walk, state.events)
                events = (*events, DefectsEntered(walk=walk, events=state.events, head=head))
            return self._append(book, events)

    def not_taken_up(self) -> tuple[str, ...]:
        """Return the walks that have gone on since their defects were entered, oldest first."""
        with self._turn, faults(self._path):
            done = entered(self._db)
            # From the events themselves: what only a list said could hide a walk's defects.
            found = self._db.conn.execute(
                "SELECT seq, walk, (SELECT max(number) FROM events e WHERE e.walk = s.walk) FROM events s"
                " WHERE kind = 'walk started'"
            )
            # Sorted here: asked to do it, SQLite goes through all the events.
            return tuple(walk for _, walk, events in sorted(found) if done.get(walk, 0) < events)

    def _hash_of(self, walk: str, number: int) -> str:
        sql = "SELECT hash FROM events WHERE walk = ? AND number = ?"
        found = list(self._db.query(sql, (walk, number)))
        if not found:
            raise DefectError(
                f"the record has no event {number} of this walk", where=walk, remedy="open the walk again"
            )
        return str(found[0]["hash"])

    def _append(
        self, book: UnitBook, events: Sequence[DefectEvent], signer: Signer | None = None
    ) -> UnitBook:
        """Append to a unit's chain, inside the caller's transaction; DefectError for what may not be."""
        chain = chain_name(book.unit_id)
        number, previous = last_of(self._db, book.unit_id)
        for event in events:
            number += 1
            now = self._now()
            body = canonical(DEFECT_EVENT.dump_python(event, mode="json")).decode()
            digest = link(chain, number, now, event.kind, body, previous)
            book = apply(book, event, datetime.fromisoformat(now))
            self._db.table("defect_events").insert(
                {
                    "unit": book.unit_id,
                    "number": number,
                    "at": now,
                    "kind": event.kind,
                    "body": body,
                    "previous": previous,
                    "hash": digest,
                }
            )
            if signer is not None and key_of(event):
                seal = Seal(chain, number, signer.key_id, signer.seal(digest))
                self._db.table("seals").insert(asdict(seal))
            previous = digest
        for defect_id in dict.fromkeys(d for e in events if (d := getattr(e, "defect_id", None))):
            defect = book.defect(defect_id)
            self._db.execute(
                "INSERT OR REPLACE INTO defect_list (defect_id, unit_id, open, rank, heard_at, summary)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                list_entry(defect),
            )
        return book

    @contextmanager
    def _writing(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._db.commit()
        except BaseException:
            self._db.rollback()
            raise
