"""What people do about defects is sealed with their key, and a walk's proof covers its defects."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from tests.people.making import MECHANIC, OFFICER, OPERATOR, peopled, station
from tests.walk.reviewing import WALK, clips, sheet, walk
from voicelog.defects import acts
from voicelog.defects.book import Defect
from voicelog.defects.events import DEFECT_EVENT, DefectsEntered, OfADefect, RepairCertified, Role
from voicelog.defects.wording import certificate
from voicelog.errors import PersonError
from voicelog.people.keys import Signer
from voicelog.records.chain import canonical, link
from voicelog.records.clips import sha256_hex
from voicelog.records.defect_rows import chain_name, rows_of
from voicelog.records.seals import seals_of
from voicelog.records.store import Store
from voicelog.walk import review
from voicelog.walk.state import fold

from .making import tamper

UNIT = "engine_61"
DEFECT = "engine_61-d1"
Act = Callable[[Defect], OfADefect]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Give a store with people on record, and a walk whose defects were entered."""
    with station(tmp_path / "data") as opened:
        signers = peopled(opened)
        opened.append(WALK, walk(), clips(), signer=signers[OPERATOR])
        opened.defects.take_up(WALK, _state(opened))
        yield opened


@pytest.fixture
def signers(store: Store) -> dict[str, Signer]:
    """Give the open keys of everybody."""
    from tests.people.making import PINS

    return {name: store.people.unlock(name, pin) for name, pin in PINS.items()}


def _state(store: Store) -> Any:
    return fold(sheet(), ((s.at, s.event) for s in store.events(WALK)))


def repaired(by: str = MECHANIC) -> Act:
    return lambda d: acts.repair(d, by=by, role="mechanic", findings="new bracket", minutes=40)


def certified(by: str = MECHANIC) -> Act:
    return lambda d: acts.certify(d, by=by, role="mechanic")


ACTS: list[tuple[str, Role, Callable[[str], Act]]] = [
    ("confirm", "officer", lambda by: lambda d: acts.confirm(d, by=by, role="officer")),
    (
        "defer",
        "officer",
        lambda by: (
            lambda d: acts.defer(
                d, until=date(2027, 1, 1), today=date(2026, 11, 25), by=by, role="officer", reason="on order"
            )
        ),
    ),
    ("send", "officer", lambda by: lambda d: acts.send(d, by=by, role="officer")),
    ("repair", "mechanic", repaired),
    ("certify", "mechanic", certified),
    ("reopen", "officer", lambda by: lambda d: acts.reopen(d, by=by, role="officer", reason="it hangs")),
    (
        "need no repair",
        "mechanic",
        lambda by: lambda d: acts.need_no_repair(d, by=by, role="mechanic", findings="it holds"),
    ),
]
HOLDERS: dict[Role, str] = {"officer": OFFICER, "mechanic": MECHANIC, "operator": OPERATOR}


def test_every_act_needs_its_role_and_is_sealed(store: Store, signers: dict[str, Signer]) -> None:
    """Through a whole life: refused to everybody else and without a PIN, then sealed by its maker."""
    for name, role, act in ACTS:
        before = store.defects.book(UNIT)
        for other in set(HOLDERS.values()) - {HOLDERS[role]} | {""}:
            with pytest.raises(PersonError, match=r"may not|no PIN was given"):
                store.defects.do(DEFECT, act(other or HOLDERS[role]), signer=signers.get(other))
        with pytest.raises(PersonError, match="in the name of"):
            store.defects.do(DEFECT, act("Somebody Else"), signer=signers[HOLDERS[role]])
        assert store.defects.book(UNIT) == before, name
        store.defects.do(DEFECT, act(HOLDERS[role].lower()), signer=signers[HOLDERS[role]])
    done = [e for _, e in store.defects.book(UNIT).defect(DEFECT).history if getattr(e, "key_id", "")]
    assert [(e.by, e.role) for e in done] == [(HOLDERS[role], role) for _, role, _ in ACTS]
    assert len(seals_of(store._db, chain_name(UNIT))) == len(ACTS)
    assert store.verify_all() == store.verify(WALK) == ()


