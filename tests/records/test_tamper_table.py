"""The tamper table: every alteration of a whole record and of an exported one is found."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.people.making import MECHANIC
from tests.records.tampering import (
    NOT_EVIDENCE,
    Outcome,
    columns_of,
    exported,
    in_an_export,
    in_the_files,
    in_the_tables,
    make,
)
from voicelog.cli import main
from voicelog.records.export import pack, unpack
from voicelog.records.export_proof import prove
from voicelog.records.seals import SEALED
from voicelog.records.store import Store


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """Give the record that is altered; each alteration is undone."""
    with make(tmp_path_factory.mktemp("tamper") / "data") as made:
        yield made


def test_what_is_altered_below_is_whole(store: Store) -> None:
    """The record and its export are whole and signed with keys, and it holds sealed events."""
    assert store.verify_all() == ()
    found = prove(pack(exported(store)), "file")
    assert found.problems == () and len(found.signatures) == 2
    assert found.station == store.people.now().root
    assert [made.by for _, made in found.certificates] == [MECHANIC, MECHANIC]
    kinds = {stored.event.kind for stored in store.events(found.walk)}
    assert kinds >= SEALED - {"recheck asked", "group mark confirmed", "group mark reopened"}


@pytest.mark.parametrize(
    ("alterations", "least"),
    [(partial(in_the_tables, each=False), 500), (in_the_files, 20), (partial(in_an_export, each=False), 500)],
    ids=["tables", "files", "export"],
)
def test_every_alteration_is_found(
    store: Store, alterations: Callable[[Store], Iterator[Outcome]], least: int
) -> None:
    """Of every field of every kind of event, every column, row, clip and byte tried, none goes unseen.

    One row of each kind; ``tests.benchmarks.tamper_table`` tries every row.
    Those of which nothing can be told are named with the reason why nothing rests on them.
    """
    outcomes = list(alterations(store))
    missed = {o.what for o in outcomes if not o.found and columns_of(o.what) not in NOT_EVIDENCE}
    assert missed == set()
    assert len(outcomes) > least
    assert store.verify_all() == ()


def test_an_export_holds_no_private_key(store: Store) -> None:
    """Public keys are in it, and neither the locked keys nor other walks."""
    data = pack(exported(store))
    for row in store._db.query("SELECT box FROM keys"):
        assert row["box"].encode() not in data
    assert b"sealed" not in data.replace(b"seals", b"") and b'"walk":"other"' not in data


def test_the_same_record_gives_the_same_file(store: Store) -> None:
    """Exported twice, byte for byte, and read back as it was."""
    record = exported(store)
    assert pack(record) == pack(exported(store))
    assert unpack(pack(record), "file") == record


def test_what_nobody_signed_with_a_key_is_told(tmp_path: Path) -> None:
    """An export of a station with nobody on record is not proved, and says why."""
    from tests.people.making import station
    from tests.walk.reviewing import WALK, clips, sheet, walk

    with station(tmp_path / "data") as plain:
        plain.append(WALK, walk(), clips())
        record = plain.exported(WALK, sheet())
    (problem,) = prove(pack(record), "file").problems
    assert "Nobody has signed this record with a key" in problem
    file = tmp_path / "walk.record"
    file.write_bytes(pack(record))
    told = CliRunner().invoke(main, ["verify", str(file)])
    assert told.exit_code == 1 and "not proved" in told.stdout and "whole" not in told.stdout
