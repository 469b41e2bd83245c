"""What SQLite and the file system report, told in plain words with what to do about it.

Everything the record store does runs inside :func:`faults`, so that its callers meet
:class:`voicelog.errors.RecordError` only.
"""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from voicelog.errors import RecordError

_FULL = (
    "There is no room left to write the record; nothing of this entry was kept.",
    "Free some space on this disk, then say it once more. What was acknowledged before is safe.",
)
_READ_ONLY = (
    "The record may be read but not written.",
    "Give yourself the right to write this folder and the files in it, or use another data folder.",
)
_BUSY = (
    "Another program is writing the record and does not let go of it.",
    "Close other windows of voicelog and tools that have the record open, then try again.",
)
_NOT_OURS = (
    "This file is not a voicelog record.",
    "Name another data folder, or move this file out of the way.",
)
_CORRUPT = (
    "The record's file is damaged.",
    "Stop using this folder, keep a copy of it as it is, and restore the last backup.",
)
_CANNOT_OPEN = (
    "The record cannot be opened.",
    "Check that the folder exists, that it is a folder, and that you may read and write it.",
)
_CLOSED = ("The record was closed before this was asked of it.", "Start voicelog again.")
_DISK = (
    "The disk did not take or give the record's data; nothing of this entry was kept.",
    "Check the disk and its cable or card, and how large a file it may hold, then try again.",
)

_BY_SQLITE_CODE = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_NOTADB: _NOT_OURS,
    sqlite3.SQLITE_CORRUPT: _CORRUPT,
    sqlite3.SQLITE_CANTOPEN: _CANNOT_OPEN,
    sqlite3.SQLITE_IOERR: _DISK,
}
_BY_ERRNO = {
    errno.ENOSPC: _FULL,
    errno.EDQUOT: _FULL,
    errno.EROFS: _READ_ONLY,
    errno.EACCES: _READ_ONLY,
    errno.EPERM: _READ_ONLY,
    errno.EIO: _DISK,
    errno.EFBIG: _DISK,
    errno.ENOENT: _CANNOT_OPEN,
    errno.ENOTDIR: _CANNOT_OPEN,
    errno.EEXIST: _CANNOT_OPEN,
}


def told(error: sqlite3.Error | OSError, where: Path) -> RecordError:
    """Return the :class:`RecordError` that tells of ``error``, met while using ``where``."""
    found: tuple[str, str] | None
    if isinstance(error, OSError):
        found = _BY_ERRNO.get(error.errno or 0)
        place = str(error.filename or where)
    else:
        # SQLite's extended codes keep the primary code in their low byte.
        code = getattr(error, "sqlite_errorcode", None)
        found = _BY_SQLITE_CODE.get(code & 0xFF) if code is not None else None
        place = str(where)
        if found is None and "closed database" in str(error):
            found = _CLOSED
    what, remedy = found or (
        f"The record cannot be used: {error}.",
        "Check the disk, then try again. If it stays so, restore the last backup.",
    )
    return RecordError(what, where=place, remedy=remedy)


def no_room(error: Exception) -> bool:
    """Return whether an error tells that the disk is full."""
    return isinstance(error, RecordError) and error.what == _FULL[0]


@contextmanager
def faults(where: Path) -> Iterator[None]:
    """Turn whatever SQLite or the file system raises in the block into a RecordError."""
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        raise told(error, where) from error
