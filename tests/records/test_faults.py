"""Faults of disk and file: told in plain words, nothing half-written, and the store goes on."""

from __future__ import annotations

import errno
import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from voicelog.errors import RecordError
from voicelog.records.faults import told
from voicelog.records.store import Store

from .making import WALK, Ticking, entry, files, rows, sound, started, without_privileges
from .test_append import ENVIRONMENT

CLIP = sound(1)


def _assert_told(error: RecordError, words: str) -> None:
    """Check that an error says what, where and what to do, and nothing of the machinery."""
    assert words in error.what
    assert error.where and error.remedy
    assert "sqlite3" not in str(error) and "Errno" not in str(error)


def test_a_full_database(store: Store) -> None:
    """When the database may not grow (PRAGMA max_page_count), nothing is added; with room again, it is."""
    store.append(WALK, [started()])
    before = rows(store.folder)
    (pages,) = store._db.execute("PRAGMA page_count").fetchone()
    store._db.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(RecordError) as caught:
        store.append(WALK, [entry(number) for number in range(200)], [])
    _assert_told(caught.value, "no room left")
    assert rows(store.folder) == before
    store._db.execute("PRAGMA max_page_count = 1000000")
    store.append(WALK, [entry(number) for number in range(200)])
    assert store.verify_all() == ()
    assert len(store.events(WALK)) == 201


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs Linux's /dev/full")
def test_a_disk_that_is_full_for_sound(store: Store) -> None:
    """When the second clip finds the disk full (ENOSPC of /dev/full), neither clip nor event is added."""
    store.append(WALK, [started()])
    before = rows(store.folder)
    part = store.folder / "clips" / CLIP.sha256[:2] / f"{CLIP.sha256}.part"
    part.parent.mkdir(parents=True)
    part.symlink_to("/dev/full")
    first = sound(2)
    with pytest.raises(RecordError) as caught:
        store.append(WALK, [entry(1, first), entry(2, CLIP)], [first, CLIP])
    _assert_told(caught.value, "no room left")
    assert rows(store.folder) == before
    assert files(store.folder) == set()
    store.append(WALK, [entry(1, first), entry(2, CLIP)], [first, CLIP])
    assert store.verify_all() == ()


@pytest.mark.skipif(sys.platform == "win32", reason="needs limits of POSIX")
@pytest.mark.parametrize("limit", ["log", "sound"])
def test_files_that_may_not_grow(store: Store, limit: str) -> None:
    """When the system lets no file grow past a size (RLIMIT_FSIZE), the record goes on whole afterwards."""
    code = """if True:
        import resource, sys
        from pathlib import Path
        from voicelog.errors import RecordError
        from voicelog.records.store import Store
        from tests.records.making import WALK, Ticking, entry, sound, started
        folder, limit = Path(sys.argv[1]), sys.argv[2]
        with Store.open(folder, clock=Ticking()) as store:
            store.append(WALK, [started()])
            clip = sound(1, seconds=30.0 if limit == "sound" else 0.05)
            size = (folder / "voicelog.db-wal").stat().st_size + 500
            most = size if limit == "log" else len(clip.flac) // 2
            assert limit == "log" or most > 2 * size
            old = resource.getrlimit(resource.RLIMIT_FSIZE)
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, old[1]))
            for _ in range(3):
                try:
                    store.append(WALK, [entry(1, clip)], [clip])
                except RecordError as error:
                    assert error.remedy and error.where, error
                    assert "disk" in error.what or "room" in error.what, error
                else:
                    raise AssertionError("was not refused")
                assert len(store.events(WALK)) == 1 and store.verify(WALK) == ()
            resource.setrlimit(resource.RLIMIT_FSIZE, old)
            store.append(WALK, [entry(1, clip)], [clip])
            assert store.verify_all() == (), store.verify_all()
        print("went on")
    """
    root = str(Path(__file__).parents[2])
    environment = ENVIRONMENT | {"PYTHONPATH": ENVIRONMENT["PYTHONPATH"] + os.pathsep + root}
    done = subprocess.run(
        [sys.executable, "-c", code, str(store.folder), limit],
        env=environment,
        capture_output=True,
        text=True,
    )
    assert done.stdout == "went on\n", done.stderr
    assert len(store.events(WALK)) == 2
    assert store.verify_all() == ()


def test_a_database_locked_by_another(store: Store) -> None:
    """While another program holds the database, an append is refused; when it lets go, it works."""
    store.append(WALK, [started()])
    with Store.open(store.folder, clock=Ticking(), busy_seconds=0.02) as hasty:
        other = sqlite3.connect(store.folder / "voicelog.db")
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordError) as caught:
            hasty.append(WALK, [entry(1, CLIP)], [CLIP])
        _assert_told(caught.value, "Another program")
        assert len(hasty.events(WALK)) == 1
        assert files(store.folder) == set()
        other.rollback()
        other.close()
        hasty.append(WALK, [entry(1, CLIP)], [CLIP])
        assert hasty.verify_all() == ()


