"""Proof that the record is whole, read from its tables and its sound files; changes nothing."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from voicelog.errors import RecordError
from voicelog.records import schema
from voicelog.records.as_it_lies import as_it_lies, is_bent
from voicelog.records.chain import Row, check, clip_named, read_json
from voicelog.records.clip_files import clip_problem
from voicelog.records.defect_proof import DefectProof, line_problems
from voicelog.records.faults import faults
from voicelog.records.held import Newest, newest, not_held_by
from voicelog.records.list_proof import ListProof
from voicelog.records.people_record import numbers_given, person_rows
from voicelog.records.people_rows import Roll, boxes_problems, read_roll
from voicelog.records.removed import NOTHING, Gone, Removed, list_problems, removed
from voicelog.records.seals import UNSEALED, clips_digest, seal_problems, seals_of
from voicelog.records.signature_proof import signature_problems
from voicelog.records.tables_proof import table_problems


@dataclass(frozen=True, slots=True)
class FolderProof:
    """What going through a data folder gave."""

    walks: int
    events: int
    problems: tuple[str, ...]
    station: str = ""
    """Hash of the first event of people; empty where nobody is on record."""
    newest: Newest | None = None
    removed: Removed = NOTHING
    """What an officer removed when its time was past."""


def prove_folder(folder: Path, holds: Sequence[str] = ()) -> FolderProof:
    """Go through the record in ``folder`` as it lies there; changes nothing.

    ``holds`` are hashes, or their first digits, of events that must be in it. Raises RecordError when
    there is none that this version can read.
    """
    path = folder / "voicelog.db"
    if not path.is_file():
        raise RecordError("There is no record here.", where=str(folder), remedy="Name a data folder.")
    with faults(path):
        try:
            return _prove(path, folder, holds)
        except sqlite3.Error as error:
            if not is_bent(error):
                raise
            # What is no text is told as altered, and does not end the proof.
            return _prove(path, folder, holds, bent_text=True)


def _prove(path: Path, folder: Path, holds: Sequence[str], *, bent_text: bool = False) -> FolderProof:
    with as_it_lies(path, bent_text=bent_text) as db:
        if schema.check_version(db, path):
            raise RecordError(
                "This record was written by an older voicelog.",
                where=str(folder),
                remedy="List its walks with this version (voicelog walks), which brings it up to date.",
            )
        found = store_problems(db, folder / "clips")
        (count,) = db.query("SELECT count(DISTINCT walk) AS walks, count(*) AS events FROM events")
        roll = _roll(db)
        gone = removed(db, roll)
        # Of a walk that was removed the last hash is told; nobody need look for it among the events.
        told = [head for one in gone.walks.values() if (head := one.walk.head)]
        wanted = [digits for digits in holds if not any(head.startswith(digits) for head in told)]
        found = (*found, *not_held_by(db, wanted))
        return FolderProof(count["walks"], count["events"], found, roll.now.root, newest(db), gone)


def walk_problems(db: Database, clips: Path, walk: str) -> tuple[str, ...]:
    """Return what is wrong with one walk, in plain words; empty when it is whole.

    ``clips`` is the folder the sound is kept in. The tables are read in one snapshot.
    """
    with db.atomic():
        rows = schema.rows(db, "walk = ?", (walk,))
        followers = _followers(db, rows[-1]) if rows else []
        roll = _roll(db)
        gone = removed(db, roll)
        was = gone.walks.get(walk) if not rows else None
        unit = was.event.unit_id if was else _unit_of(rows)
        defects = DefectProof(db, roll, [unit] if unit else [])
        lines = schema.lines(db, gone.lines)
        if was:
            # Nothing of it is there, and the unit's chain says why.
            return (*defects.problems(), *line_problems(db), *roll.problems)
        found = _problems(db, clips, walk, rows, lines, roll, frozenset(), defects)
        if walk in gone.walks:
            found = (*found, f"Walk {walk} was removed under retention, and is there.")
        found = (*found, *defects.problems(), *line_problems(db))
    moved = [f"An event after this walk's last was moved to the walk {row.walk}." for row in followers]
    return (*found, *moved, *roll.problems)


def store_problems(db: Database, clips: Path) -> tuple[str, ...]:
    """Return what is wrong with the whole record: the file, its guards, people, and every walk.

    The walks are gone through one after the other, so that a record of any length fits in memory.
    """
    with ThreadPoolExecutor(1) as aside:
        # SQLite goes through its file by itself, which takes as long as all the rest: both at once.
        damage = aside.submit(_damage, _file_of(db))
        found = [*_file_problems(db)]
        found += _content_problems(db, clips)
        return (*damage.result(), *found)


def _content_problems(db: Database, clips: Path) -> list[str]:
    """Return what is wrong with people, walks and defects."""
    found: list[str] = []
    with db.atomic():
        roll = _roll(db)
        lists, defects = ListProof(), DefectProof(db, roll)
        lines = schema.lines(db, defects.removed.lines)
        boxes = [(row["key_id"], row["box"]) for row in db.query("SELECT * FROM keys ORDER BY key_id")]
        found += [f"Line {line} of the record is missing." for line in lines[1]]
        found += [*roll.problems, *boxes_problems(roll, boxes)]
        for walk, rows in schema.rows_by_walk(db):
            lists.take(walk, rows)
            told = _problems(db, clips, walk, rows, lines, roll, UNSEALED, defects)
            found += [f"Walk {walk}: {problem}" for problem in told]
        found += [
            f"Walk {row['walk']}: There are no events of walk {row['walk']} in this record."
            for row in db.query("SELECT DISTINCT walk FROM clips WHERE walk NOT IN (SELECT walk FROM events)")
        ]
        found += [
            f"There is a seal of the walk {row['walk']}, which is not there."
            for row in db.query(
                "SELECT walk FROM seals WHERE walk NOT IN (SELECT walk FROM events)"
                " AND walk NOT IN (SELECT 'unit ' || unit FROM defect_events)"
            )
        ]
        found += lists.problems(db)
        found += [*defects.problems(), *defects.strays(lists.walks), *line_problems(db)]
        found += [*defects.list_problems(db), *list_problems(db, defects.removed)]
    return found


def _file_of(db: Database) -> str:
    return next(str(row["file"]) for row in db.query("PRAGMA database_list") if row["name"] == "main")


def _damage(file: str) -> tuple[str, ...]:
    """Return what is wrong with the file as SQLite sees it, by a connection of its own."""
    with as_it_lies(Path(file)) as db:
        health = [line for (line,) in db.conn.execute("PRAGMA integrity_check")]
    return tuple(f"The record's file is damaged: {line}." for line in health if line != "ok")


def _file_problems(db: Database) -> Iterator[str]:
    """Yield what stands after the file's end, and what is wrong with the guards of its tables."""
    ((pages,), (size,)) = (
        db.conn.execute(f"PRAGMA {name}").fetchone() for name in ("page_count", "page_size")
    )
    path = Path(_file_of(db))
    with path.open("rb") as file:
        # With a log beside it the file may be shorter than its pages, or, where space was given back
        # that is not yet cut off, as long as its own header says (sqlite.org, Database File Format, 1.3.8).
        pages = max(pages, int.from_bytes(file.read(32)[28:32], "big"))
    if path.stat().st_size > pages * size:
        yield "There is something after the end of the record's file."
    yield from table_problems(db)
    guards = db.triggers_dict
    yield from (
        f"The guard {name} was removed or changed: the record may have been altered since."
        for name, sql in schema.GUARDS.items()
        if guards.get(name, "").split() != sql.split()
    )


