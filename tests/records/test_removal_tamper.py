"""A loss is never taken for a removal: what no officer's key sealed by the rules is found.

Every field of a removal's event and of its list is altered in ``test_tamper_table.py``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import pytest

from tests.people.making import CHEAP, OFFICER, OPERATOR
from tests.records.making import START, Ticking, before_removals, tamper
from tests.walk.reviewing import logged, said
from voicelog.defects.removal_events import WalksRemoved
from voicelog.errors import RecordError
from voicelog.people.keys import Signer, make_key, open_box
from voicelog.people.state import People
from voicelog.records import removal
from voicelog.records.store import Store

from .old_walks import LATER, POLICY, old_station, removed, walked

Old = tuple[Store, dict[str, Signer], Ticking]
MISSING = "they name the walk old_1, which is not there"


@pytest.fixture
def old(tmp_path: Path) -> Iterator[Old]:
    """Give a station with three signed walks of three years ago."""
    made = old_station(tmp_path / "data")
    yield made
    made[0].close()


def event_of(store: Store, name: str, by: str = OFFICER) -> WalksRemoved:
    """Return the removal of one walk, as it would be asked for."""
    return WalksRemoved(
        unit_id="engine_61",
        unit_name="Engine 61",
        by=by,
        reason="time past",
        policy=POLICY.title,
        policy_edition=POLICY.edition,
        policy_sha256=POLICY.sha256,
        months=24,
        repairs_months=36,
        walks=(store.removal.described(name, WalksRemoved),),
    )


def forge(store: Store, event: WalksRemoved, signer: Signer) -> None:
    """Remove as the record would, whoever ``signer`` is and whatever the rules say."""

    def unasked(given: WalksRemoved, people: People, _: Signer | None) -> WalksRemoved:
        return given.model_copy(update={"key_id": signer.key_id, "people_head": people.head})

    with (
        patch.object(removal, "sealed_removal", unasked),
        patch.object(removal, "wrongly_removed", lambda *_: ()),
    ):
        store.removal.remove(event, signer=signer)
        store.removal.finish()


def stranger() -> Signer:
    """Return a key that is not on record."""
    made = make_key("930184", CHEAP)
    return Signer(OFFICER, made.key_id, open_box(made.box, made.public_key, "930184"))


def test_a_walk_taken_out_behind_the_records_back_is_missing(old: Old) -> None:
    """All rows of a walk deleted, its lists too: it is named, and so is each of its lines."""
    store, _, _ = old
    lines = [line.seq for line in store.events("old_1")]
    tables = ("events", "clips", "seals", "walk_list", "reading_list")
    tamper(store.folder, *(f"DELETE FROM {table} WHERE walk = 'old_1'" for table in tables))
    found = " ".join(store.verify_all())
    assert MISSING in found
    assert all(f"Line {line} of the record is missing." in found for line in lines)
    # Put on the list of what was removed, without an event that tells of it: no better.
    tamper(store.folder, "INSERT INTO removed_list VALUES ('old_1', 'walk', 'engine_61', 3)")
    found = " ".join(store.verify_all())
    assert MISSING in found and "the list of what was removed is not what the units' events say" in found


@pytest.mark.parametrize("who", ["nobody", "a stranger", OPERATOR])
def test_a_removal_without_an_officers_key_removes_nothing(old: Old, who: str) -> None:
    """Forged with everything else right, the event is told, and the walk and its lines are missing."""
    store, signers, _ = old
    signer = signers[OPERATOR] if who == OPERATOR else stranger()
    lines = [line.seq for line in store.events("old_1")]
    forge(store, event_of(store, "old_1", OPERATOR if who == OPERATOR else OFFICER), signer)
    if who == "nobody":
        last = "(SELECT max(number) FROM defect_events)"
        tamper(store.folder, f"DELETE FROM seals WHERE walk = 'unit engine_61' AND number = {last}")
    found = store.verify_all()
    assert any("seal" in told or "maker could make" in told for told in found), found
    assert any(MISSING in told for told in found)
    assert all(f"Line {line} of the record is missing." in found for line in lines)
    assert store.removal.walk("old_1") is None


def test_an_officer_cannot_remove_against_the_rules_unseen(tmp_path: Path) -> None:
    """With the key, but before its time, or with an open defect: verify says that it could not be."""
    store, signers, clock = old_station(tmp_path / "data", ())
    clock.now = START
    with store:
        walked(store, "open", signers, logged("e3", said("lift_cylinder_left", "dripping")))
        walked(store, "early", signers)
        clock.now = LATER
        forge(store, event_of(store, "open"), signers[OFFICER])
        found = " ".join(store.verify_all())
        assert "could not remove it: open: it speaks of the defect engine_61-d1, which is open" in found
        clock.now = START.replace(year=START.year + 1)
        forge(store, event_of(store, "early"), signers[OFFICER])
        assert "could not remove it: early was to be kept until 2028-11-25" in " ".join(store.verify_all())


def test_a_walk_that_was_removed_cannot_be_put_back_unseen(old: Old) -> None:
    """Its rows restored from elsewhere are told: what was removed by rule is not there again by itself."""
    store, signers, _ = old
    rows = list(store._db.conn.execute("SELECT * FROM events WHERE walk = 'old_1'"))
    removed(store, signers[OFFICER], None)
    for row in rows:
        store._db.conn.execute(f"INSERT INTO events VALUES ({', '.join('?' * len(row))})", row)
    store._db.conn.commit()
    assert "Walk old_1 was removed under retention, and is there." in store.verify_all()
    assert "Walk old_1 was removed under retention, and is there." in store.verify("old_1")


def test_the_guards_let_go_only_what_is_on_the_list(old: Old) -> None:
    """Before its removal is told, no row of a walk can be deleted; afterwards none of any other."""
    store, signers, _ = old
    tables = ("events", "clips", "seals")

    def refused(walk: str) -> None:
        for table in tables:
            with pytest.raises(sqlite3.IntegrityError, match="the record only grows"):
                store._db.conn.execute(f"DELETE FROM {table} WHERE walk = ?", (walk,))
            store._db.conn.rollback()

    refused("old_1")
    removed(store, signers[OFFICER], None)
    refused("old_3")


def test_an_end_cut_off_is_not_hidden_by_a_removal_elsewhere(old: Old) -> None:
    """After a removal the gaps are explained line by line: one more that is gone is still found."""
    store, signers, _ = old
    removed(store, signers[OFFICER], None)
    assert store.verify_all() == ()
    last = max(line.seq for line in store.events("old_3"))
    tamper(
        store.folder,
        f"DELETE FROM events WHERE seq = {last}",
        "UPDATE walk_list SET events = events - 1, signed = '' WHERE walk = 'old_3'",
    )
    assert f"Line {last} of the record is missing." in store.verify_all()
    assert any("cut off" in told for told in store.verify("old_3"))


def test_a_record_of_the_version_before_can_remove(tmp_path: Path) -> None:
    """Its guards and tables are brought up to date, and it is whole before and after."""
    store, _, clock = old_station(tmp_path / "data")
    store.close()
    connection = sqlite3.connect(tmp_path / "data" / "voicelog.db")
    before_removals(connection)
    connection.commit()
    connection.close()
    with Store.open(tmp_path / "data", clock=clock, pin_cost=CHEAP) as opened:
        assert opened.verify_all() == ()
        (done,), failed = removed(opened, opened.people.unlock(OFFICER, "482913"), None)
        assert len(done.walks) == 2 and failed == () and opened.verify_all() == ()


def test_nobody_on_record_removes_nothing(tmp_path: Path) -> None:
    """Where names are taken as given, a removal could not be proved: it is refused."""
    from tests.people.making import station

    with station(tmp_path / "data") as store, pytest.raises(RecordError, match="only an officer's key"):
        store.removal.check_may(None)
