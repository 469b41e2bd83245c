"""A program that is killed while it writes loses nothing that it had acknowledged.

Killing a process shows that the database and the sound files hold together at any moment. It does
not show what a power cut does to the disk's own cache: for that see the order of syncs in
``test_append.py``.
"""

from __future__ import annotations

import os
import random
import selectors
import subprocess
import sys
import time
from pathlib import Path

from voicelog.records.store import Store

from .making import WALK, files, started
from .test_append import APPENDING, ENVIRONMENT

RUNS = 10


def _acknowledged_until_killed(folder: Path, seconds: float) -> list[str]:
    """Run the appending program, kill it ``seconds`` after its first word, return its whole lines."""
    arguments = [*APPENDING, str(folder), WALK, "0", "yes"]
    with subprocess.Popen(arguments, env=ENVIRONMENT, stdout=subprocess.PIPE, bufsize=0) as program:
        assert program.stdout
        first = program.stdout.readline()
        with selectors.DefaultSelector() as waiting:
            waiting.register(program.stdout, selectors.EVENT_READ)
            end, read = time.monotonic() + seconds, b""
            while (left := end - time.monotonic()) > 0:
                if waiting.select(left):
                    read += os.read(program.stdout.fileno(), 65_536)
        program.kill()
        read += program.stdout.read()
    assert program.returncode == -9 or sys.platform == "win32"
    return (first + read).decode().split("\n")[:-1]


def test_what_was_acknowledged_survives_a_kill(store: Store) -> None:
    """After each of ten kills at moments from a seed, every acknowledged event and its sound are there."""
    store.append(WALK, [started()])
    moments = random.Random(61)
    acknowledged: list[str] = []
    for _ in range(RUNS):
        acknowledged += _acknowledged_until_killed(store.folder, moments.uniform(0, 0.12))
        there = store.events(WALK)
        told = {f"{stored.number} {stored.hash}" for stored in there}
        assert set(acknowledged) <= told
        # At most one event of each run was committed without the program living to say so.
        assert len(there) - 1 - len(acknowledged) <= RUNS
        assert store.verify(WALK) == ()
    assert len(acknowledged) >= RUNS
    assert store.verify_all() == ()
    # What a kill may leave behind: at most one sound each that no event names, never half a file
    # under a clip's name.
    named = {
        stored.event.heard.clip for stored in store.events(WALK) if stored.event.kind == "not understood"
    }
    whole = {name.removesuffix(".flac") for name in files(store.folder) if name.endswith(".flac")}
    assert named <= whole
    assert len(whole - named) <= RUNS
    for sha256 in whole:
        store.clip(sha256)
