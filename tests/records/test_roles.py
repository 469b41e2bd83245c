"""Roles are kept by the record itself: whatever asks, an event needs a person who may make it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.people.making import MECHANIC, OFFICER, OPERATOR, peopled, station
from tests.records.making import WALK, entry, finished, rows, started
from voicelog.errors import PersonError, RecordError, VoicelogError
from voicelog.people.keys import Signer
from voicelog.records.seals import key_of, seals_of
from voicelog.records.store import Store
from voicelog.walk.events import (
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryWithdrawn,
    Event,
    Heard,
    RecheckAsked,
    SignedOff,
    WalkResumed,
)

CLAIM = entry(1).claim
HEARD = Heard(text="dripping")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Give a store with nobody on record."""
    with station(tmp_path / "data") as opened:
        yield opened


def _signed(store: Store, by: str, role: str) -> SignedOff:
    meaning = {"operator": "inspected by", "officer": "confirmed by", "mechanic": "repair certified by"}[role]
    decision = "in service" if role == "officer" else "none"
    return SignedOff(by=by, role=role, meaning=meaning, decision=decision, head=store.head(WALK))


def officers_events(by: str) -> list[Event]:
    """Return each event that only an officer makes, but the signature."""
    return [
        EntryCorrected(entry_id="e1", claim=CLAIM, by=by, reason="seen"),
        EntryConfirmed(entry_id="e1", by=by),
        EntryWithdrawn(entry_id="e1", by=by, reason="a radio"),
        DoubtSettled(entry_id="e1", claim=CLAIM, by=by, reason="seen"),
        RecheckAsked(point_id="fan_belt", by=by, reason="not seen"),
    ]


def operators_events() -> list[Event]:
    """Return events that are the operator's, from what was said in the walk."""
    return [
        entry(2),
        DoubtSettled(entry_id="e1", claim=CLAIM, by=OPERATOR, reason="answered by voice", heard=HEARD),
        EntryWithdrawn(entry_id="e1", by=OPERATOR, reason="disregarded by voice", heard=HEARD),
        WalkResumed(operator=OPERATOR),
        finished(),
    ]


def test_without_people_names_are_taken_as_they_are(store: Store) -> None:
    """A station with nobody on record works as before, and nothing there names a key."""
    store.append(WALK, [started(), entry(1), *officers_events("anybody")])
    store.append(WALK, [_signed(store, "anybody", "officer")])
    assert not any(key_of(stored.event) for stored in store.events(WALK))
    assert seals_of(store._db, WALK) == []
    assert store.verify_all() == ()


@pytest.mark.parametrize("number", range(5))
@pytest.mark.parametrize("who", [OPERATOR, MECHANIC, None])
def test_an_officer_s_event_is_refused_to_others(store: Store, number: int, who: str | None) -> None:
    """By an operator, a mechanic or without a PIN, in either name, nothing is added."""
    signers = peopled(store)
    store.append(WALK, [started(), entry(1)], signer=signers[OPERATOR])
    before = rows(store.folder)
    for name in {who or OFFICER, OFFICER}:
        event = officers_events(name)[number]
        with pytest.raises(PersonError, match=r"may not|no PIN was given"):
            store.append(WALK, [event], signer=signers[who] if who else None)
    assert rows(store.folder) == before


def test_an_officer_s_event_needs_the_officer_s_own_name(store: Store) -> None:
    """An officer's key does nothing in another officer's name."""
    signers = peopled(store)
    _, other = store.people.add("K. Lund", ("officer",), "904411", by=signers[OFFICER])
    store.append(WALK, [started(), entry(1)], signer=signers[OPERATOR])
    for event in officers_events(OFFICER):
        with pytest.raises(PersonError, match=r"in the name of M\. Ruiz, and it is K\. Lund"):
            store.append(WALK, [event], signer=other)
    store.append(WALK, officers_events("k. lund"), signer=other)
    assert store.verify_all() == ()


