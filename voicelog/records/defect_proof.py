"""Proof that the units' defects are whole, and that what came of a walk is what the walk says; pure.

A unit's chain is proved by its hashes and seals. What came of a walk bears no seal of its own: it
must name an entry of that walk, with the same sound, and the walk's signatures name the chain.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlite_utils import Database

from voicelog.defects.book import UnitBook, apply
from voicelog.defects.events import DEFECT_EVENT, DefectHeard, DefectRead, DefectsEntered, PointToRecheck
from voicelog.defects.removal_events import RemovedWalk, SoundRemoved, WalksRemoved
from voicelog.defects.retention import wrongly_removed
from voicelog.errors import DefectError, RecordError
from voicelog.records.chain import FIRST_PREVIOUS, Row, check, clip_named, read_time
from voicelog.records.defect_list import list_entry
from voicelog.records.defect_rows import chain_name, rows_of
from voicelog.records.defect_seals import act_seal_problems
from voicelog.records.people_rows import Roll
from voicelog.records.removed import NOTHING, Removed, removed, removed_of
from voicelog.records.seals import Seal, seals_of
from voicelog.walk.events import SignedOff

_ENTRY = re.compile(r'"entry_id":"([^"\\]+)"')
_DEFECT = re.compile(r'"defect_id":"([^"\\]+)"')
_POINT = re.compile(r'"point_id":"([^"\\]+)"')
_QUOTED = re.compile(r'"(e[0-9]+)"')


@dataclass(frozen=True, slots=True)
class UnitProof:
    """One unit's chain that was gone through."""

    unit: str
    problems: tuple[str, ...] = ()
    """What is wrong with its hashes, seals and life, in plain words."""
    of_walk: Mapping[str, tuple[tuple[int, Any], ...]] = field(default_factory=dict)
    """For each walk the events that came of it, with their numbers."""
    hashes: frozenset[str] = frozenset()
    listed: tuple[tuple[Any, ...], ...] = ()
    """The rows of the list of defects that follow from it; empty where it cannot be read."""
    events: tuple[Any, ...] = ()
    """For each row its event; None where it cannot be read."""
    removed: Removed = NOTHING
    """What its sealed events say was removed."""


def unit_proof(unit: str, rows: Sequence[Row], seals: Sequence[Seal], roll: Roll) -> UnitProof:
    """Go through one unit's chain; ``rows`` and ``seals`` are in order of their numbers."""
    checked = check(rows, DEFECT_EVENT)
    found = [*checked.problems, *act_seal_problems(rows, checked.events, seals, roll)]
    of_walk: dict[str, list[tuple[int, Any]]] = {}
    for row, event in zip(rows, checked.events, strict=True):
        if walk := getattr(event, "walk", ""):
            of_walk.setdefault(walk, []).append((row.number, event))
    listed: tuple[tuple[Any, ...], ...] = ()
    if not checked.problems:
        try:
            book, problems = _lived(unit, rows, checked.events)
            found += problems
            listed = tuple(list_entry(defect) for defect in book.defects.values())
        except (DefectError, RecordError) as error:
            found.append(f"It cannot have happened so: {error.what}.")
    return UnitProof(
        unit,
        tuple(f"Defects of {unit}: {problem}" for problem in found),
        {walk: tuple(events) for walk, events in of_walk.items()},
        frozenset(row.hash for row in rows),
        listed,
        checked.events,
        removed_of(rows, seals, roll),
    )


