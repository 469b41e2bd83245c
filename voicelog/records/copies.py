"""The copy of a walk that is written before the walk is removed: an exported record, proved as it lies there.

A copy gets its name only when all of it is on the disk. One that is there already is taken for what it
is, if it proves itself and is of this walk as it now stands; anything else is left alone and told.
"""

from __future__ import annotations

import os
import shutil
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from voicelog.errors import RecordError
from voicelog.records.clip_files import make_folder, sync_folder
from voicelog.records.clips import sha256_hex
from voicelog.records.export import Exported, pack
from voicelog.records.export_proof import FileProof, prove
from voicelog.records.faults import faults

ENDING = ".record"


@dataclass(frozen=True, slots=True)
class Copy:
    """Where a walk's copy lies."""

    path: str
    """Absolute."""
    sha256: str
    """Of the file."""
    new: bool
    """False where it was there before."""


def check_folder(folder: Path, data: Path) -> None:
    """Raise RecordError for a folder in the record's own: what is copied there frees nothing."""
    if folder.resolve().is_relative_to(data.resolve()):
        raise RecordError(
            "The copies would lie within the record's own folder, and be lost with it.",
            where=str(folder),
            remedy="Name another folder, best on another disk.",
        )


def check_room(folder: Path, size: int) -> None:
    """Raise RecordError where a folder's disk has no room for ``size`` bytes."""
    there = next(parent for parent in (folder.absolute(), *folder.absolute().parents) if parent.exists())
    with faults(folder):
        free = shutil.disk_usage(there).free
    if free < size:
        raise RecordError(
            f"The copies need {size / 1e6:.1f} MB, and this disk has {free / 1e6:.1f} MB left. "
            "Nothing was removed.",
            where=str(folder),
            remedy="Name a folder on another disk, or remove fewer walks at once by naming them.",
        )


def same_disk(folder: Path, data: Path) -> bool:
    """Return whether a folder lies on the record's disk, so that copies take up what is given back."""
    there = next(parent for parent in (folder.absolute(), *folder.absolute().parents) if parent.exists())
    with faults(folder):
        return there.stat().st_dev == data.stat().st_dev


def proved(record: Exported, walk: str) -> tuple[bytes, FileProof]:
    """Return the file of a walk and its proof. Raises RecordError for a walk that is not whole."""
    data = pack(record)
    found = prove(data, walk)
    if found.problems:
        raise RecordError(
            "This walk is not whole, and so it is not removed: " + " ".join(found.problems),
            where=walk,
            remedy=f"Look into it first: voicelog verify {walk}",
        )
    return data, found


def keep_copy(record: Exported, folder: Path, walk: str, station: str) -> Copy:
    """Write the copy of a walk to ``folder`` and return it, proved as it then lies on the disk.

    ``station`` is the station whose keys it must bear. Raises RecordError, and then no file of its name
    was written.
    """
    path = folder.absolute() / f"{walk}{ENDING}"
    data, of_record = proved(record, walk)
    with faults(path):
        make_folder(folder.absolute())
        new = not path.exists()
        if new:
            _write(path, data)
        there = path.read_bytes()
    # What lies there is what was proved; only of another file, there before, is that to be found out.
    found = of_record if there == data else prove(there, str(path))
    same = (found.head, found.events, found.station) == (of_record.head, of_record.events, station)
    if found.problems or not same:
        told = " ".join(found.problems) or "it is of another walk, or of this walk as it was before"
        raise RecordError(
            f"This file is no copy of the walk as it stands: {told}. It was not removed.",
            where=str(path),
            remedy="Look at the file, move it away, or name another folder.",
        )
    return Copy(str(path), sha256_hex(there), new)


def _write(path: Path, data: bytes) -> None:
    # What a removal that was cut off has left of this copy; it holds the walk's lock no more.
    for left in path.parent.glob(f".{path.name}.*.part"):
        left.unlink()
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
        sync_folder(path.parent)
    except BaseException:
        with suppress(OSError):
            part.unlink()
        raise