def test_what_decides_is_sealed(store: Store) -> None:
    """Beginning, end, every act of the review and every signature bear a seal; entries do not."""
    signers = peopled(store)
    store.append(WALK, [started(), entry(1), *operators_events()], signer=signers[OPERATOR])
    store.append(WALK, officers_events(OFFICER), signer=signers[OFFICER])
    store.append(WALK, [_signed(store, OPERATOR, "operator")], signer=signers[OPERATOR])
    store.append(WALK, [_signed(store, OFFICER, "officer")], signer=signers[OFFICER])
    events = store.events(WALK)
    sealed = {seal.number: seal.key_id for seal in seals_of(store._db, WALK)}
    kinds = [events[number - 1].event.kind for number in sealed]
    assert kinds == [
        "walk started",
        "walk resumed",
        "walk finished",
        "entry corrected",
        "entry confirmed",
        "entry withdrawn",
        "doubt settled",
        "recheck asked",
        "signed off",
        "signed off",
    ]
    assert {number: key_of(events[number - 1].event) for number in sealed} == sealed
    assert store.verify_all() == store.verify(WALK) == ()


@pytest.mark.parametrize(
    ("who", "role"),
    [
        (OPERATOR, "officer"),
        (OPERATOR, "mechanic"),
        (MECHANIC, "officer"),
        (MECHANIC, "operator"),
        (OFFICER, "operator"),
        (OFFICER, "mechanic"),
    ],
)
def test_a_signature_needs_its_role(store: Store, who: str, role: str) -> None:
    """Nobody signs in a role that they do not have."""
    signers = peopled(store)
    store.append(WALK, [started(), entry(1)], signer=signers[OPERATOR])
    refused = "does not belong to a walk" if role == "mechanic" else f"may not sign as {role}"
    with pytest.raises(VoicelogError, match=refused):
        store.append(WALK, [_signed(store, who, role)], signer=signers[who])


@pytest.mark.parametrize("who", [OFFICER, MECHANIC, None])
def test_a_walk_is_an_operator_s(store: Store, who: str | None) -> None:
    """Beginning one, and logging in one, need the operator's key."""
    signers = peopled(store)
    signer: Signer | None = signers[who] if who else None
    with pytest.raises(PersonError):
        store.append(WALK, [started(operator=who or OPERATOR)], signer=signer)
    store.append(WALK, [started()], signer=signers[OPERATOR])
    for event in operators_events():
        with pytest.raises(PersonError):
            store.append(WALK, [event], signer=signer)


def test_a_key_that_was_replaced_seals_nothing(store: Store) -> None:
    """An open key is worth nothing from the moment another takes its place, or its owner retires."""
    signers = peopled(store)
    store.append(WALK, [started()], signer=signers[OPERATOR])
    store.people.replace_key(OPERATOR, "550077", by=signers[OFFICER])
    with pytest.raises(PersonError, match="not the key"):
        store.append(WALK, [entry(1)], signer=signers[OPERATOR])
    fresh = store.people.unlock(OPERATOR, "550077")
    store.append(WALK, [entry(1)], signer=fresh)
    store.people.retire(OPERATOR, by=signers[OFFICER])
    with pytest.raises(PersonError, match="retired"):
        store.append(WALK, [entry(2)], signer=fresh)
    assert store.verify_all() == ()


def test_a_walk_begun_before_people_came_on_record(store: Store) -> None:
    """It is gone on with by a person on record; what was before stays as it was, and is whole."""
    store.append(WALK, [started(operator="Anybody"), entry(1)])
    signers = peopled(store)
    store.append(WALK, [WalkResumed(operator=OPERATOR), entry(2), finished()], signer=signers[OPERATOR])
    store.append(WALK, [_signed(store, OFFICER, "officer")], signer=signers[OFFICER])
    assert store.verify_all() == store.verify(WALK) == ()


def test_an_event_cannot_bring_its_own_key(store: Store) -> None:
    """Only the record says which key an event is sealed with."""
    with pytest.raises(RecordError, match="names a key"):
        store.append(WALK, [started().model_copy(update={"key_id": "1" * 64})])