def test_a_certificate_is_a_signature(store: Store, signers: dict[str, Signer]) -> None:
    """It has what 21 CFR 11.50(a) asks (from memory): printed name, date and time, meaning; and is over
    the unit's defects before it and the defect's sound."""
    store.defects.do(DEFECT, repaired(), signer=signers[MECHANIC])
    defect = store.defects.do(DEFECT, certified(), signer=signers[MECHANIC])
    at, made = defect.history[-1]
    assert isinstance(made, RepairCertified)
    rows = rows_of(store._db, UNIT)
    assert made.head == rows[-2].hash == rows[-1].previous
    clip = defect.first.clip
    assert clip is not None and made.clips_sha256 == sha256_hex(canonical([clip]))
    shown = certificate(at, made)
    assert shown.startswith(f"repair certified by {MECHANIC} (mechanic), 2026-11-25 07:")
    assert "UTC-05:00: repaired; signed with key" in shown
    assert store.verify(WALK) == ()


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("DELETE FROM seals WHERE walk = 'unit engine_61' AND number = :last", "has lost its seal"),
        ("UPDATE seals SET signature = :other WHERE walk = 'unit engine_61'", "does not hold"),
        ("UPDATE defect_events SET at = '2026-11-25T09:00:00-05:00' WHERE number = :last", "altered"),
        ("DELETE FROM defect_events WHERE number = :last", "is missing"),
        ("DELETE FROM defect_events WHERE number = 1", "is missing"),
    ],
)
def test_the_proof_of_a_walk_covers_its_defects(
    store: Store, signers: dict[str, Signer], statement: str, told: str
) -> None:
    """Altered behind the store's back, the repair of what a walk found is told of with that walk."""
    store.defects.do(DEFECT, repaired(), signer=signers[MECHANIC])
    store.defects.do(DEFECT, certified(), signer=signers[MECHANIC])
    last = len(rows_of(store._db, UNIT))
    tamper(store.folder, statement.replace(":last", str(last)).replace(":other", f"'{'0' * 128}'"))
    for problems in (store.verify(WALK), store.verify_all()):
        assert any(told in problem for problem in problems), problems


def _append_forged(store: Store, event: Any) -> None:
    """Append an event to the unit's chain with hashes that hold, as one who knows how would."""
    last = rows_of(store._db, UNIT)[-1]
    body = canonical(DEFECT_EVENT.dump_python(event, mode="json")).decode()
    number, at = last.number + 1, last.at
    digest = link(chain_name(UNIT), number, at, event.kind, body, last.hash)
    connection = sqlite3.connect(store.folder / "voicelog.db")
    connection.execute(
        "INSERT INTO defect_events (unit, number, at, kind, body, previous, hash) VALUES (?,?,?,?,?,?,?)",
        (UNIT, number, at, event.kind, body, last.hash, digest),
    )
    connection.commit()
    connection.close()


def test_a_certificate_without_a_key_is_found(store: Store, signers: dict[str, Signer]) -> None:
    """Put in where people are on record, hashes and all, it is told not to be sealed."""
    store.defects.do(DEFECT, repaired(), signer=signers[MECHANIC])
    _append_forged(store, acts.certify(store.defects.book(UNIT).defect(DEFECT), by=MECHANIC, role="mechanic"))
    assert any("is not sealed, and people were on record" in p for p in store.verify(WALK))


def test_defects_that_are_said_to_be_entered_are_found(tmp_path: Path) -> None:
    """Who hides a walk's defects by writing that they were entered, hashes and all, is found out."""
    with station(tmp_path / "data") as store:
        store.append("earlier", [walk()[0]])
        store.defects.take_up("earlier", fold(sheet(), ((s.at, s.event) for s in store.events("earlier"))))
        store.append(WALK, walk(), clips())
        assert store.defects.not_taken_up() == (WALK,)
        count = len(store.events(WALK))
        _append_forged(store, DefectsEntered(walk=WALK, events=count, head=store.head(WALK)))
        for problems in (store.verify(WALK), store.verify_all()):
            assert any("says a defect, and the unit's defects do not have it" in p for p in problems)


def test_a_hearing_that_no_walk_said_is_found(store: Store) -> None:
    """A defect put in, or one whose sound is another's, is not what its walk says."""
    first = store.defects.book(UNIT).defect(DEFECT).first
    for change in ({"entry_id": "e99"}, {"clip": "1" * 64}):
        _append_forged(store, first.model_copy(update=change))
    problems = store.verify(WALK)
    assert any("names an entry that walk" in p for p in problems)
    assert any("names other sound" in p for p in problems)


def test_a_signature_of_a_walk_reaches_its_defects(store: Store, signers: dict[str, Signer]) -> None:
    """A chain made anew under a signature, hashes, lines and all, is not the one that was signed for."""
    store.append(WALK, [review.settle_by_number(_state(store), "d1", 1, OFFICER)], signer=signers[OFFICER])
    store.defects.take_up(WALK, _state(store))
    sign = review.sign(
        _state(store),
        by=OPERATOR,
        role="operator",
        meaning="inspected by",
        decision="none",
        head=store.head(WALK),
    )
    store.append(WALK, [sign], signer=signers[OPERATOR])
    assert store.verify(WALK) == ()
    rows = rows_of(store._db, UNIT)
    tamper(
        store.folder,
        f"DELETE FROM defect_events WHERE number = {rows[-1].number}",
        f"UPDATE sqlite_sequence SET seq = {len(rows) - 1} WHERE name = 'defect_events'",
    )
    problems = store.verify(WALK)
    assert any("is over defects of the unit that are gone" in p for p in problems)


def test_a_list_does_not_hide_what_was_not_entered(tmp_path: Path) -> None:
    """Whatever the list of walks says, a walk that has gone on waits to have its defects entered."""
    with station(tmp_path / "data") as store:
        store.append(WALK, walk(), clips())
        for statement in ("UPDATE walk_list SET events = 1", "DELETE FROM walk_list"):
            tamper(store.folder, statement)
            assert store.defects.not_taken_up() == (WALK,)