def _followers(db: Database, last: Row) -> list[Row]:
    """Return the events of other walks that were made to follow a walk's last."""
    # With a bare "previous = ?" SQLite puts the value into substr() as well, and the index is not used.
    where = "substr(previous, 1, 16) = ? AND +previous = ? AND walk <> ?"
    return schema.rows(db, where, (last.hash[:16], last.hash, last.walk))


def _unit_of(rows: Sequence[Row]) -> str:
    """Return the unit that a walk is of; empty where its first event cannot be read."""
    try:
        return str(read_json(rows[0].body)["unit_id"])
    except (IndexError, ValueError, KeyError, TypeError):
        return ""


def _roll(db: Database) -> Roll:
    return read_roll(person_rows(db), numbers_given(db))


def _problems(
    db: Database,
    clips: Path,
    walk: str,
    rows: Sequence[Row],
    lines: tuple[int, list[int]],
    roll: Roll,
    unread: frozenset[str],
    defects: DefectProof,
) -> tuple[str, ...]:
    """Return what is wrong with one walk's rows, seals and sound; ``lines`` as of :func:`schema.lines`."""
    given, gone = lines
    if not rows:
        return (f"There are no events of walk {walk} in this record.",)
    checked = check(rows, unread=unread)
    found = list(checked.problems)
    if gone and any(line > rows[-1].seq for line in gone):
        found.append("Lines are missing after this walk's last event: its end may have been cut off.")
    found += [
        f"Event {row.number} has a line number that was never given out."
        for row in rows
        if not 1 <= row.seq <= given
    ]
    notes = list(db.query("SELECT * FROM clips WHERE walk = ? ORDER BY rowid", (walk,)))
    found += seal_problems(rows, checked.events, seals_of(db, walk), roll)
    found += signature_problems(rows, checked.events)
    found += defects.of_walk(walk, rows, checked.events)
    return (*found, *_clip_problems(clips, rows, notes, defects.removed.sound.get(walk)))


def _clip_problems(
    clips: Path, rows: Sequence[Row], notes: Sequence[dict[str, Any]], gone: Gone | None
) -> list[str]:
    """Return what is wrong with the sound of a walk; ``notes`` are its rows of ``clips``.

    ``gone`` is what told that its sound was removed; None where nothing did.
    """
    named: dict[str, str] = {}
    for row in rows:
        if (sha := clip_named(row)) is not None:
            named.setdefault(sha, row.at)
    kept = {str(note["sha256"]) for note in notes}
    if gone is not None:
        found = [
            f"Sound clip {sha[:12]}: it was removed under retention, and is noted." for sha in sorted(kept)
        ]
        if gone.walk.clips_sha256 != clips_digest(named):
            found.append("The sound that was removed under retention is not that of the events.")
        return found
    found = [
        f"Sound clip {sha[:12]}: the record has lost its note of it." for sha in named if sha not in kept
    ]
    for note in notes:
        sha = note["sha256"]
        name = f"Sound clip {sha[:12]}"
        if problem := clip_problem(clips, sha, note["bytes"], note["seconds"]):
            found.append(f"{name}: {problem}")
        if sha not in named:
            found.append(f"{name}: no event names it.")
        elif note["added"] != named[sha]:
            found.append(f"{name}: the record's note of when it was added was altered.")
    return found
