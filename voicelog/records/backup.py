"""A copy of the whole record, taken while it is in use.

The database is copied first, in one snapshot, and the sound after it: a clip is on the disk before
the event that names it is committed, so every clip of the snapshot can be found. The copied database
gets its name last, so the target holds a whole record at every moment, an earlier one or this one.
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from sqlite_utils import Database

from voicelog.errors import RecordError
from voicelog.records import editions
from voicelog.records.clip_files import make_folder, read_clip, sync_folder, write_clip
from voicelog.records.clips import Clip
from voicelog.records.removal import take_off


def copy_store(source: Database, folder: Path, target: Path) -> None:
    """Copy the record that ``source`` is open on, kept in ``folder``, to the folder ``target``.

    Raises RecordError when ``target`` cannot be a copy of this record, or when some sound could
    not be copied; then the rest was. Raises sqlite3.Error and OSError as they come.
    """
    if target.resolve() == folder.resolve():
        raise RecordError(
            "A backup cannot be made into the folder it is made from.",
            where=str(target),
            remedy="Name another folder, best on another disk.",
        )
    make_folder(target.absolute())
    path, part = target / "voicelog.db", target / "voicelog.db.part"
    if path.exists():
        with Database(sqlite3.connect(path)) as earlier:
            _refuse_other(source, earlier, target)
            # No log may stay beside the file that another takes the place of.
            earlier.disable_wal()
    part.unlink(missing_ok=True)
    leaving = _clips_kept(path)
    with Database(sqlite3.connect(part)) as copy:
        source.conn.backup(copy.conn)
        copy.execute("PRAGMA synchronous = FULL")
        # What an earlier copy had and this record has removed leaves the copy too, once it is in place.
        copy.conn.executemany(
            "INSERT OR IGNORE INTO clips_leaving (sha256)"
            " SELECT ?1 WHERE ?1 NOT IN (SELECT sha256 FROM clips)",
            leaving,
        )
        copy.conn.commit()
        clips = list(copy.query("SELECT DISTINCT sha256, seconds FROM clips ORDER BY sha256"))
        # One file, with no log beside it that could be left behind when the folder is carried off.
        copy.disable_wal()
    editions.copy(folder, target)
    lost = []
    for row in clips:
        try:
            flac = read_clip(folder / "clips", row["sha256"])
        except RecordError as error:
            lost.append(error)
            continue
        write_clip(target / "clips", Clip(row["sha256"], flac, row["seconds"]))
    # Only now, with its sound beside it: cut off before this, the earlier backup is there as it was.
    with part.open("rb") as file:
        os.fsync(file.fileno())
    part.replace(path)
    sync_folder(target)
    with Database(sqlite3.connect(path)) as copy:
        take_off(copy, target / "clips")
        copy.conn.commit()
        copy.disable_wal()
    if lost:
        raise RecordError(
            f"The backup was made, but {len(lost)} of {len(clips)} sound clips could not be copied. "
            f"The first: {lost[0].what}",
            where=lost[0].where,
            remedy="Check the record with its proof of wholeness, and look for the sound in an older backup.",
        )


def _clips_kept(path: Path) -> list[tuple[str]]:
    """Return the sound that an earlier copy has, and what it was still to let go; empty without a copy."""
    if not path.exists():
        return []
    with Database(sqlite3.connect(path)) as earlier:
        tables = set(earlier.table_names()) & {"clips", "clips_leaving"}
        return [
            row for table in sorted(tables) for row in earlier.conn.execute(f"SELECT sha256 FROM {table}")
        ]


def _refuse_other(source: Database, copy: Database, target: Path) -> None:
    """Raise RecordError when ``copy`` holds anything that ``source`` does not."""
    tables = copy.table_names()
    if not tables:
        return
    if _hashes(copy, _removed(source)) - _hashes(source):
        raise RecordError(
            "This folder holds another record, and the backup would overwrite it.",
            where=str(target),
            remedy="Name an empty folder, or the folder of an earlier backup of this record.",
        )


def _removed(db: Database) -> frozenset[str]:
    """Return the walks that a record removed under retention; an earlier copy still has them."""
    return frozenset(row["walk"] for row in db.query("SELECT walk FROM removed_list WHERE what = 'walk'"))


def _hashes(db: Database, without: frozenset[str] = frozenset()) -> set[str]:
    """Return the hashes of all events but of some walks; of a database that is no record, what none has."""
    tables = set(db.table_names())
    if "events" not in tables:
        return {""}
    found = {hash_ for walk, hash_ in db.conn.execute("SELECT walk, hash FROM events") if walk not in without}
    for table in sorted(tables & {"defect_events", "people"}):
        found |= {row["hash"] for row in db.query(f"SELECT hash FROM {table}")}
    return found
