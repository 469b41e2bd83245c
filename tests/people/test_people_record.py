"""People on record: who may add, change and lock whom, and that a wrong PIN is never free."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from tests.people.making import CHEAP, MECHANIC, OFFICER, OPERATOR, PINS, peopled, station
from tests.records.making import START, Ticking
from voicelog.errors import PersonError
from voicelog.people.keys import Signer
from voicelog.people.lockout import LONGEST_WAIT, wait_after
from voicelog.records.people_record import person_rows
from voicelog.records.store import Store

Signers = dict[str, Signer]


@pytest.fixture
def clock() -> Ticking:
    """Give the clock of the store."""
    return Ticking()


@pytest.fixture
def store(tmp_path: Path, clock: Ticking) -> Iterator[Store]:
    """Give a store with nobody on record."""
    with station(tmp_path / "data", clock) as opened:
        yield opened


@pytest.fixture
def signers(store: Store) -> Signers:
    """Put the station's people on record and give their open keys."""
    return peopled(store)


def test_the_first_officer_adds_themselves_and_then_the_others(store: Store, signers: Signers) -> None:
    """Each is on record with roles and a key of their own, also when the store is opened again."""
    with station(store.folder) as again:
        people = again.people.now()
    assert [(p.name, set(p.roles)) for p in people.in_service()] == [
        (OFFICER, {"officer"}),
        (OPERATOR, {"operator"}),
        (MECHANIC, {"mechanic"}),
    ]
    assert len({p.key.key_id for p in people.in_service()}) == 3
    assert store.verify_all() == ()
    assert [row.key_id for row in person_rows(store._db)] == [signers[OFFICER].key_id] * 3


def test_the_right_pin_gives_the_key(store: Store, signers: Signers) -> None:
    """Case and spaces of the name do not matter; the PIN does."""
    signer = store.people.unlock(" m.  RUIZ ", PINS[OFFICER])
    assert (signer.name, signer.key_id) == (OFFICER, signers[OFFICER].key_id)
    with pytest.raises(PersonError, match="not the PIN"):
        store.people.unlock(OFFICER, PINS[OPERATOR])


Act = Callable[[Store, Signers], object]

REFUSED: list[tuple[str, Act, str]] = [
    ("adding without an officer", lambda s, k: s.people.add("A", ("operator",), "482914"), "officer adds"),
    (
        "an operator adds",
        lambda s, k: s.people.add("A", ("operator",), "482914", by=k[OPERATOR]),
        "may not add a person",
    ),
    (
        "the same name again",
        lambda s, k: s.people.add("r. ALDER", ("operator",), "482914", by=k[OFFICER]),
        "on record already",
    ),
    ("no role", lambda s, k: s.people.add("A", (), "482914", by=k[OFFICER]), "needs a role"),
    (
        "a name of control characters",
        lambda s, k: s.people.add("A\x1b[2J", ("operator",), "482914", by=k[OFFICER]),
        "person's name",
    ),
    (
        "a role by a mechanic",
        lambda s, k: s.people.give_roles(MECHANIC, ("officer",), by=k[MECHANIC]),
        "may not give a role",
    ),
    (
        "the last officer's role",
        lambda s, k: s.people.give_roles(OFFICER, ("operator",), by=k[OFFICER]),
        "only officer",
    ),
    ("the last officer retired", lambda s, k: s.people.retire(OFFICER, by=k[OFFICER]), "only officer"),
    (
        "retired by an operator",
        lambda s, k: s.people.retire(MECHANIC, by=k[OPERATOR]),
        "may not retire a person",
    ),
    (
        "another's key by an operator",
        lambda s, k: s.people.replace_key(OFFICER, "482914", by=k[OPERATOR]),
        "may not replace the key",
    ),
    (
        "a lock lifted by an operator",
        lambda s, k: s.people.lift_lock(OPERATOR, by=k[OPERATOR]),
        "may not lift a lock",
    ),
    ("somebody unknown", lambda s, k: s.people.retire("J. Doe", by=k[OFFICER]), "not on record"),
    ("a PIN of somebody unknown", lambda s, k: s.people.unlock("J. Doe", "482914"), "not on record"),
    (
        "a key under another name",
        lambda s, k: s.people.retire(MECHANIC, by=Signer(OFFICER, k[OPERATOR].key_id, k[OPERATOR]._private)),
        "not the key",
    ),
]


@pytest.mark.parametrize(("act", "told"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED])
def test_who_may_not(store: Store, signers: Signers, act: Act, told: str) -> None:
    """What a person may not do to the record of people is refused, and nothing is added."""
    before = person_rows(store._db)
    with pytest.raises(PersonError, match=told):
        act(store, signers)
    assert person_rows(store._db) == before
    assert list(store._db.query("SELECT count(*) AS n FROM keys")) == [{"n": 3}]


def test_the_first_must_be_an_officer(store: Store) -> None:
    """Nobody else could add others or lift a lock."""
    with pytest.raises(PersonError, match="must be an officer"):
        store.people.add(OPERATOR, ("operator",), PINS[OPERATOR])
    assert not store.people.now()


def test_an_old_key_and_an_old_pin_are_worth_nothing(store: Store, signers: Signers) -> None:
    """After a key is replaced, by its owner or an officer, only the new PIN and key count."""
    store.people.replace_key(OPERATOR, "550077", by=signers[OPERATOR])
    store.people.replace_key(MECHANIC, "660088", by=signers[OFFICER], reason="forgotten")
    with pytest.raises(PersonError, match="not the PIN"):
        store.people.unlock(OPERATOR, PINS[OPERATOR])
    with pytest.raises(PersonError, match="not the key"):
        store.people.replace_key(OPERATOR, "550078", by=signers[OPERATOR])
    assert store.people.unlock(OPERATOR, "550077").key_id != signers[OPERATOR].key_id
    assert store.people.unlock(MECHANIC, "660088").name == MECHANIC
    assert store.verify_all() == ()


