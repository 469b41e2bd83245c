"""Opening the record's file: ours or refused, up to date, and set to lose nothing."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sqlite_utils import Database

from voicelog.errors import RecordError
from voicelog.records import schema
from voicelog.records.clip_files import make_folder


def open_database(folder: Path, name: str, busy_seconds: float, *, make: bool) -> Database:
    """Open the record of a data folder; with ``make`` it is made where there is none.

    ``busy_seconds`` is how long to wait for another program that is writing. Raises RecordError when
    there is nothing to open, or something else than a record this version can read; sqlite3.Error and
    OSError where the file cannot be used.
    """
    path = folder / name
    if not make and _nothing_at(path):
        raise RecordError(
            "There is no record here yet.",
            where=str(folder),
            remedy="Begin a walk (voicelog walk), or name another data folder with --data.",
        )
    make_folder(folder.absolute())
    connection = sqlite3.connect(path, timeout=busy_seconds, check_same_thread=False)
    try:
        db = Database(connection)
        _prepare(db, path)
    except BaseException:
        connection.close()
        raise
    return db


def _prepare(db: Database, path: Path) -> None:
    """Check that the file is ours, bring its tables up to date, and set it to lose nothing."""
    db.execute("PRAGMA foreign_keys = ON")
    if schema.check_version(db, path):
        db.execute("BEGIN IMMEDIATE")
        try:
            # Another program may have done the steps while this one waited for its turn.
            schema.check_version(db, path)
            schema.bring_up_to_date(db)
            db.commit()
        except BaseException:
            db.rollback()
            raise
    db.enable_wal()
    db.execute("PRAGMA synchronous = FULL")


def _nothing_at(path: Path) -> bool:
    """Return whether nothing has the path's name, and nothing stands in its way."""
    above = next((parent for parent in path.absolute().parents if parent.exists()), None)
    return not path.exists() and above is not None and above.is_dir()
