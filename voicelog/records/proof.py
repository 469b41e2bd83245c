"""Proof that the record is whole, read from its tables and its sound files; changes nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from voicelog.errors import RecordError
from voicelog.records import schema
from voicelog.records.chain import Row, clip_of, problems, stored
from voicelog.records.clip_files import clip_problem
from voicelog.records.defects import defect_problems
from voicelog.records.lists import disagreements
from voicelog.records.people_record import numbers_given, person_rows
from voicelog.records.people_rows import Roll, boxes_problems, read_roll
from voicelog.records.seals import seal_problems, seals_of


def walk_problems(db: Database, clips: Path, walk: str) -> tuple[str, ...]:
    """Return what is wrong with one walk, in plain words; empty when it is whole.

    ``clips`` is the folder the sound is kept in. The tables are read in one snapshot.
    """
    with db.atomic():
        lines = schema.lines(db)
        rows, notes = _read(db, walk)
        followers = schema.rows(db, "previous = ? AND walk <> ?", (rows[-1].hash, walk)) if rows else []
        roll = _roll(db)
        seals = seals_of(db, walk)
    moved = [f"An event after this walk's last was moved to the walk {row.walk}." for row in followers]
    return (
        *_problems(clips, walk, rows, notes, lines),
        *moved,
        *roll.problems,
        *seal_problems(rows, seals, roll),
    )


def store_problems(db: Database, clips: Path) -> tuple[str, ...]:
    """Return what is wrong with the whole record: the file, its guards, and every walk."""
    health = [row["integrity_check"] for row in db.query("PRAGMA integrity_check")]
    found = [f"The record's file is damaged: {line}." for line in health if line != "ok"]
    guards = db.triggers_dict
    found += [
        f"The guard {name} was removed or changed: the record may have been altered since."
        for name, sql in schema.GUARDS.items()
        if guards.get(name, "").split() != sql.split()
    ]
    with db.atomic():
        lines = schema.lines(db)
        names = [row["walk"] for row in db.query("SELECT walk FROM events UNION SELECT walk FROM clips")]
        read = {walk: _read(db, walk) for walk in sorted(names)}
        found += disagreements(db)
        found += defect_problems(db)
        roll = _roll(db)
        boxes = [(row["key_id"], row["box"]) for row in db.query("SELECT * FROM keys ORDER BY key_id")]
        seals = {walk: seals_of(db, walk) for walk in read}
        strays = list(db.query("SELECT walk FROM seals WHERE walk NOT IN (SELECT walk FROM events)"))
    found += [f"Line {line} of the record is missing." for line in lines[1]]
    found += [*roll.problems, *boxes_problems(roll, boxes)]
    for walk, (rows, notes) in read.items():
        told = (*_problems(clips, walk, rows, notes, lines), *seal_problems(rows, seals[walk], roll))
        found += [f"Walk {walk}: {problem}" for problem in told]
    found += [f"There is a seal of the walk {row['walk']}, which is not there." for row in strays]
    return tuple(found)


def _roll(db: Database) -> Roll:
    return read_roll(person_rows(db), numbers_given(db))


def _read(db: Database, walk: str) -> tuple[list[Row], list[dict[str, Any]]]:
    """Return a walk's rows of ``events`` and of ``clips``."""
    notes = db.query("SELECT * FROM clips WHERE walk = ? ORDER BY rowid", (walk,))
    return schema.rows(db, "walk = ?", (walk,)), list(notes)


def _problems(
    clips: Path,
    walk: str,
    rows: Sequence[Row],
    notes: Sequence[dict[str, Any]],
    lines: tuple[int, list[int]],
) -> tuple[str, ...]:
    """Return what is wrong with one walk's rows and files; ``lines`` as of :func:`schema.lines`."""
    given, gone = lines
    if not rows:
        return (f"There are no events of walk {walk} in this record.",)
    found = list(problems(rows))
    if any(line > rows[-1].seq for line in gone):
        found.append("Lines are missing after this walk's last event: its end may have been cut off.")
    found += [
        f"Event {row.number} has a line number that was never given out."
        for row in rows
        if not 1 <= row.seq <= given
    ]
    return (*found, *_clip_problems(clips, rows, notes))


def _clip_problems(clips: Path, rows: Sequence[Row], notes: Sequence[dict[str, Any]]) -> list[str]:
    """Return what is wrong with the sound of a walk; ``notes`` are its rows of ``clips``."""
    named: dict[str, str] = {}
    for row in rows:
        try:
            sha = clip_of(stored(row).event)
        except RecordError:
            continue  # told already, as an altered event
        if sha is not None:
            named.setdefault(sha, row.at)
    kept = {str(note["sha256"]) for note in notes}
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
