"""Opening a record to look at it as it lies there: nothing is written, whatever was left beside it."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlite_utils import Database

from voicelog.errors import RecordError


@contextmanager
def as_it_lies(path: Path, *, bent_text: bool = False) -> Iterator[Database]:
    """Open a record's file for reading. Raises RecordError for an empty one, and sqlite3.Error.

    With ``bent_text`` also text that is no UTF-8 is read, with a mark in place of what is wrong: it takes
    longer, and is needed only where :func:`is_bent` says so.

    On a disk that cannot be written SQLite may not read what was left in a log beside the file; both are
    copied aside then, and the copy is read.
    """
    if not path.stat().st_size:
        raise RecordError(
            "The record's file is empty.",
            where=str(path),
            remedy="Keep the data folder as it is, and restore the last backup.",
        )
    if os.access(path.parent, os.W_OK, effective_ids=os.access in os.supports_effective_ids):
        with _reading(path, "mode=ro", bent_text) as db:
            yield db
        return
    log = path.with_name(f"{path.name}-wal")
    if not (log.is_file() and log.stat().st_size):
        with _reading(path, "immutable=1", bent_text) as db:
            yield db
        return
    with tempfile.TemporaryDirectory(prefix="voicelog-") as aside:
        copy = Path(aside) / path.name
        for file in (path, log):
            shutil.copyfile(file, Path(aside) / file.name)
        with _reading(copy, "mode=rw", bent_text) as db:
            yield db


@contextmanager
def _reading(path: Path, how: str, bent_text: bool) -> Iterator[Database]:
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?{how}", uri=True)) as connection:
        if bent_text:
            connection.text_factory = _text
        yield Database(connection)


def is_bent(error: sqlite3.Error) -> bool:
    """Return whether SQLite could not give a text because it is no UTF-8."""
    return isinstance(error, sqlite3.OperationalError) and "UTF-8" in str(error)


def _text(data: bytes) -> str:
    return data.decode("utf-8", "replace")