def _lived(unit: str, rows: Sequence[Row], events: Sequence[Any]) -> tuple[UnitBook, list[str]]:
    """Return a unit's book after its events, and what is wrong with the removals among them.

    Raises DefectError and RecordError for what cannot have happened.
    """
    book, found = UnitBook(unit), []
    ended: dict[str, DefectsEntered] = {}
    gone: dict[tuple[str, str], int] = {}
    for row, event in zip(rows, events, strict=True):
        at = read_time(row)
        name = f"Event {row.number}"
        if isinstance(event, WalksRemoved | SoundRemoved):
            found += [
                f"{name} could not remove it: {why}." for why in wrongly_removed(event, book, at.date())
            ]
            found += [
                f"{name} removes walk {walk.walk}, {why}."
                for walk in event.walks
                if (why := _cannot_go(walk, event, unit, ended.get(walk.walk), gone))
            ]
            gone |= {(walk.walk, event.kind): row.number for walk in event.walks}
        elif (walk_id := getattr(event, "walk", ""), "walks removed") in gone:
            found.append(f"{name} is of walk {walk_id}, which was removed before.")
        if isinstance(event, DefectsEntered):
            ended[event.walk] = event
        book = apply(book, event, at)
    return book, found


def _cannot_go(
    walk: RemovedWalk,
    event: WalksRemoved | SoundRemoved,
    unit: str,
    ended: DefectsEntered | None,
    gone: Mapping[tuple[str, str], int],
) -> str | None:
    """Return why a removal cannot be of this walk, or None."""
    lines = sum(last - first + 1 for first, last in walk.lines)
    if event.unit_id != unit:
        return f"which would be of {event.unit_id}"
    if ended is None or (ended.events, ended.head) != (walk.events, walk.head):
        return "whose end is not the one that was entered before"
    if (walk.walk, event.kind) in gone or (walk.walk, "walks removed") in gone:
        return "which was removed before"
    if lines != (walk.events if isinstance(event, WalksRemoved) else 0):
        return "and does not say which lines it stood on"
    return None


def walk_link_problems(
    walk: str, rows: Sequence[Row], events: Sequence[Any], proof: UnitProof
) -> Iterator[str]:
    """Yield where a unit's defects are not what one of its walks says.

    ``events`` are those of ``rows``; None where one was not read.
    """
    own = proof.of_walk.get(walk, ())
    came = any(not isinstance(event, DefectsEntered) for _, event in own)
    entries = dict(_entries(rows)) if came else {}
    read = _named(_DEFECT, rows, "defect acknowledged")
    asked = _named(_POINT, rows, "recheck asked")
    for number, event in own:
        name = f"Defects of {proof.unit}: event {number}"
        entry = entries.get(getattr(event, "entry_id", ""))
        match event:
            case DefectsEntered(events=count, head=head):
                if not any(row.number == count and row.hash == head for row in rows):
                    yield f"{name} is of an event of walk {walk} that is not there."
            case DefectRead(defect_id=defect_id):
                if defect_id not in read:
                    yield f"{name}: walk {walk} did not acknowledge {defect_id}."
            case PointToRecheck(point_id=point_id):
                if point_id not in asked:
                    yield f"{name}: walk {walk} did not ask for this point to be looked at again."
            case _ if entry is None:
                yield f"{name} names an entry that walk {walk} does not have."
            case DefectHeard(clip=clip) if clip != clip_named(entry):
                yield f"{name} names other sound than the entry of walk {walk}."
    yield from _left_out(rows, own)
    for row, event in zip(rows, events, strict=True):
        if (
            isinstance(event, SignedOff)
            and event.key_id
            and event.defects_head not in ("", FIRST_PREVIOUS)
            and event.defects_head not in proof.hashes
        ):
            yield f"The signature of event {row.number} is over defects of the unit that are gone."


def _named(what: re.Pattern[str], rows: Iterable[Row], kind: str) -> frozenset[str]:
    return frozenset(m[1] for row in rows if row.kind == kind and (m := what.search(row.body)))


def _entries(rows: Iterable[Row]) -> Iterator[tuple[str, Row]]:
    return ((m[1], row) for row in rows if row.kind == "entry logged" and (m := _ENTRY.search(row.body)))


