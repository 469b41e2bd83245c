"""The record's tables, and how an older record is brought up to this version.

``events`` and ``clips`` only ever grow: triggers refuse any change of a row once it is there. Every
step, with the note that it was done, is in one transaction. Steps are never edited or removed once
released; a new version adds a step at the end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from itertools import groupby
from operator import itemgetter
from pathlib import Path

from sqlite_utils import Database, Migrations

from voicelog.errors import RecordError
from voicelog.records import schema_people, schema_removal
from voicelog.records.chain import Row

SET = "voicelog records"
STEPS = Migrations(SET)

_TABLES = (
    """
    CREATE TABLE events (
        seq INTEGER PRIMARY KEY AUTOINCREMENT,
        walk TEXT NOT NULL CHECK (walk <> ''),
        number INTEGER NOT NULL CHECK (number >= 1),
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        body TEXT NOT NULL,
        previous TEXT NOT NULL CHECK (length(previous) = 64),
        hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64),
        UNIQUE (walk, number)
    ) STRICT
    """,
    "CREATE INDEX events_kind ON events (kind, walk)",
    """
    CREATE TABLE clips (
        walk TEXT NOT NULL,
        sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
        seconds REAL NOT NULL CHECK (seconds > 0),
        bytes INTEGER NOT NULL CHECK (bytes > 0),
        added TEXT NOT NULL,
        PRIMARY KEY (walk, sha256)
    ) STRICT
    """,
)

_FIRST_GUARDS = {
    f"{table}_refuse_{action.lower()}": f"""
    CREATE TRIGGER {table}_refuse_{action.lower()} BEFORE {action} ON {table}
    BEGIN SELECT RAISE(ABORT, 'the record only grows: rows of {table} are never changed'); END
    """
    for table in ("events", "clips")
    for action in ("UPDATE", "DELETE")
} | {
    # INSERT OR REPLACE removes a row without asking the trigger on DELETE.
    "events_refuse_replace": """
    CREATE TRIGGER events_refuse_replace BEFORE INSERT ON events
    WHEN EXISTS (SELECT 1 FROM events WHERE seq = NEW.seq OR (walk = NEW.walk AND number = NEW.number))
    BEGIN SELECT RAISE(ABORT, 'the record only grows: this event is there already'); END
    """,
    "clips_refuse_replace": """
    CREATE TRIGGER clips_refuse_replace BEFORE INSERT ON clips
    WHEN EXISTS (SELECT 1 FROM clips WHERE walk = NEW.walk AND sha256 = NEW.sha256)
    BEGIN SELECT RAISE(ABORT, 'the record only grows: this clip is there already'); END
    """,
}

_DEFECT_TABLES = (
    """
    CREATE TABLE defect_events (
        seq INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL CHECK (unit <> ''),
        number INTEGER NOT NULL CHECK (number >= 1),
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        body TEXT NOT NULL,
        previous TEXT NOT NULL CHECK (length(previous) = 64),
        hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64),
        UNIQUE (unit, number)
    ) STRICT
    """,
    # What follows is drawn from the events, kept in the same transaction as they are, so that
    # lists answer at once however much is on record. Nothing is kept here only.
    """
    CREATE TABLE walk_list (
        walk TEXT PRIMARY KEY,
        unit_id TEXT NOT NULL,
        unit_name TEXT NOT NULL,
        sheet_id TEXT NOT NULL,
        sheet_title TEXT NOT NULL,
        operator TEXT NOT NULL,
        started TEXT NOT NULL,
        finished TEXT,
        signed TEXT NOT NULL DEFAULT '',
        last TEXT NOT NULL,
        events INTEGER NOT NULL,
        first_seq INTEGER NOT NULL,
        taken_up INTEGER NOT NULL DEFAULT 0
    ) STRICT
    """,
    "CREATE INDEX walk_list_unit ON walk_list (unit_id, sheet_id, first_seq)",
    "CREATE INDEX walk_list_not_taken_up ON walk_list (walk) WHERE taken_up < events",
    """
    CREATE TABLE point_list (
        unit_id TEXT NOT NULL,
        sheet_id TEXT NOT NULL,
        point_id TEXT NOT NULL,
        seq INTEGER NOT NULL,
        PRIMARY KEY (unit_id, sheet_id, point_id, seq)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE defect_list (
        defect_id TEXT PRIMARY KEY,
        unit_id TEXT NOT NULL,
        open INTEGER NOT NULL,
        rank INTEGER NOT NULL,
        heard_at TEXT NOT NULL,
        summary TEXT NOT NULL
    ) STRICT
    """,
    "CREATE INDEX defect_list_open ON defect_list (rank DESC, heard_at) WHERE open = 1",
    "CREATE INDEX defect_list_unit ON defect_list (unit_id, heard_at)",
)

_DEFECT_GUARDS = {
    f"defect_events_refuse_{action.lower()}": f"""
    CREATE TRIGGER defect_events_refuse_{action.lower()} BEFORE {action} ON defect_events
    BEGIN SELECT RAISE(ABORT, 'the record only grows: rows of defect_events are never changed'); END
    """
    for action in ("UPDATE", "DELETE")
} | {
    "defect_events_refuse_replace": """
    CREATE TRIGGER defect_events_refuse_replace BEFORE INSERT ON defect_events
    WHEN EXISTS (
        SELECT 1 FROM defect_events WHERE seq = NEW.seq OR (unit = NEW.unit AND number = NEW.number)
    )
    BEGIN SELECT RAISE(ABORT, 'the record only grows: this event is there already'); END
    """,
}

_READING_LIST = """
    CREATE TABLE reading_list (
        unit_id TEXT NOT NULL,
        sheet_id TEXT NOT NULL,
        point_id TEXT NOT NULL,
        reading_id TEXT NOT NULL,
        seq INTEGER NOT NULL,
        walk TEXT NOT NULL,
        at TEXT NOT NULL,
        value TEXT NOT NULL,
        measure TEXT NOT NULL,
        judgement TEXT NOT NULL,
        PRIMARY KEY (unit_id, sheet_id, point_id, reading_id, seq)
    ) STRICT, WITHOUT ROWID
    """
"""Drawn from the events, as the other lists are."""

OF_READINGS = """kind = 'entry logged'
 AND (instr(body, '"reading_id":"') > 0 OR instr(body, '"corrects":"') > 0)"""
"""SQL condition on ``events``; in canonical JSON no text can hold these, for its quotes are escaped."""

GUARDS = _FIRST_GUARDS | _DEFECT_GUARDS | schema_people.GUARDS | schema_removal.GUARDS
"""Trigger name to the SQL that makes it."""


@STEPS()
def events_and_clips(db: Database) -> None:
    """Make the two tables and the triggers that keep them append-only."""
    for statement in (*_TABLES, *_FIRST_GUARDS.values()):
        db.execute(statement)


@STEPS()
def defects_and_lists(db: Database) -> None:
    """Make the chains of the units' defects, and the lists; fill the lists from what is on record."""
    from voicelog.records.lists import list_row

    for statement in (*_DEFECT_TABLES, *_DEFECT_GUARDS.values()):
        db.execute(statement)
    for row in rows(db, "1 = 1", (), order="seq"):
        list_row(db, row)


@STEPS()
def people_keys_and_seals(db: Database) -> None:
    """Make the tables of people, of their locked keys and of the seals over events."""
    for statement in (*schema_people.TABLES, *schema_people.GUARDS.values()):
        db.execute(statement)


@STEPS()
def followers(db: Database) -> None:
    """Make the event after a given one quick to find, in whatever walk it now stands."""
    db.execute("CREATE INDEX events_after ON events (substr(previous, 1, 16))")


@STEPS()
def entries_of_readings(db: Database) -> None:
    """Make the entries of a walk that tell of a reading, or replace another entry, quick to find."""
    db.execute(f"CREATE INDEX events_of_readings ON events (walk) WHERE {OF_READINGS}")


def check_version(db: Database, path: Path) -> bool:
    """Return whether steps are still to be done; writes nothing.

    Raises RecordError for a database of another program, or of a newer voicelog.
    """
    applied = {step.name for step in STEPS.applied(db)}
    if not applied and db.table_names():
        raise RecordError(
            "This database belongs to another program.",
            where=str(path),
            remedy="Name another data folder, or move this file out of the way.",
        )
    with Database(memory=True) as empty:
        known = {step.name for step in STEPS.pending(empty)}
    if applied - known:
        raise RecordError(
            "This record was written by a newer voicelog.",
            where=str(path),
            remedy="Install the newest voicelog, then open the record again. Nothing was changed.",
        )
    return bool(known - applied)


def bring_up_to_date(db: Database) -> None:
    """Do the steps that are still to be done; inside the caller's transaction."""
    STEPS.apply(db)


def rows(db: Database, where: str, values: Sequence[str], order: str = "number") -> list[Row]:
    """Return the rows of ``events`` that fit the SQL condition ``where``, in order."""
    found = db.query(f"SELECT * FROM events WHERE {where} ORDER BY {order}", values)
    return [Row(**row) for row in found]


_COLUMNS = "seq, walk, number, at, kind, body, previous, hash"


def rows_by_walk(db: Database) -> Iterator[tuple[str, list[Row]]]:
    """Yield every walk's rows of ``events``, one walk after the other, in order of their names."""
    found = db.conn.execute(f"SELECT {_COLUMNS} FROM events ORDER BY walk, number")
    for walk, its_rows in groupby(found, key=itemgetter(1)):
        yield walk, [Row(*row) for row in its_rows]


def insert_row(db: Database, row: Row) -> int:
    """Add a row to ``events``, its ``seq`` aside, and return the ``seq`` it was given."""
    values = asdict(row)
    del values["seq"]
    return int(db.table("events").insert(values).last_pk or 0)


def lines(db: Database, removed: Sequence[range] = ()) -> tuple[int, list[int]]:
    """Return how many line numbers of ``events`` were ever given out, and those that are gone.

    Line numbers are given without gaps, also after a failed append, so a gap is a removed line. Those
    in ``removed`` are told of elsewhere, and are not among what is gone.
    """
    given = sum(int(row["seq"]) for row in db.query("SELECT seq FROM sqlite_sequence WHERE name = 'events'"))
    told = _merged(removed)
    # Asked one by one, each is answered from an index: the lines themselves are not read.
    asked = ("count(*)", "coalesce(min(seq), 1)", "coalesce(max(seq), 0)")
    count, first, last = (next(db.query(f"SELECT {what} AS n FROM events"))["n"] for what in asked)
    between = "SELECT EXISTS (SELECT 1 FROM events WHERE seq BETWEEN ? AND ?)"
    apart = not any(db.conn.execute(between, (r.start, r.stop - 1)).fetchone()[0] for r in told)
    in_range = first >= 1 and last <= given and all(r.start >= 1 and r.stop <= given + 1 for r in told)
    if apart and in_range and count + sum(map(len, told)) == given:
        return given, []
    there = {row["seq"] for row in db.query("SELECT seq FROM events")}
    there.update(line for r in told for line in r)
    return given, [line for line in range(1, given + 1) if line not in there]


def _merged(ranges: Sequence[range]) -> list[range]:
    """Return the same numbers as few ranges that do not overlap, in order."""
    found: list[range] = []
    for part in sorted(ranges, key=lambda r: r.start):
        if found and part.start <= found[-1].stop:
            found[-1] = range(found[-1].start, max(found[-1].stop, part.stop))
        elif part:
            found.append(part)
    return found


@STEPS()
def defects_entered(db: Database) -> None:
    """Let the units' chains alone say how far a walk's defects were entered; that was in a list before."""
    db.execute("CREATE INDEX defect_events_kind ON defect_events (kind)")
    db.execute("DROP INDEX walk_list_not_taken_up")
    db.execute("ALTER TABLE walk_list DROP COLUMN taken_up")


@STEPS()
def readings_listed(db: Database) -> None:
    """Make the list of readings as they stand, and fill it from what is on record."""
    from voicelog.records.readings import list_walk

    db.execute(_READING_LIST)
    db.execute("CREATE INDEX reading_list_walk ON reading_list (walk)")
    for row in list(db.query("SELECT walk FROM walk_list ORDER BY first_seq")):
        list_walk(db, row["walk"])


@STEPS()
def replaced_entries_listed(db: Database) -> None:
    """Enter what replaced an entry under that entry's points too; before, its own were all."""
    from voicelog.records.lists import list_correction

    replacing = "kind = 'entry logged' AND instr(body, '\"corrects\":\"') > 0"
    for row in list(rows(db, replacing, (), order="seq")):
        list_correction(db, row)


@STEPS()
def extents_listed(db: Database) -> None:
    """Let the list of walks tell their extent, so that what is overdue is found without reading each."""
    db.execute("ALTER TABLE walk_list ADD COLUMN extent TEXT NOT NULL DEFAULT 'daily'")
    db.execute(
        "UPDATE walk_list SET extent = (SELECT CASE WHEN json_valid(body)"
        " THEN coalesce(json_extract(body, '$.extent'), 'daily') ELSE 'daily' END"
        " FROM events WHERE seq = first_seq) WHERE first_seq IN (SELECT seq FROM events)"
    )


@STEPS()
def removals(db: Database) -> None:
    """Make the list of what was removed, and let the guards pass what is on it, and nothing else."""
    for statement in schema_removal.TABLES:
        db.execute(statement)
    for name, statement in schema_removal.GUARDS.items():
        db.execute(f"DROP TRIGGER {name}")
        db.execute(statement)
