"""The lock of a walk: one window writes it, and the lock goes away with the process."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from voicelog.errors import RecordError
from voicelog.records.clip_files import make_folder
from voicelog.records.faults import faults


@contextmanager
def held(path: Path, walk: str) -> Iterator[None]:
    """Hold the lock file of a walk; RecordError when another window or program holds it."""
    with faults(path):
        make_folder(path.parent.absolute())
        lock = FileLock(path, timeout=0, thread_local=False)
        try:
            lock.acquire()
        except Timeout as error:
            raise RecordError(
                "This walk is open in another window.",
                where=f"walk {walk}",
                remedy="Go on in that window, or close it and try again.",
            ) from error
    try:
        yield
    finally:
        lock.release()
