"""The record of defects: one chain of events a unit, and the list of defects drawn from them.

A chain is hashed as a walk's is (:mod:`voicelog.records.chain`), under the name ``unit`` and the
unit's id. What comes of a walk is worked out from the chain as it stands and appended in one
transaction, so that two programs cannot both enter it. Nothing is ever deleted here.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from threading import RLock
from typing import Any

from sqlite_utils import Database

from voicelog.defects.book import Defect, UnitBook, apply, fold
from voicelog.defects.events import DEFECT_EVENT, DefectEvent, OfADefect
from voicelog.defects.from_walk import from_walk
from voicelog.defects.life import State
from voicelog.errors import DefectError, PersonError
from voicelog.people.keys import Signer
from voicelog.people.state import People, folded
from voicelog.records.chain import FIRST_PREVIOUS, Row, canonical, link, problems, read_event, read_time
from voicelog.records.faults import faults
from voicelog.walk.state import WalkState


@dataclass(frozen=True, slots=True)
class Listed:
    """One defect in a list over all units."""

    defect_id: str
    unit_id: str
    unit_name: str
    point: str
    what: str
    class_name: str
    rank: int
    state: State
    heard_at: datetime
    deferred_until: date | None
    contradicted: bool
    came_back: bool

    def lapsed(self, today: date) -> bool:
        """Whether it is deferred to a day that has passed."""
        return self.state == "deferred" and self.deferred_until is not None and self.deferred_until < today


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
            return _book(self._db, unit_id)

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
            return tuple(_read(row["summary"]) for row in found)

    def do(
        self, defect_id: str, act: Callable[[Defect], OfADefect], *, signer: Signer | None = None
    ) -> Defect:
        """Let ``act`` decide on a defect as it stands now, append its event, return what came of it.

        Where people are on record, ``signer`` is who does it: the act must be in their name, and
        they must have its role. Raises what ``act`` raises, and PersonError; then nothing was added.
        """
        unit_id = self.unit_of(defect_id)
        with self._turn, faults(self._path), self._writing():
            book = _book(self._db, unit_id)
            event = act(book.defect(defect_id))
            _check_person(self._people(), event, signer)
            return self._append(book, (event,)).defect(defect_id)

    def take_up(self, walk: str, state: WalkState) -> UnitBook:
        """Enter what a walk says of its unit's defects; return the unit's book after it."""
        started = state.started
        if started is None:
            raise DefectError("this walk has no beginning", where=walk, remedy="check its name")
        with self._turn, faults(self._path), self._writing():
            book = _book(self._db, started.unit_id)
            events = from_walk(book, walk, state, datetime.fromisoformat(self._now()))
            book = self._append(book, events)
            self._db.execute(
                "UPDATE walk_list SET taken_up = ? WHERE walk = ? AND taken_up < ?",
                (state.events, walk, state.events),
            )
        return book

    def not_taken_up(self) -> tuple[str, ...]:
        """Return the walks that have gone on since their defects were entered, oldest first."""
        with self._turn, faults(self._path):
            found = self._db.query("SELECT walk FROM walk_list WHERE taken_up < events ORDER BY first_seq")
            return tuple(row["walk"] for row in found)

    def _append(self, book: UnitBook, events: Sequence[DefectEvent]) -> UnitBook:
        """Append to a unit's chain, inside the caller's transaction; DefectError for what may not be."""
        number, previous = _last(self._db, book.unit_id)
        for event in events:
            number += 1
            now = self._now()
            body = canonical(DEFECT_EVENT.dump_python(event, mode="json")).decode()
            digest = link(chain_name(book.unit_id), number, now, event.kind, body, previous)
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


def _check_person(people: People, event: OfADefect, signer: Signer | None) -> None:
    """Raise PersonError when whoever does this may not, or gives another's name."""
    if not people:
        return
    if signer is None:
        raise PersonError(
            "no PIN was given, and people are on record here: nobody can do this without one",
            remedy="give the name of a person on record, and their PIN",
        )
    person = people.with_role(signer.name, event.role, f"do this as {event.role}")
    if folded(event.by) != folded(person.name):
        raise PersonError(
            f"this is in the name of {event.by}, and it is {person.name} whose PIN was given",
            remedy="give your own name",
        )


