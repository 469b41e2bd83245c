"""Sound clips on disk: ``clips/ab/abcd....flac``, each named by the SHA-256 of its bytes.

A clip's name appears only when all of its bytes are on the disk: it is written under another name,
synced, renamed, and the folder is synced. Only one writer may be at work in a folder at a time;
the store sees to that by writing clips inside its write transaction.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from voicelog.errors import RecordError
from voicelog.records.clips import Clip, decode, sha256_hex

_SHA256 = re.compile(r"[0-9a-f]{64}")


def sync_folder(folder: Path) -> None:
    """Bring the folder's own list of names to the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def make_folder(folder: Path) -> None:
    """Make ``folder`` and the folders above it, and bring their names to the disk.

    What is made is its owner's alone: locked keys are in it, and what was said.
    """
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(mode=0o700, exist_ok=True)
    sync_folder(folder.parent)


def where_kept(folder: Path, clips: tuple[str, ...]) -> str:
    """Return where clips are kept in a data folder, for a person who must play them elsewhere."""
    paths = [str(clip_path(folder / "clips", clip)) for clip in clips]
    return ("The clip is " if len(paths) == 1 else "The clips are ") + ", ".join(paths)


def clip_path(clips: Path, sha256: str) -> Path:
    """Return where the clip is kept; RecordError when ``sha256`` is not 64 hex digits."""
    if not _SHA256.fullmatch(sha256):
        raise RecordError(
            f"'{sha256}' is not the name of a sound clip.",
            where=str(clips),
            remedy="Check the record with its proof of wholeness.",
        )
    return clips / sha256[:2] / f"{sha256}.flac"


def write_clip(clips: Path, clip: Clip) -> bool:
    """Keep ``clip`` on the disk for good; return whether it was not there before.

    A damaged file of the same name is replaced. Raises OSError, and leaves no half-written file;
    RecordError for a clip whose bytes are not those of its name.
    """
    path = clip_path(clips, clip.sha256)
    if sha256_hex(clip.flac) != clip.sha256:
        raise RecordError(
            "This sound is not what its name says.",
            where=str(path),
            remedy="Say it once more.",
        )
    make_folder(path.parent)
    return write_file(path, clip.flac)


def write_file(path: Path, data: bytes) -> bool:
    """Write a whole file for good; return whether it was not there before, with these bytes.

    Its folder must be there. Raises OSError, and leaves no half-written file.
    """
    new = not (path.is_file() and path.read_bytes() == data)
    if new:
        part = path.with_suffix(".part")
        try:
            with part.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
        except OSError:
            part.unlink(missing_ok=True)
            raise
    # Also for a file that was there: it may be from an append cut off before its folder was synced.
    sync_folder(path.parent)
    return new


def read_clip(clips: Path, sha256: str) -> bytes:
    """Return the clip's bytes; RecordError when it is missing or not what its name says."""
    path = clip_path(clips, sha256)
    try:
        # Of a pipe or a device put in its place reading would never end.
        if path.exists() and not path.is_file():
            raise FileNotFoundError(path)
        flac = path.read_bytes()
    except FileNotFoundError as error:
        raise RecordError(
            "The sound clip is missing.",
            where=str(path),
            remedy="Restore it from a backup of the data folder.",
        ) from error
    if sha256_hex(flac) != sha256:
        raise RecordError(
            "The sound clip was altered: its bytes are not those that were recorded.",
            where=str(path),
            remedy="Keep the altered file as it is, and restore the clip from a backup.",
        )
    return flac


def clip_problem(clips: Path, sha256: str, size: int, seconds: float) -> str | None:
    """Return what is wrong with a clip and what the record says of it, or None.

    ``size`` is in bytes.
    """
    try:
        flac = read_clip(clips, sha256)
        samples, rate = decode(flac)
    except RecordError as error:
        return error.what
    if len(flac) != size or abs(len(samples) / rate - seconds) > 0.5 / rate:
        return "The record's note of its length was altered."
    return None
