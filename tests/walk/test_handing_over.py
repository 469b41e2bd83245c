"""A walk goes on in another person's hands: never logged in the wrong name, never a shared login."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.opening import without_gate
from tests.people.making import MECHANIC, OPERATOR, PINS, peopled, station
from tests.walk.reviewing import sheet
from voicelog.conduct import Conductor
from voicelog.errors import PersonError, WalkError
from voicelog.handing_over import HandingOver, named_in
from voicelog.records.store import Store
from voicelog.reports.tables import rows
from voicelog.sheet import load_unit
from voicelog.walk.events import EntryLogged, WalkHandedOver
from voicelog.walk.said_back import walked_by

from ..conftest import ROOT

SECOND = "J. Okafor"
UNIT = ROOT / "samples" / "engine_61.toml"
DRY, DRIPPING = "left lift cylinder dry", "left lift cylinder dripping"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Give a store with nobody on record."""
    with station(tmp_path / "data") as opened:
        yield opened


def begun(store: Store, operator: str = OPERATOR, **more: object) -> Conductor:
    conductor = Conductor(store, without_gate(sheet()), load_unit(UNIT), None, clock=store._clock, **more)  # type: ignore[arg-type]
    conductor.begin(operator)
    return conductor


def said(update: object) -> str:
    return "; ".join(reply.text for reply in update.replies)  # type: ignore[attr-defined]


def no_pin() -> str:
    raise AssertionError("no PIN is needed")


def test_what_comes_after_it_is_the_new_person_s(store: Store) -> None:
    """Entries before are the first operator's, entries after the second's, in state, defects and report."""
    conductor = begun(store)
    conductor.typed(DRIPPING)
    assert "standing by" in said(conductor.typed("hand over"))
    conductor.typed("coolant good")
    told = said(HandingOver(store, conductor).to(SECOND, no_pin))
    assert told.startswith(f"handed over to {SECOND}; ")
    conductor.typed("fan belt cracked")
    state = conductor.state
    assert [(e.claim.point_id, e.by) for e in state.entries.values()] == [
        ("lift_cylinder_left", OPERATOR),
        ("fan_belt", SECOND),
    ]
    assert walked_by(state) == f"{OPERATOR}, then {SECOND}"
    conductor.finish()
    heard = {d.first.point_id: d.first.by for d in store.defects.book("engine_61").defects.values()}
    assert heard == {"lift_cylinder_left": OPERATOR, "fan_belt": SECOND}
    by = {row.point: row.by for row in rows(state, conductor.walk_id) if row.entry}
    assert by["left lift cylinder"] == OPERATOR and by["fan belt"] == SECOND
    for point_id, name in (("lift_cylinder_left", OPERATOR), ("fan_belt", SECOND)):
        (past,) = store.point_history("engine_61", "engine_bay", point_id).entries
        assert past.operator == name
    assert store.verify(conductor.walk_id) == ()


def test_the_first_operator_may_go_on(store: Store) -> None:
    """ "Resume" ends the standing by, and the walk is whose it was."""
    conductor = begun(store)
    conductor.typed("hand over the tablet")
    conductor.typed("resume")
    conductor.typed(DRY)
    assert [e.by for e in conductor.state.entries.values()] == [OPERATOR]


def test_the_cautions_are_asked_again(store: Store) -> None:
    """Who takes over has not seen to them, and nothing is logged before they are affirmed."""
    conductor = Conductor(store, sheet(), load_unit(UNIT), None, clock=store._clock)
    conductor.begin(OPERATOR)
    while conductor.state.caution is not None:
        conductor.command("affirmative")
    assert conductor.state.affirmed
    HandingOver(store, conductor).to(SECOND, no_pin)
    assert not conductor.state.affirmed and conductor.state.caution is not None
    conductor.typed(DRY)
    assert not any(isinstance(s.event, EntryLogged) for s in store.events(conductor.walk_id))


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("hand over to J. Okafor", "J. Okafor"),
        ("Hand over the tablet to  J. Okafor ", "J. Okafor"),
        ("hand over", None),
        ("hand over to", None),
        ("left lift cylinder dry", None),
    ],
)
def test_a_typed_line_names_who_takes_over(line: str, name: str | None) -> None:
    """The name after "to", and nothing else."""
    assert named_in(line) == name


def test_it_cannot_be_handed_to_nobody_or_to_oneself(store: Store) -> None:
    """Nor when the walk is complete; then it is in the hands it was in."""
    conductor = begun(store)
    hands = HandingOver(store, conductor)
    for name in ("", "  ", "r. alder", "J\x00"):
        with pytest.raises(WalkError):
            hands.to(name, no_pin)
    conductor.finish()
    with pytest.raises(WalkError, match="complete"):
        hands.to(SECOND, no_pin)
    assert conductor.state.operators == (OPERATOR,)


def test_with_people_on_record_it_needs_the_new_person_s_pin(store: Store) -> None:
    """A wrong PIN, an unknown name or a mechanic change nothing; the right one seals what follows."""
    signers = peopled(store)
    _, _ = store.people.add(SECOND, ("operator",), "605142", by=signers["M. Ruiz"])
    conductor = begun(store, signer=signers[OPERATOR])
    conductor.typed(DRY)
    hands = HandingOver(store, conductor)
    for name, pin in ((SECOND, "000000"), ("A. Stranger", "605142"), (MECHANIC, PINS[MECHANIC])):
        with pytest.raises(PersonError):
            hands.to(name, lambda pin=pin: pin)  # type: ignore[misc]
        assert conductor.state.operators == (OPERATOR,)
    conductor.typed("coolant good")
    hands.to(SECOND.lower(), lambda: "605142")
    conductor.typed("fan belt cracked")
    conductor.finish()
    (handed,) = (s.event for s in store.events(conductor.walk_id) if isinstance(s.event, WalkHandedOver))
    assert (handed.operator, handed.before) == (SECOND, OPERATOR)
    assert handed.key_id == store.people.now().person(SECOND).key.key_id
    assert store.events(conductor.walk_id)[-1].event.key_id == handed.key_id  # type: ignore[union-attr]
    assert store.verify_all() == ()