def test_who_is_retired_does_nothing_more(store: Store, signers: Signers) -> None:
    """Their name stays theirs, and their PIN opens nothing."""
    store.people.retire(OPERATOR, by=signers[OFFICER], reason="moved away")
    with pytest.raises(PersonError, match="retired since 2026-11-25"):
        store.people.unlock(OPERATOR, PINS[OPERATOR])
    with pytest.raises(PersonError, match="on record already, and retired"):
        store.people.add(OPERATOR, ("operator",), "482914", by=signers[OFFICER])


def test_a_role_that_is_taken_away_is_gone_at_once(store: Store, signers: Signers) -> None:
    """An officer who becomes an operator adds nobody, though their key is still open."""
    store.people.give_roles(OPERATOR, ("operator", "officer"), by=signers[OFFICER])
    store.people.give_roles(OPERATOR, ("operator",), by=signers[OFFICER])
    with pytest.raises(PersonError, match="may not add"):
        store.people.add("J. Doe", ("operator",), "482914", by=signers[OPERATOR])


# lock-out -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("refused", "seconds"),
    [(0, 0), (1, 0), (2, 0), (3, 30), (4, 60), (5, 120), (6, 240), (9, 1920), (10, 3600), (10_000, 3600)],
)
def test_the_wait_grows(refused: int, seconds: int) -> None:
    """Two wrong PINs cost nothing, the third half a minute, then twice as long each, an hour at most."""
    assert wait_after(refused) == timedelta(seconds=seconds) <= LONGEST_WAIT


def _wrong(store: Store, name: str = OPERATOR) -> str:
    with pytest.raises(PersonError) as caught:
        store.people.unlock(name, "000001")
    return caught.value.what


def test_wrong_pins_lock_also_after_a_new_start(store: Store, clock: Ticking, signers: Signers) -> None:
    """While locked even the right PIN is refused; the wait is over when the clock says so."""
    assert all("not the PIN" in _wrong(store) for _ in range(3))
    locked_at = clock.now
    with station(store.folder, clock) as again, pytest.raises(PersonError, match="wrong 3 times"):
        again.people.unlock(OPERATOR, PINS[OPERATOR])
    clock.now = locked_at + timedelta(seconds=31)
    assert store.people.unlock(OPERATOR, PINS[OPERATOR]).name == OPERATOR
    # The count began anew with the right PIN.
    assert all("not the PIN" in _wrong(store) for _ in range(3))
    assert "wrong 3 times" in _wrong(store)
    assert store.verify_all() == ()


def test_the_next_wrong_pin_waits_longer(store: Store, clock: Ticking, signers: Signers) -> None:
    """A try while locked does not count, and one after the wait doubles it."""
    for wait in (30, 60, 120):
        while "not the PIN" in _wrong(store) and store.people.now().person(OPERATOR).refused < 3:
            pass
        before = len(person_rows(store._db))
        assert "may be tried again" in _wrong(store)
        assert len(person_rows(store._db)) == before
        clock.now += timedelta(seconds=wait)
        assert "not the PIN" in _wrong(store)


def test_a_clock_that_was_set_back_frees_nobody(store: Store, clock: Ticking, signers: Signers) -> None:
    """The lock then lasts longer, until an officer lifts it."""
    for _ in range(3):
        _wrong(store)
    clock.now = START - timedelta(days=400)
    assert "may be tried again" in _wrong(store)
    store.people.lift_lock(OPERATOR, by=signers[OFFICER])
    assert store.people.unlock(OPERATOR, PINS[OPERATOR]).name == OPERATOR


def test_one_person_s_wrong_pins_lock_nobody_else(store: Store, signers: Signers) -> None:
    """An officer can always come in to lift a lock."""
    for _ in range(3):
        _wrong(store)
    assert store.people.unlock(OFFICER, PINS[OFFICER]).name == OFFICER


# what stands in the file --------------------------------------------------------------------


def test_no_pin_and_no_private_key_is_in_the_file(store: Store, signers: Signers) -> None:
    """Neither stands in the data folder as it is."""
    store.close()
    for path in store.folder.glob("voicelog.db*"):
        data = path.read_bytes()
        for name, pin in PINS.items():
            private = signers[name]._private.private_bytes_raw()
            assert private not in data and private.hex().encode() not in data
            assert f'"{pin}"'.encode() not in data


@pytest.mark.parametrize("table", ["people", "keys", "seals"])
def test_rows_are_never_changed(store: Store, signers: Signers, table: str) -> None:
    """The database refuses to change or remove what is there, through any connection."""
    from tests.records.making import started

    store.append("walk-1", [started()], signer=signers[OPERATOR])
    connection = sqlite3.connect(store.folder / "voicelog.db")
    for statement in (
        f"UPDATE {table} SET key_id = key_id",
        f"DELETE FROM {table}",
        f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="only grows"):
            connection.execute(statement)
    connection.close()


def test_a_person_put_in_behind_the_store_s_back_is_not_believed(store: Store, signers: Signers) -> None:
    """Without an officer's seal nobody comes on record, and no name is relied on any more."""
    connection = sqlite3.connect(store.folder / "voicelog.db")
    connection.execute(
        "INSERT INTO people SELECT number + 1, after, at, kind, replace(body, 'T. Novak', 'J. Doe'), hash, "
        f"'{'1' * 64}', key_id, signature FROM people WHERE number = 3"
    )
    connection.commit()
    connection.close()
    with pytest.raises(PersonError, match="record of people was altered"):
        store.people.unlock(OFFICER, PINS[OFFICER])
    assert CHEAP.n < 2**17
