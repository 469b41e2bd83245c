"""A program that stops a removal at each of its steps in turn, and looks at what is left; run by the tests.

Arguments: folder to work in; ``kill`` or ``raise``; ``walks`` or ``sound``. A step is a statement that
changes the database, a sync, a renaming or a removal of a file; it is stopped before that. Killed, the
process is gone as by ``kill -9``; raised, the disk is full. It prints one line a step, and fails on the
first that leaves a walk neither whole nor told.
"""

from __future__ import annotations

import errno
import os
import shutil
import signal
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn
from unittest.mock import patch

from sqlite_utils import Database

from tests.people.making import OFFICER, PINS, station
from tests.records.making import Ticking
from tests.walk.reviewing import sheet, tone
from voicelog import removing
from voicelog.errors import RecordError
from voicelog.records.clips import sha256_hex
from voicelog.records.export_proof import prove
from voicelog.records.store import Store

from .old_walks import LATER, clip_of, old_station, removed

NAMES = ("old_1", "latest")

_CHANGING = ("BEGIN", "INSERT", "DELETE", "UPDATE", "COMMIT", "VACUUM")


class Steps:
    """Counts the steps of what runs while it is in place, and stops before one of them."""

    def __init__(self, stop_at: int, stop: Callable[[], None]) -> None:
        self.count = 0
        self._stop_at, self._stop, self._last = stop_at, stop, ""

    def step(self, what: str) -> None:
        """Take one more step."""
        self.count += 1
        if self.count == self._stop_at:
            os.write(1, f"{self.count} {what}\n".encode())
            self._stop()

    def statement(self, sql: str) -> None:
        """Count a statement that changes something; what its triggers do is told under its name too."""
        if sql.lstrip().upper().startswith(_CHANGING) and sql != self._last:
            self.step(sql.split("(")[0][:40])
        self._last = sql

    def around(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        """Return a call that is a step."""

        def stepped(*given: Any, **named: Any) -> Any:
            self.step(name)
            return call(*given, **named)

        return stepped


def killed() -> None:
    """End this process as a power cut would."""
    os.kill(os.getpid(), signal.SIGKILL)


def full() -> NoReturn:
    """Say that the disk is full."""
    raise OSError(errno.ENOSPC, "No space left on device")


def remove(folder: Path, copies: Path, steps: Steps, what: str, *, traced: bool) -> None:
    """Open the record and remove what is past its time, step by step."""
    with station(folder, Ticking(LATER)) as store:
        signer = store.people.unlock(OFFICER, PINS[OFFICER])
        if traced:
            store._db.conn.set_trace_callback(steps.statement)
        else:
            # What is raised within a trace is lost.
            Database.execute = steps.around("statement", Database.execute)  # type: ignore[method-assign]
            Database.commit = steps.around("commit", Database.commit)  # type: ignore[method-assign]
        os.fsync = steps.around("fsync", os.fsync)
        Path.replace = steps.around("replace", Path.replace)  # type: ignore[method-assign]
        Path.unlink = steps.around("unlink", Path.unlink)  # type: ignore[method-assign]
        removed(store, signer, copies, sound=what == "sound")
        store.removal.give_back()


def looked_at(folder: Path, copies: Path) -> bool:
    """Return whether anything was removed; fails where a walk is neither whole nor told."""
    with station(folder, Ticking(LATER)) as store:
        assert store.verify_all() == (), store.verify_all()
        assert _state(store, copies) in (set(), {NAMES[0]}, set(NAMES))
        # What was cut off is finished by whoever looks next, and the rest can be done.
        store.removal.finish()
        done = bool(store.removal.removed().walks or store.removal.removed().sound)
        _no_strays(store)
        assert store.verify_all() == ()
    return done


def _state(store: Store, copies: Path) -> set[str]:
    """Return the walks that are told to be removed, each with its copy; the others are there, with sound."""
    told = store.removal.removed()
    for name in NAMES:
        gone = told.walks.get(name) or told.sound.get(name)
        if gone is not None:
            copy = Path(gone.walk.copy_path).read_bytes()
            assert sha256_hex(copy) == gone.walk.copy_sha256
            proof = prove(copy, name)
            assert (proof.problems, proof.head) == ((), gone.walk.head)
        else:
            assert store.clip(tone(clip_of(name)).sha256)
        assert bool(store.events(name)) is (name not in told.walks)
    assert all(prove(copy.read_bytes(), "copy").problems == () for copy in copies.glob("*.record"))
    return {*told.walks, *told.sound}


def _no_strays(store: Store) -> None:
    named = {row["sha256"] for row in store._db.query("SELECT sha256 FROM clips")}
    there = {path.stem for path in (store.folder / "clips").rglob("*.flac")}
    assert named == there, (named, there)


def main() -> None:
    """Stop at step 1, 2, 3... until a removal runs to its end."""
    work, how, what = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
    store, _, _ = old_station(work / "whole", NAMES)
    store.removal.give_back()
    store.close()
    stopped = {False: 0, True: 0}
    sheet()
    for stop_at in range(1, 500):
        folder, copies = work / f"{stop_at}", work / f"copies-{stop_at}"
        shutil.copytree(work / "whole", folder)
        child = os.fork()
        if child == 0:
            _run(folder, copies, stop_at, how, what)
        _, status = os.waitpid(child, 0)
        if os.waitstatus_to_exitcode(status) == 0:
            print(f"ended after {stop_at - 1} steps; {stopped[False]} whole, {stopped[True]} told")
            return
        expected = -signal.SIGKILL if how == "kill" else 3
        assert os.waitstatus_to_exitcode(status) == expected, status
        stopped[looked_at(folder, copies)] += 1
        shutil.rmtree(folder)
        shutil.rmtree(copies, ignore_errors=True)


def _run(folder: Path, copies: Path, stop_at: int, how: str, what: str) -> NoReturn:
    steps = Steps(stop_at, killed if how == "kill" else full)
    try:
        # Read once, before the processes part: reading sheets is not what is tested here.
        with patch.object(removing, "sheet_as_made", lambda store, started: sheet()):
            remove(folder, copies, steps, what, traced=how == "kill")
    except (RecordError, OSError, sqlite3.Error):
        os._exit(3)
    os._exit(0 if steps.count < stop_at else 3)


if __name__ == "__main__":
    main()
