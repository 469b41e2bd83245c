"""``verify`` of a whole folder: as it lies there, whatever became of it, and against what was printed."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.records.making import tamper, without_privileges
from tests.records.tampering import exported as exported_record
from tests.records.tampering import make
from tests.walk.reviewing import WALK
from voicelog import cli
from voicelog.records.export import pack
from voicelog.records.store import Store


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder of a whole record, closed; tests alter copies."""
    folder = tmp_path_factory.mktemp("lies") / "data"
    make(folder).close()
    return folder


@pytest.fixture
def folder(whole: Path, tmp_path: Path) -> Path:
    """Give a copy of the record."""
    shutil.copytree(whole, tmp_path / "data")
    return tmp_path / "data"


def verify(folder: Path, *words: str, data: Path | None = None) -> tuple[int, str]:
    """Return the exit code of ``voicelog verify``, and what it prints."""
    given = ("--data", str(data)) if data else ()
    result = CliRunner().invoke(cli.main, [*given, "verify", str(folder), *words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.output


def _bytes(part: Callable[[bytes], bytes]) -> Callable[[Path], None]:
    def alter(folder: Path) -> None:
        path = folder / "voicelog.db"
        path.write_bytes(part(path.read_bytes()))

    return alter


def _sql(*statements: str) -> Callable[[Path], None]:
    def alter(folder: Path) -> None:
        connection = sqlite3.connect(folder / "voicelog.db")
        for statement in statements:
            connection.execute(statement)
        connection.commit()
        connection.close()

    return alter


def _bent(*statements: str) -> Callable[[Path], None]:
    return lambda folder: tamper(folder, *statements)


def _pipe(folder: Path) -> None:
    clip = next((folder / "clips").rglob("*.flac"))
    clip.unlink()
    os.mkfifo(clip)


def _linked(folder: Path) -> None:
    clip = next((folder / "clips").rglob("*.flac"))
    clip.unlink()
    clip.symlink_to("/dev/zero")


DAMAGE = [
    ("a tenth of the file", _bytes(lambda data: data[: len(data) // 10]), 2, "file is damaged"),
    ("half of the file", _bytes(lambda data: data[: len(data) // 2]), 2, "file is damaged"),
    ("an empty file", _bytes(lambda data: b""), 2, "file is empty"),
    ("another kind of file", _bytes(lambda data: b"x" * 16 + data[16:]), 2, "not a voicelog record"),
    ("something after its end", _bytes(lambda data: data + b"x" * 4096), 1, "after the end"),
    (
        "a newer record",
        _sql(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at)"
            " VALUES ('voicelog records', 'later', '2027')"
        ),
        2,
        "written by a newer voicelog",
    ),
    ("a table put in", _sql("CREATE TABLE extra (x)"), 1, "table extra was put in"),
    ("a view put in", _sql("CREATE VIEW extra AS SELECT 1"), 1, "view extra was put in"),
    (
        "a trigger put in",
        _sql("CREATE TRIGGER extra AFTER INSERT ON events BEGIN SELECT 1; END"),
        1,
        "trigger extra was put in",
    ),
    ("an index removed", _sql("DROP INDEX events_kind"), 1, "index events_kind was removed"),
    (
        "a view in place of the events",
        _sql("ALTER TABLE events RENAME TO kept", "CREATE VIEW events AS SELECT * FROM kept"),
        1,
        "view events was put in",
    ),
    (
        "the order of the notes",
        _sql("UPDATE _sqlite_migrations SET id = id + 1 WHERE id = (SELECT max(id) FROM _sqlite_migrations)"),
        1,
        "notes of how the tables were made",
    ),
    (
        "text that is no UTF-8",
        _bent("UPDATE events SET body = CAST(X'ff00fe' AS TEXT) WHERE number = 3"),
        1,
        "Event 3 was altered",
    ),
    (
        "a zero byte in a text",
        _bent("UPDATE events SET body = body || char(0) || 'x' WHERE number = 3"),
        1,
        "Event 3",
    ),
    ("a pipe in place of a clip", _pipe, 1, "sound clip is missing"),
    ("a device in place of a clip", _linked, 1, "sound clip is missing"),
    (
        "the tail",
        _bent(
            f"DELETE FROM events WHERE walk = '{WALK}' AND number = (SELECT max(number) FROM events"
            f" WHERE walk = '{WALK}')",
        ),
        1,
        "Line",
    ),
]


@pytest.mark.parametrize(
    ("alter", "code", "told"), [case[1:] for case in DAMAGE], ids=[case[0] for case in DAMAGE]
)
def test_what_became_of_a_folder_is_told(
    folder: Path, alter: Callable[[Path], None], code: int, told: str
) -> None:
    """In words, without a traceback, and never as whole."""
    alter(folder)
    found = verify(folder)
    assert found[0] == code and told in found[1], found[1]
    assert ", whole" not in found[1]


def test_looking_changes_nothing(folder: Path) -> None:
    """Neither the file nor a log that was left beside it, whose events count; no file is made."""
    connection = sqlite3.connect(folder / "voicelog.db")
    connection.execute("PRAGMA wal_autocheckpoint = 0")
    connection.execute("UPDATE walk_list SET operator = 'X' WHERE walk = 'other'")
    connection.commit()
    left = folder.parent / "left"
    shutil.copytree(folder, left)
    connection.close()
    (left / "voicelog.db-shm").unlink()
    before = {path: path.read_bytes() for path in left.rglob("voicelog.db*")}
    assert "list of walks is not what its events say" in verify(left)[1]
    after = {path: path.read_bytes() for path in left.rglob("voicelog.db*") if path.suffix != ".db-shm"}
    assert after == before


@pytest.mark.parametrize("log", [False, True])
def test_a_disk_that_cannot_be_written_is_read(log: bool) -> None:
    """Also with a log left beside the record, whose events count."""
    with without_privileges(lambda base: make(base / "data").close()) as base:
        folder = base / "data"
        if log:
            connection = sqlite3.connect(folder / "voicelog.db")
            connection.execute("PRAGMA wal_autocheckpoint = 0")
            connection.execute("UPDATE walk_list SET operator = 'X' WHERE walk = 'other'")
            connection.commit()
            shutil.copytree(folder, base / "left")
            connection.close()
            folder = base / "left"
            (folder / "voicelog.db-shm").unlink()
        for path in (*folder.rglob("*"), folder):
            path.chmod(0o555 if path.is_dir() else 0o444)
        code, told = verify(folder)
        assert (code, "not whole" in told) == ((1, True) if log else (0, False)), told
        for path in (folder, *(p for p in folder.rglob("*") if p.is_dir())):
            path.chmod(0o755)


def test_what_was_printed_must_be_there(folder: Path, tmp_path: Path) -> None:
    """A record put back to what it truly was proves whole, but not with the hash of a later report."""
    with Store.open(folder, clock=_never) as store:
        file = tmp_path / "walk.zip"
        file.write_bytes(pack(exported_record(store)))
        heads = [store.head(WALK), store.head(WALK, 3)]
    for head in heads:
        spaced = " ".join(head[n : n + 4] for n in range(0, 16, 4)).upper()
        for digits in (head, head[:16], spaced):
            assert verify(folder, "--holds", digits)[0] == 0
            assert verify(file, "--holds", digits)[0] == 0
            assert verify(Path(WALK), "--holds", digits, data=folder)[0] == 0
    other = "0" * 64
    for what, data in ((folder, None), (file, None), (Path(WALK), folder)):
        code, told = verify(what, "--holds", heads[0], "--holds", other, data=data)
        assert code == 1 and f"hash {other} is not here" in told
    for poor in ("", "1234", "g" * 16, "%" * 16, "0" * 65):
        assert verify(folder, "--holds", poor)[0] == 2
    assert f"hash {heads[0][:16]}" not in verify(folder)[1]
    assert "newest event: of other" in verify(folder)[1]


def test_the_station_counts_for_a_folder_and_a_walk_too(folder: Path) -> None:
    """A record made anew with other keys is told by its station alone."""
    with Store.open(folder, clock=_never) as store:
        station = store.people.now().root
    assert verify(folder, "--station", station[:16])[0] == 0
    for what, data in ((folder, None), (Path(WALK), folder)):
        code, told = verify(what, "--station", "0" * 16, data=data)
        assert code == 1 and "not those of the station" in told


def _never() -> datetime:
    raise AssertionError("nothing is written here")