def _left_out(rows: Sequence[Row], own: Sequence[tuple[int, Any]]) -> Iterator[str]:
    """Yield the defects of a walk that were never entered, though the walk was, as far as it had gone.

    Only entries that no other event of the walk names: what became of the others is in those events.
    """
    gone = max((e.events for _, e in own if isinstance(e, DefectsEntered)), default=0)
    there = {getattr(event, "entry_id", "") for _, event in own}
    plain = [
        (entry_id, row)
        for entry_id, row in _entries(r for r in rows if r.number <= gone and _is_plain_defect(r.body))
        if entry_id not in there
    ]
    if not plain:
        return
    named = Counter(name for row in rows for name in set(_QUOTED.findall(row.body)))
    for entry_id, row in plain:
        if named[entry_id] == 1:
            yield f"Event {row.number} says a defect, and the unit's defects do not have it."


def _is_plain_defect(body: str) -> bool:
    return '"polarity":"defect"' in body and '"doubts":[]' in body


class DefectProof:
    """The chains of every unit of a record, each gone through once."""

    def __init__(self, db: Database, roll: Roll, units: Iterable[str] | None = None) -> None:
        """Read the chains of ``units``; of all, where none are named."""
        if units is None:
            found = db.conn.execute("SELECT DISTINCT unit FROM defect_events ORDER BY unit")
            units = [unit for (unit,) in found]
        self.units = {u: unit_proof(u, rows_of(db, u), seals_of(db, chain_name(u)), roll) for u in units}
        self.removed = removed(db, roll)

    def problems(self) -> Iterator[str]:
        """Yield what is wrong with the chains themselves."""
        for proof in self.units.values():
            yield from proof.problems

    def of_walk(self, walk: str, rows: Sequence[Row], events: Sequence[Any]) -> Iterator[str]:
        """Yield where its unit's defects are not what a walk says; ``events`` are those of ``rows``."""
        unit = str(getattr(events[0], "unit_id", "")) if events else ""
        yield from walk_link_problems(walk, rows, events, self.units.get(unit, UnitProof(unit)))

    def strays(self, walks: frozenset[str] | set[str]) -> Iterator[str]:
        """Yield the events that came of a walk that is not among ``walks``, and was not removed by rule.

        A walk that was removed and is among them all the same is told too.
        """
        for walk in sorted(self.removed.walks.keys() & walks):
            yield f"Walk {walk} was removed under retention, and is there."
        for proof in self.units.values():
            for walk in sorted(proof.of_walk.keys() - walks - self.removed.walks.keys()):
                yield f"Defects of {proof.unit}: they name the walk {walk}, which is not there."

    def list_problems(self, db: Database) -> Iterator[str]:
        """Yield where the list of defects is not what the chains say."""
        listed = {row[0]: tuple(row) for row in db.conn.execute("SELECT * FROM defect_list")}
        whole = [entry for proof in self.units.values() for entry in proof.listed]
        for entry in whole:
            if listed.pop(entry[0], None) != entry:
                yield f"Defect {entry[0]}: the list is not what its history says."
        altered = {proof.unit for proof in self.units.values() if not proof.listed and proof.problems}
        for defect_id, row in sorted(listed.items()):
            if row[1] not in altered:
                yield f"Defect {defect_id}: it is listed, but has no history."


def line_problems(db: Database) -> Iterator[str]:
    """Yield the lines of the table of defects that are gone, or were never given out."""
    given = sum(
        int(row["seq"]) for row in db.query("SELECT seq FROM sqlite_sequence WHERE name = 'defect_events'")
    )
    asked = "SELECT count(*), coalesce(min(seq), 1), coalesce(max(seq), 0) FROM defect_events"
    count, first, last = db.conn.execute(asked).fetchone()
    if first == 1 and count == last == given:
        return
    there = {row["seq"] for row in db.query("SELECT seq FROM defect_events")}
    for line in range(1, given + 1):
        if line not in there:
            yield f"Line {line} of the defects' record is missing."
    for line in sorted(there):
        if line > given:
            yield f"Line {line} of the defects' record was never given out."
