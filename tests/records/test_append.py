"""Appending: all or nothing, on the disk when it returns, one chain whoever writes."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

import voicelog
from voicelog.errors import RecordError
from voicelog.records import schema
from voicelog.records.chain import FIRST_PREVIOUS
from voicelog.records.store import Store
from voicelog.walk.events import EVENT

from .making import START, WALK, Ticking, entry, files, finished, rows, signed, sound, started

APPENDING = [sys.executable, str(Path(__file__).with_name("appending.py"))]
ENVIRONMENT = os.environ | {"PYTHONPATH": str(Path(voicelog.__file__).parents[1])}


def test_what_append_returns_is_what_stands(store: Store) -> None:
    """What append returns is what another connection reads, with times of the clock passed in."""
    clip = sound(1)
    added = store.append(WALK, [started()]) + store.append(WALK, [entry(1, clip), entry(2)], [clip])
    with Store.open(store.folder, clock=Ticking()) as second:
        assert second.events(WALK) == added
        assert second.clip(clip.sha256) == clip.flac
        assert second.verify(WALK) == second.verify_all() == ()
    assert [stored.number for stored in added] == [1, 2, 3]
    assert [stored.seq for stored in added] == [1, 2, 3]
    assert [(stored.at - START).seconds for stored in added] == [1, 2, 2]
    assert added[0].at.utcoffset() == START.utcoffset()
    assert [row[3] for row in rows(store.folder)[:3]] == [
        "2026-11-25T07:10:01-05:00",
        "2026-11-25T07:10:02-05:00",
        "2026-11-25T07:10:02-05:00",
    ]


def test_a_walk_that_is_not_there_is_empty(store: Store) -> None:
    """No events, a head of zeros, and a proof that says there is nothing to prove."""
    assert store.events("nothing") == ()
    assert store.head("nothing") == FIRST_PREVIOUS
    assert len(store.verify("nothing")) == 1


def test_settings_that_keep_acknowledged_events(store: Store) -> None:
    """With synchronous=FULL (2) the log is synced at each commit (sqlite.org, PRAGMA synchronous)."""
    assert store._db.journal_mode == "wal"
    for pragma, value in (("synchronous", 2), ("foreign_keys", 1), ("busy_timeout", 5000)):
        assert store._db.execute(f"PRAGMA {pragma}").fetchone() == (value,)


def test_sound_is_on_the_disk_before_the_commit(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """The clip is synced, renamed, its folder synced, and only then is the event committed."""
    steps: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def noted_fsync(descriptor: int) -> None:
        steps.append("sync " + Path(os.readlink(f"/proc/self/fd/{descriptor}")).name)
        fsync(descriptor)

    def noted_replace(path: Path, target: Path) -> Path:
        steps.append("rename " + target.name)
        return replace(path, target)

    if not Path("/proc/self/fd").exists():
        pytest.skip("needs /proc to name what is synced")
    store.append(WALK, [started()])
    monkeypatch.setattr(os, "fsync", noted_fsync)
    monkeypatch.setattr(Path, "replace", noted_replace)
    store._db.conn.set_trace_callback(lambda sql: steps.append(sql) if sql == "COMMIT" else None)
    clip = sound(2)
    store.append(WALK, [entry(1, clip)], [clip])
    assert (
        steps
        == [
            "sync data",  # clips/ was made in it
            "sync clips",  # clips/ab/ was made in it
            f"sync {clip.sha256}.part",
            f"rename {clip.sha256}.flac",
            f"sync {clip.sha256[:2]}",
            "COMMIT",
        ]
    )


def test_a_failure_at_any_statement_leaves_nothing(store: Store) -> None:
    """Whichever statement of an append fails, nothing was added, and the next append is whole."""
    store.append(WALK, [started()])
    clip = sound(3)
    reached = 0
    for fail_at in range(1, 100):
        before, sounds = rows(store.folder), files(store.folder)
        left = fail_at

        def fail(sql: str, parameters: object) -> None:
            nonlocal left
            left -= 1
            if not left:
                raise sqlite3.OperationalError("made to fail")

        with store._db.tracer(fail):
            try:
                store.append(WALK, [entry(1, clip), entry(2)], [clip])
            except RecordError:
                reached += 1
            else:
                break
        assert rows(store.folder) == before
        assert files(store.folder) == sounds
    assert reached >= 5
    assert store.verify_all() == ()
    assert [stored.number for stored in store.events(WALK)] == [1, 2, 3]


def test_a_failing_commit_leaves_nothing(store: Store) -> None:
    """An append whose commit is refused is undone; its sound may stay, for it harms nothing."""
    store.append(WALK, [started()])
    before = rows(store.folder)
    store._db.execute("PRAGMA foreign_keys = ON")
    store._db.execute("CREATE TABLE parent (id INTEGER PRIMARY KEY)")
    store._db.execute("CREATE TABLE child (id INTEGER REFERENCES parent DEFERRABLE INITIALLY DEFERRED)")
    store._db.execute("CREATE TRIGGER spoil AFTER INSERT ON events BEGIN INSERT INTO child VALUES (9); END")
    with pytest.raises(RecordError):
        store.append(WALK, [entry(1)])
    assert rows(store.folder) == before
    store._db.execute("DROP TRIGGER spoil")
    store.append(WALK, [entry(1)])
    assert store.verify(WALK) == ()


def test_a_failing_clock_leaves_nothing(tmp_path: Path) -> None:
    """A time without UTC offset is refused before anything is written."""
    with Store.open(tmp_path, clock=lambda: datetime(2026, 11, 25)) as store:
        with pytest.raises(RecordError, match="UTC offset"):
            store.append(WALK, [started()])
        assert store.walks() == ()


@pytest.mark.parametrize(
    ("walk", "events", "word"),
    [
        (WALK, [started()], "started already"),
        (WALK, [entry(2), started()], "started already"),
        ("new", [entry(1)], "no such walk"),
        ("new", [started(), started()], "started already"),
        ("../up", [started()], "name of a walk"),
        ("", [started()], "name of a walk"),
    ],
)
def test_a_walk_starts_once(store: Store, walk: str, events: list[Any], word: str) -> None:
    """A walk has its start first and only there, so two windows cannot start the same walk."""
    store.append(WALK, [started()])
    with pytest.raises(RecordError, match=word):
        store.append(walk, events)
    assert [(len(store.events(WALK)), summary.walk) for summary in store.walks()] == [(1, WALK)]


def test_the_database_refuses_changes(store: Store) -> None:
    """No row can be changed, removed or replaced, whoever connects."""
    clip = sound(4)
    store.append(WALK, [started(), entry(1, clip)], [clip])
    before = rows(store.folder)
    connection = sqlite3.connect(store.folder / "voicelog.db")
    for statement in (
        "UPDATE events SET at = 'x'",
        "DELETE FROM events",
        "INSERT OR REPLACE INTO events SELECT * FROM events",
        "REPLACE INTO events SELECT 99, walk, number, at, kind, body, previous, hash FROM events",
        "UPDATE clips SET seconds = 9",
        "DELETE FROM clips",
        "REPLACE INTO clips SELECT * FROM clips",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="only grows"):
            connection.execute(statement)
    connection.rollback()
    connection.close()
    assert rows(store.folder) == before


def test_threads_do_not_fork_the_chain(store: Store) -> None:
    """Four threads, two on one store and two on another, make one chain."""
    store.append(WALK, [started()])
    with Store.open(store.folder, clock=Ticking()) as other:
        threads = [
            threading.Thread(target=lambda each=each: [each.append(WALK, [entry(n)]) for n in range(5)])
            for each in (store, store, other, other)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert len(store.events(WALK)) == 21
    assert store.verify(WALK) == ()


def test_processes_do_not_fork_the_chain(store: Store) -> None:
    """Two programs that append to the same walk at the same time make one chain."""
    store.append(WALK, [started()])
    arguments = [*APPENDING, str(store.folder), WALK, "20", "yes"]
    programs = [
        subprocess.Popen(arguments, env=ENVIRONMENT, stdout=subprocess.PIPE, text=True) for _ in range(2)
    ]
    told = [program.communicate()[0].split("\n")[:-1] for program in programs]
    assert [program.returncode for program in programs] == [0, 0]
    there = {f"{stored.number} {stored.hash}" for stored in store.events(WALK)[1:]}
    assert set(told[0]) | set(told[1]) == there
    assert len(there) == 40
    assert store.verify_all() == ()


def test_walks_are_listed_with_what_became_of_them(store: Store) -> None:
    """Unit, sheet, operator, start, finish, signatures and last event of each walk, in order."""
    store.append("one", [started()])
    store.append("two", [started(unit_id="tower_3", operator="K. Voss"), entry(1)])
    store.append("one", [entry(1), finished()])
    store.append("one", [signed(store.head("one"))])
    one, two = store.walks()
    assert (one.walk, one.unit_id, one.sheet_id, one.operator) == (
        "one",
        "engine_61",
        "engine_bay",
        "R. Alder",
    )
    assert (one.unit_name, one.sheet_title, one.events) == ("Engine 61", "Engine bay", 4)
    assert one.finished and [(at - START).seconds for at in (one.started, one.finished, one.last)] == [
        1,
        3,
        4,
    ]
    assert one.signed == ("confirmed by",)
    assert (two.walk, two.operator, two.finished, two.signed) == ("two", "K. Voss", None, ())


def test_the_open_walk_is_the_latest_unfinished_one(store: Store) -> None:
    """A walk can be taken up again only of the same unit and sheet, and only when not finished."""
    assert store.open_walk("engine_61", "engine_bay") is None
    for walk in ("a", "b", "c"):
        store.append(walk, [started()])
    store.append("c", [finished()])
    store.append("d", [started(sheet_id="pump")])
    assert store.open_walk("engine_61", "engine_bay") == "b"
    assert store.open_walk("engine_61", "pump") == "d"
    assert store.open_walk("tower_3", "engine_bay") is None


def test_walk_ids_are_readable_and_new(store: Store) -> None:
    """An id tells the unit and the minute, and counts on where there are walks already."""
    for number in (1, 2):
        walk = store.new_walk_id("engine_61", START)
        assert walk == f"engine_61-20261125-0710-{number}"
        store.append(walk, [started()])
    odd = store.new_walk_id("Motor 61 / Süd", START)
    assert odd == "Motor_61_S_d-20261125-0710-1"
    store.append(odd, [started()])


def test_one_window_at_a_time(store: Store) -> None:
    """A walk that is held cannot be held again, by this program or another; other walks can."""
    with store.lock(WALK), Store.open(store.folder, clock=Ticking()) as second:
        with pytest.raises(RecordError, match="open in another window") as caught, second.lock(WALK):
            pass
        assert caught.value.remedy
        with second.lock("another"):
            pass
    with store.lock(WALK):
        pass


def test_a_killed_program_lets_go_of_its_walk(store: Store) -> None:
    """The lock of a program that was killed does not stand in the way."""
    code = (
        "import sys; from pathlib import Path; from voicelog.records.store import Store\n"
        "store = Store.open(Path(sys.argv[1]), clock=None)\n"
        "with store.lock(sys.argv[2]): print('held', flush=True); sys.stdin.read()"
    )
    arguments = [sys.executable, "-c", code, str(store.folder), WALK]
    with subprocess.Popen(
        arguments, env=ENVIRONMENT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as program:
        assert program.stdout and program.stdout.readline() == "held\n"
        with pytest.raises(RecordError, match="another window"), store.lock(WALK):
            pass
        program.kill()
    with store.lock(WALK):
        pass


def test_opening_twice_changes_nothing(store: Store) -> None:
    """The steps that make the tables are done once and noted with them."""
    with Store.open(store.folder, clock=Ticking()) as second:
        applied = schema.STEPS.applied(second._db)
    with Database(memory=True) as empty:
        known = [step.name for step in schema.STEPS.pending(empty)]
    assert [step.name for step in applied] == known


def test_a_failing_step_leaves_no_tables(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A step that fails half way leaves neither tables nor a note, and can be done again."""
    with monkeypatch.context() as patch:
        patch.setattr(schema, "_DEFECT_GUARDS", schema._DEFECT_GUARDS | {"bad": "CREATE TRIGGER nonsense"})
        with pytest.raises(RecordError):
            Store.open(tmp_path, clock=Ticking())
    connection = sqlite3.connect(tmp_path / "voicelog.db")
    assert connection.execute("SELECT name FROM sqlite_master").fetchall() == []
    connection.close()
    with Store.open(tmp_path, clock=Ticking()) as store:
        store.append(WALK, [started()])
        assert store.verify_all() == ()


def test_large_numbers_come_back(store: Store) -> None:
    """A whole number past 2^53, which canonical JSON writes without a point, is still a double."""
    event = entry(1)
    heard = event.heard.model_copy(update={"end_s": 2.0**60})
    store.append(WALK, [started(), event.model_copy(update={"heard": heard})])
    last = store.events(WALK)[-1].event
    assert EVENT.dump_python(last)["heard"]["end_s"] == 2.0**60
    assert store.verify(WALK) == ()