def chain_name(unit_id: str) -> str:
    """Return the name that a unit's chain is hashed under; no walk can have it."""
    return f"unit {unit_id}"


def rows_of(db: Database, unit_id: str) -> list[Row]:
    """Return a unit's rows of ``defect_events``, in order."""
    found = db.query("SELECT * FROM defect_events WHERE unit = ? ORDER BY number", (unit_id,))
    return [
        Row(walk=chain_name(row.pop("unit")), **row)  # what a walk is to its events, a unit is here
        for row in found
    ]


def _book(db: Database, unit_id: str) -> UnitBook:
    return fold(unit_id, ((read_time(row), read_event(row, DEFECT_EVENT)) for row in rows_of(db, unit_id)))


def _last(db: Database, unit_id: str) -> tuple[int, str]:
    found = list(
        db.query(
            "SELECT number, hash FROM defect_events WHERE unit = ? ORDER BY number DESC LIMIT 1", (unit_id,)
        )
    )
    return (found[0]["number"], found[0]["hash"]) if found else (0, FIRST_PREVIOUS)


def list_entry(defect: Defect) -> tuple[str, str, int, int, str, str]:
    """Return a defect's row of the list."""
    worst = defect.worst
    summary = {
        "defect_id": defect.defect_id,
        "unit_id": worst.unit_id,
        "unit_name": worst.unit_name,
        "point": worst.point,
        "what": worst.what,
        "class_name": worst.class_name,
        "rank": worst.rank,
        "state": defect.state,
        "heard_at": defect.heard_at.isoformat(),
        "deferred_until": defect.deferred_until.isoformat() if defect.deferred_until else None,
        "contradicted": bool(defect.contradictions),
        "came_back": defect.first.came_back_from is not None,
    }
    # In one zone, so that the list is in order of time.
    heard = defect.heard_at.astimezone(UTC).isoformat()
    return defect.defect_id, worst.unit_id, int(defect.is_open), worst.rank, heard, json.dumps(summary)


def _read(summary: str) -> Listed:
    values: dict[str, Any] = json.loads(summary)
    values["heard_at"] = datetime.fromisoformat(values["heard_at"])
    until = values["deferred_until"]
    values["deferred_until"] = date.fromisoformat(until) if until else None
    return Listed(**values)


def defect_problems(db: Database) -> tuple[str, ...]:
    """Return what is wrong with the units' chains and the list of defects; empty when they are whole."""
    found: list[str] = []
    given = sum(
        int(row["seq"]) for row in db.query("SELECT seq FROM sqlite_sequence WHERE name = 'defect_events'")
    )
    there = {row["seq"] for row in db.query("SELECT seq FROM defect_events")}
    found += [
        f"Line {line} of the defects' record is missing." for line in range(1, given + 1) if line not in there
    ]
    found += [
        f"Line {line} of the defects' record was never given out." for line in sorted(there) if line > given
    ]
    listed = {row["defect_id"]: tuple(row.values()) for row in db.query("SELECT * FROM defect_list")}
    for unit in [row["unit"] for row in db.query("SELECT DISTINCT unit FROM defect_events ORDER BY unit")]:
        wrong = problems(rows_of(db, unit), DEFECT_EVENT)
        found += [f"Defects of {unit}: {problem}" for problem in wrong]
        if wrong:
            continue
        for defect in _book(db, unit).defects.values():
            if listed.pop(defect.defect_id, None) != list_entry(defect):
                found.append(f"Defect {defect.defect_id}: the list is not what its history says.")
    found += [f"Defect {defect_id}: it is listed, but has no history." for defect_id in sorted(listed)]
    return tuple(found)