def _a_folder_that_is_a_file(folder: Path) -> None:
    folder.write_text("a file")


def _text(folder: Path) -> None:
    folder.mkdir()
    (folder / "voicelog.db").write_text("This is a shopping list, and a rather long one.\n" * 100)


def _a_folder_for_a_file(folder: Path) -> None:
    (folder / "voicelog.db").mkdir(parents=True)


def _of_another_program(folder: Path) -> None:
    folder.mkdir()
    connection = sqlite3.connect(folder / "voicelog.db")
    connection.execute("CREATE TABLE bookmarks (url TEXT)")
    connection.close()


def _of_a_newer_voicelog(folder: Path) -> None:
    Store.open(folder, clock=Ticking()).close()
    connection = sqlite3.connect(folder / "voicelog.db")
    connection.execute(
        "INSERT INTO _sqlite_migrations (migration_set, name, applied_at)"
        " VALUES ('voicelog records', 'later', '')"
    )
    connection.commit()
    connection.close()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (_a_folder_that_is_a_file, "cannot be opened"),
        (_text, "not a voicelog record"),
        (_a_folder_for_a_file, "cannot be opened"),
        (_of_another_program, "another program"),
        (_of_a_newer_voicelog, "newer voicelog"),
    ],
)
def test_what_is_not_a_record_of_ours(tmp_path: Path, make: Callable[[Path], None], words: str) -> None:
    """What cannot be used is told, and its bytes are left as they are."""
    folder = tmp_path / "data"
    make(folder)
    before = {path: path.read_bytes() for path in (folder, folder / "voicelog.db") if path.is_file()}
    with pytest.raises(RecordError) as caught:
        Store.open(folder, clock=Ticking())
    _assert_told(caught.value, words)
    assert {path: path.read_bytes() for path in before} == before


def test_a_damaged_database(store: Store) -> None:
    """Pages overwritten in the middle of the file are found, and reading them is told."""
    store.append(WALK, [started(), *(entry(number) for number in range(300))])
    store.close()
    path = store.folder / "voicelog.db"
    data = bytearray(path.read_bytes())
    # The pages of the tables' own definitions, which come first, are left as they are.
    first = 40 * 4096
    data[first:-4096] = b"\xff" * (len(data) - first - 4096)
    path.write_bytes(data)
    with Store.open(store.folder, clock=Ticking()) as damaged:
        with pytest.raises(RecordError) as caught:
            damaged.events(WALK)
        _assert_told(caught.value, "damaged")
        with pytest.raises(RecordError):
            damaged.append(WALK, [entry(1)])


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="needs permissions of POSIX")
@pytest.mark.parametrize("case", ["folder above", "database", "clips", "locks"])
def test_what_may_not_be_written(case: str) -> None:
    """Without the right to write, nothing is added, it is told, and with the right it goes on."""
    with without_privileges() as base:
        folder = base / "data"
        if case == "folder above":
            base.chmod(0o555)
            with pytest.raises(RecordError) as caught:
                Store.open(folder, clock=Ticking())
            base.chmod(0o777)
        else:
            with Store.open(folder, clock=Ticking()) as store:
                store.append(WALK, [started(), entry(1)])
            shut = {"database": folder / "voicelog.db", "clips": folder / "clips", "locks": folder / "locks"}[
                case
            ]
            if case != "database":
                shut.mkdir()
            shut.chmod(0o444 if case == "database" else 0o555)
            with Store.open(folder, clock=Ticking()) as store:
                with pytest.raises(RecordError) as caught:
                    if case == "locks":
                        with store.lock(WALK):
                            pass
                    store.append(WALK, [entry(2, CLIP)], [CLIP])
                assert len(store.events(WALK)) == 2
            # SQLite gives its log the rights of the database, so the remedy is for all files there.
            for path in folder.glob("voicelog.db*") if case == "database" else [shut]:
                path.chmod(0o666 if case == "database" else 0o777)
        _assert_told(caught.value, "read but not written")
        with Store.open(folder, clock=Ticking()) as store:
            store.append(f"{WALK}0", [started(), entry(2, CLIP)], [CLIP])
            assert store.verify_all() == ()


def test_a_closed_store(store: Store) -> None:
    """A store that was closed says so."""
    store.close()
    with pytest.raises(RecordError) as caught:
        store.append(WALK, [started()])
    _assert_told(caught.value, "closed")


@pytest.mark.parametrize(
    "error",
    [
        OSError(errno.EDQUOT, "Disk quota exceeded", "/data/x"),
        OSError(errno.EMFILE, "Too many open files"),
        sqlite3.ProgrammingError("something else"),
        sqlite3.IntegrityError("UNIQUE constraint failed"),
    ],
)
def test_any_other_fault_is_told_too(error: sqlite3.Error | OSError) -> None:
    """A fault without words of its own still says what, where and what to do."""
    found = told(error, Path("/data/voicelog.db"))
    assert found.what and found.where.startswith("/data/") and found.remedy
