"""The record of defects: whole, append-only, and its list never says what the chain does not."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlite_utils import Database

from tests.walk.reviewing import WALK, clips, logged, said, state_of, walk
from voicelog.defects import acts
from voicelog.errors import DefectError, RecordError
from voicelog.records import schema
from voicelog.records.store import Store
from voicelog.sheet.model import Extent
from voicelog.walk.state import fold

from .making import Ticking, before_removals, finished, started, tamper


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Give a store with one walk whose defects were entered, one of them repaired and certified."""
    with Store.open(tmp_path / "data", clock=Ticking()) as opened:
        opened.append(WALK, walk(), clips())
        opened.defects.take_up(WALK, fold(state_of(()).sheet, ((s.at, s.event) for s in opened.events(WALK))))
        defect_id = opened.defects.queue()[0].defect_id
        opened.defects.do(defect_id, lambda d: acts.send(d, by="M. Ruiz", role="officer"))
        opened.defects.do(
            defect_id, lambda d: acts.repair(d, by="K. Osei", role="mechanic", findings="new bracket")
        )
        opened.defects.do(defect_id, lambda d: acts.certify(d, by="K. Osei", role="mechanic"))
        yield opened


def test_the_queue_is_worst_first(store: Store) -> None:
    """Open defects of all units by class, then by age; read back the same by another program."""
    with Store.open(store.folder, clock=Ticking()) as second:
        queue = second.defects.queue()
        assert queue == store.defects.queue()
        assert second.verify_all() == ()
    assert [(d.point, d.what, d.rank, d.state) for d in queue] == [
        ("alternator", "hanging", 3, "certified"),
        ("fan belt", "deflection 1 in", 3, "heard"),
        ("water pump", "weeping", 1, "heard"),
    ]


def test_a_refused_act_adds_nothing(store: Store) -> None:
    """An act that the life does not allow leaves the record as it was, and writing goes on after it."""
    defect_id = store.defects.queue()[1].defect_id
    before = store.defects.book("engine_61")
    with pytest.raises(DefectError, match="cannot be certified"):
        store.defects.do(defect_id, lambda d: acts.certify(d, by="K. Osei", role="mechanic"))
    assert store.defects.book("engine_61") == before
    store.append(WALK, [logged("late", said("coolant", "good"))])
    assert store.verify_all() == ()


def test_a_walk_is_taken_up_once(store: Store) -> None:
    """A walk waits to be taken up while it has gone on since; then it does not."""
    assert store.defects.not_taken_up() == ()
    store.append(WALK, [logged("late", said("coolant", "good"))])
    assert store.defects.not_taken_up() == (WALK,)


def test_there_is_no_such_defect(store: Store) -> None:
    """A name that no defect has is told, with where to look."""
    with pytest.raises(DefectError, match="no defect engine_61-d99"):
        store.defects.do("engine_61-d99", lambda d: acts.send(d, by="M. Ruiz", role="officer"))


@pytest.mark.parametrize("statement", ["UPDATE defect_events SET kind = 'x'", "DELETE FROM defect_events"])
def test_no_row_is_changed(store: Store, statement: str) -> None:
    """The database itself refuses to change or remove a line of a defect's history."""
    connection = sqlite3.connect(store.folder / "voicelog.db")
    with pytest.raises(sqlite3.IntegrityError, match="only grows"):
        connection.execute(statement)
    connection.close()


@pytest.mark.parametrize("number", [1, 2, 4, 6])
@pytest.mark.parametrize(
    "change",
    [
        "seq = seq + 100",
        "unit = 'engine_62'",
        "number = 77",
        "at = '2026-11-25T07:10:59-05:00'",
        "kind = 'defect closed'",
        "body = replace(body, 'engine_61', 'engine_62') || ' '",
        "previous = hash",
        "hash = replace(hash, substr(hash, 1, 1), 'g')",
    ],
)
def test_every_alteration_is_found(store: Store, number: int, change: str) -> None:
    """Each field of each line is proved by the chain, or by the lines around it."""
    tamper(store.folder, f"UPDATE defect_events SET {change} WHERE number = {number}")
    assert store.verify_all()


