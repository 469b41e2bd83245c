"""Backups: whole while a walk is running, brought up to date, never over another record."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from voicelog.errors import RecordError
from voicelog.records.proof import prove_folder
from voicelog.records.store import Store

from .making import WALK, Ticking, entry, files, rows, sound, started


def test_a_backup_is_the_same_record(store: Store, tmp_path: Path) -> None:
    """Its rows and sound are the same, it is whole, and it can be gone on with."""
    clip = sound(1)
    store.append(WALK, [started(), entry(1, clip)], [clip])
    target = tmp_path / "stick" / "copy"
    store.backup(target)
    assert {path.name for path in target.iterdir()} == {"voicelog.db", "clips"}
    # 1 and 1: no log is needed, so it can be read from a disk that cannot be written. 2 and 2 would
    # be the write-ahead log (sqlite.org, Database File Format, section 1.3.3).
    assert (target / "voicelog.db").read_bytes()[18:20] == b"\x01\x01"
    assert rows(target) == rows(store.folder)
    with Store.open(target, clock=Ticking()) as copy:
        assert copy.verify_all() == ()
        assert copy.clip(clip.sha256) == clip.flac
        copy.append(WALK, [entry(2)])
        assert copy.verify_all() == ()


def test_a_backup_is_brought_up_to_date(store: Store, tmp_path: Path) -> None:
    """Made again after the walk went on, it holds the new events and sound too."""
    target = tmp_path / "copy"
    for number in range(1, 4):
        clip = sound(number)
        store.append(WALK, [started()] * (number == 1) + [entry(number, clip)], [clip])
        store.backup(target)
        assert rows(target) == rows(store.folder)
        assert files(target) == files(store.folder)


def test_a_backup_is_whole_while_a_walk_is_running(store: Store, tmp_path: Path) -> None:
    """Backups made while another thread appends events with sound are whole each time."""
    store.append(WALK, [started()])
    stop = threading.Event()

    def go_on() -> None:
        for number in range(1, 1000):
            if stop.is_set():
                return
            clip = sound(number)
            store.append(WALK, [entry(number, clip)], [clip])

    writer = threading.Thread(target=go_on)
    writer.start()
    try:
        counts = []
        for number in range(5):
            target = tmp_path / f"copy{number}"
            store.backup(target)
            with Store.open(target, clock=Ticking()) as copy:
                assert copy.verify_all() == ()
                counts.append(len(copy.events(WALK)))
    finally:
        stop.set()
        writer.join()
    assert counts == sorted(counts)
    assert counts[-1] > counts[0]


def test_a_backup_does_not_overwrite_another_record(store: Store, tmp_path: Path) -> None:
    """A folder that holds events this record has not is left as it is."""
    store.append(WALK, [started()])
    with Store.open(tmp_path / "other", clock=Ticking()) as other:
        other.append(WALK, [started(), entry(1)])
        before = rows(other.folder)
    with pytest.raises(RecordError, match="another record"):
        store.backup(tmp_path / "other")
    assert rows(tmp_path / "other") == before
    with pytest.raises(RecordError, match="made from"):
        store.backup(store.folder)


def test_a_backup_of_a_record_with_lost_sound(store: Store, tmp_path: Path) -> None:
    """All that can be copied is copied, and what could not be is told."""
    lost, kept = sound(1), sound(2)
    store.append(WALK, [started(), entry(1, lost), entry(2, kept)], [lost, kept])
    (store.folder / "clips" / lost.sha256[:2] / f"{lost.sha256}.flac").unlink()
    with pytest.raises(RecordError, match="1 of 2"):
        store.backup(tmp_path / "copy")
    assert rows(tmp_path / "copy") == rows(store.folder)
    assert files(tmp_path / "copy") == {f"{kept.sha256}.flac"}


def test_lost_sound_comes_back_with_the_same_recording(store: Store, tmp_path: Path) -> None:
    """A backup over a copy whose sound was damaged puts it right."""
    clip = sound(1)
    store.append(WALK, [started(), entry(1, clip)], [clip])
    store.backup(tmp_path / "copy")
    shutil.rmtree(tmp_path / "copy" / "clips")
    store.backup(tmp_path / "copy")
    with Store.open(tmp_path / "copy", clock=Ticking()) as copy:
        assert copy.verify_all() == ()


def test_a_backup_that_is_killed_leaves_a_whole_record(store: Store, tmp_path: Path) -> None:
    """Killed (SIGKILL) at many moments while a walk goes on, the target is the earlier backup or the new."""
    sounds = [sound(number) for number in range(1, 25)]
    events = [entry(number, clip) for number, clip in enumerate(sounds, 1)]
    store.append(WALK, [started()])
    target = tmp_path / "copy"
    store.backup(target)
    store.append(WALK, events, sounds)
    ended = set()
    for step in range(1, 400, 9):
        program = (
            "import os, signal, sys; from pathlib import Path; from tests.records.making import Ticking;"
            " from voicelog.records.store import Store\n"
            f"left = {step}\n"
            "def count(frame, event, arg):\n"
            "    global left\n"
            "    if event == 'c_call':\n"
            "        name = getattr(arg, '__name__', '')\n"
            "        if name in ('replace', 'fsync', 'open', 'backup', 'execute', 'close', 'unlink'):\n"
            "            left -= 1\n"
            "            if not left: os.kill(os.getpid(), signal.SIGKILL)\n"
            "with Store.open(Path(sys.argv[1]), clock=Ticking()) as store:\n"
            "    sys.setprofile(count)\n"
            "    store.backup(Path(sys.argv[2]))\n"
            "    sys.setprofile(None)\n"
        )
        done = subprocess.run([sys.executable, "-c", program, str(store.folder), str(target)], check=False)
        proof = prove_folder(target)
        assert proof.problems == ()
        assert proof.events in (1, 25)
        ended.add((done.returncode, proof.events))
        if done.returncode == 0:
            break
    assert (-signal.SIGKILL, 1) in ended
    assert (0, 25) in ended
