"""The review where people are on record: a PIN before anything is done, and one for each signature."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input, RadioSet

from tests.conftest import ROOT
from tests.people.making import OFFICER, OPERATOR, PINS, peopled, station
from tests.screens.test_review_screen import drive, shown, typed
from tests.walk.reviewing import WALK, clips, sheet, walk
from voicelog.records.people_record import person_rows
from voicelog.records.store import Store
from voicelog.screens.review_screen import ReviewApp
from voicelog.sheet.policy import load_policy
from voicelog.walk.events import DoubtSettled, EntryConfirmed, SignedOff


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Give a store with people on record and a finished walk."""
    with station(tmp_path / "data") as opened:
        signers = peopled(opened)
        opened.append(WALK, walk(), clips(), signer=signers[OPERATOR])
        yield opened


async def _press_sign(pilot: Pilot[None]) -> None:
    await pilot.pause()
    button = pilot.app.screen.query_one("#sign")
    button.focus()
    # A button that was just pressed takes no other press while it shows it.
    assert await _until(pilot, lambda: not button.has_class("-active"))
    await pilot.pause()
    await pilot.press("enter")
    await pilot.pause()


async def _until(pilot: Pilot[None], holds: Callable[[], bool]) -> bool:
    """Wait until something holds; deriving a key from a PIN takes its time on a busy machine."""
    for _ in range(100):
        if holds():
            return True
        await pilot.pause(0.05)
    return False


def _last(store: Store) -> object:
    return store.events(WALK)[-1].event


def test_nothing_is_done_before_a_pin_and_each_signature_asks_again(store: Store) -> None:
    """A wrong PIN does nothing; an operator may not settle; the officer's signature bears their key."""

    async def steps(pilot: Pilot[None]) -> None:
        before = len(store.events(WALK))
        # Nobody has given a PIN yet: one is asked for, and what is typed is not shown.
        await pilot.press("1")
        assert pilot.app.screen.query_one("#pin", Input).password
        await typed(pilot, OFFICER)
        await pilot.press("enter")
        await typed(pilot, "000000")
        await pilot.press("enter")
        assert "not the PIN" in shown(pilot, "#wrong")
        assert pilot.app.screen.query_one("#pin", Input).value == ""
        assert len(store.events(WALK)) == before
        await typed(pilot, PINS[OFFICER])
        await pilot.press("enter")
        await pilot.pause()
        settled = _last(store)
        assert isinstance(settled, DoubtSettled) and settled.by == OFFICER and settled.key_id

        # Handed to the operator, who may confirm nothing.
        await pilot.press("p")
        await typed(pilot, OPERATOR)
        await pilot.press("enter")
        await typed(pilot, PINS[OPERATOR])
        await pilot.press("enter")
        await pilot.pause()
        before = len(store.events(WALK))
        await pilot.press("a")
        await pilot.pause()
        assert "may not confirm" in shown(pilot, "#said")
        assert len(store.events(WALK)) == before

        # The officer signs: against the policy only with a reason, and only with the PIN.
        await pilot.press("y")
        assert "fan belt" in shown(pilot, "#against")
        name = pilot.app.screen.query_one("#name", Input)
        name.value = OFFICER
        pilot.app.screen.query_one("#decision", RadioSet).focus()
        await pilot.press("down", "space")
        pilot.app.screen.query_one("#reason", Input).value = "belt ordered"
        await _press_sign(pilot)
        assert await _until(pilot, lambda: "against the local policy" in shown(pilot, "#wrong"))
        pilot.app.screen.query_one("#override", Input).value = "spare engine is out"
        await _press_sign(pilot)
        assert await _until(pilot, lambda: "not the PIN" in shown(pilot, "#wrong"))
        assert not isinstance(_last(store), SignedOff)
        pilot.app.screen.query_one("#pin", Input).value = PINS[OFFICER]
        await _press_sign(pilot)
        assert await _until(pilot, lambda: isinstance(_last(store), SignedOff))
        signed = _last(store)
        assert isinstance(signed, SignedOff)
        assert signed.by == OFFICER and signed.key_id == store.people.now().person(OFFICER).key.key_id
        assert signed.overridden and signed.override_reason == "spare engine is out"
        assert "AGAINST THE LOCAL POLICY" in shown(pilot, "#signed")

    policy = load_policy(ROOT / "grammars" / "policy.toml", sheet())
    drive(ReviewApp(store, WALK, sheet(), None, policy=policy), steps)
    assert store.verify_all() == ()
    assert not any(isinstance(stored.event, EntryConfirmed) for stored in store.events(WALK))
    handed = [row.body for row in person_rows(store._db) if row.kind == "handed over"]
    assert [(OFFICER in body, OPERATOR in body) for body in handed] == [
        (True, False),
        (True, True),
        (True, True),
    ]