def test_a_removed_history_is_found(store: Store) -> None:
    """A unit's whole chain removed, with its entries in the list, leaves a gap in the lines."""
    tamper(store.folder, "DELETE FROM defect_events", "DELETE FROM defect_list")
    assert store.verify_all()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE defect_list SET open = 0 WHERE rank = 1",
        "UPDATE defect_list SET summary = replace(summary, 'heard', 'closed') WHERE rank = 1",
        "DELETE FROM defect_list WHERE rank = 1",
        "INSERT INTO defect_list SELECT 'x', unit_id, open, rank, heard_at, summary FROM defect_list LIMIT 1",
        "UPDATE walk_list SET events = 1",
        "UPDATE walk_list SET extent = 'weekly'",
        "DELETE FROM walk_list",
    ],
)
def test_a_list_that_says_something_else_is_found(store: Store, statement: str) -> None:
    """A defect hidden from the queue, though its history is whole, is found."""
    tamper(store.folder, statement)
    assert store.verify_all()


def test_a_record_of_the_version_before_is_brought_up_to_date(tmp_path: Path) -> None:
    """A record without the chains and lists opens, lists its walks, and its defects can be entered."""
    folder = tmp_path / "data"
    with Store.open(folder, clock=Ticking()) as store:
        store.append(WALK, walk(), clips())
        walks = store.walks()
    connection = sqlite3.connect(folder / "voicelog.db")
    before_removals(connection)
    lists = ("defect_list", "walk_list", "point_list", "reading_list")
    for table in (*lists, "defect_events", "people", "keys", "seals"):
        connection.execute(f"DROP TABLE {table}")
    for index in ("events_after", "events_of_readings"):
        connection.execute(f"DROP INDEX {index}")
    with Database(memory=True) as empty:
        steps = [step.name for step in schema.STEPS.pending(empty)]
    later = steps[steps.index("defects_and_lists") :]
    marks = ", ".join("?" * len(later))
    connection.execute(f"DELETE FROM _sqlite_migrations WHERE name IN ({marks})", later)
    connection.commit()
    connection.close()
    with Store.open(folder, clock=Ticking()) as store:
        assert store.walks() == walks
        assert store.defects.not_taken_up() == (WALK,)
        events = store.events(WALK)
        store.defects.take_up(WALK, fold(state_of(()).sheet, ((s.at, s.event) for s in events)))
        assert len(store.defects.queue()) == 3
        assert store.verify_all() == ()


def test_a_record_of_before_tells_the_extent_of_its_walks(tmp_path: Path) -> None:
    """The list of walks had none; it is brought up to date from the walks themselves."""
    folder = tmp_path / "data"
    extents: tuple[Extent, ...] = ("weekly", "daily", "monthly")
    with Store.open(folder, clock=Ticking()) as store:
        for number, extent in enumerate(extents):
            begun = started().model_copy(update={"extent": extent})
            store.append(f"w{number}", [begun, finished()])
        last = store.across.last_walks()
    assert sorted(walk.extent for walk in last) == sorted(extents)
    connection = sqlite3.connect(folder / "voicelog.db")
    before_removals(connection)
    connection.execute("ALTER TABLE walk_list DROP COLUMN extent")
    connection.execute("DELETE FROM _sqlite_migrations WHERE name = 'extents_listed'")
    connection.commit()
    connection.close()
    with Store.open(folder, clock=Ticking()) as store:
        assert store.across.last_walks() == last
        assert store.verify_all() == ()


def test_a_backup_has_the_defects(store: Store, tmp_path: Path) -> None:
    """A backup has the chains too, and a folder with other defects is not overwritten."""
    target = tmp_path / "backup"
    store.backup(target)
    with Store.open(target, clock=Ticking()) as copy:
        assert copy.defects.queue() == store.defects.queue()
        assert copy.verify_all() == ()
        defect_id = copy.defects.queue()[1].defect_id
        copy.defects.do(defect_id, lambda d: acts.send(d, by="M. Ruiz", role="officer"))
    with pytest.raises(RecordError, match="another record"):
        store.backup(target)
