"""The review screen, driven by keys on a real record with real sound."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input, OptionList, RadioSet, Static

from tests.conftest import ROOT
from tests.walk.reviewing import START, WALK, clips, cover, doubted, heard, said, sheet, started, walk
from voicelog.errors import AudioError
from voicelog.records.clips import decode
from voicelog.records.store import Store
from voicelog.screens.review_screen import ReviewApp
from voicelog.screens.review_text import signatures
from voicelog.sheet.policy import load_policy
from voicelog.walk.agenda import agenda
from voicelog.walk.events import (
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryWithdrawn,
    Event,
    GroupMarkConfirmed,
    GroupMarked,
    GroupMarkReopened,
    NotUnderstood,
    SignedOff,
    WalkFinished,
)
from voicelog.walk.state import WalkState, fold


class Ticking:
    """A clock that goes on by one second each time it is read."""

    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> datetime:
        """Return the time and go on."""
        self.now += timedelta(seconds=1)
        return self.now


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Return a record with the walk that is to be reviewed."""
    with Store.open(tmp_path / "data", clock=Ticking()) as opened:
        opened.append(WALK, walk(), clips())
        yield opened


def new_events(store: Store, before: int = len(walk())) -> list[Event]:
    """Return what was appended since the walk, read from the record."""
    return [s.event for s in store.events(WALK)[before:]]


def folded(store: Store) -> WalkState:
    """Return the state of the record, folded afresh."""
    return fold(sheet(), ((s.at, s.event) for s in store.events(WALK)))


def shown(pilot: Pilot[None], where: str) -> str:
    """Return the text of a part of the screen as it is drawn, its lines joined."""
    widget = pilot.app.screen.query_one(where)
    parts = [widget, *widget.query("*")]
    lines = (part.render_line(y).text for part in parts for y in range(part.size.height))
    return " ".join(" ".join(lines).split())


async def typed(pilot: Pilot[None], text: str) -> None:
    """Put a text into the line that has the focus, as if pasted."""
    assert isinstance(pilot.app.focused, Input)
    pilot.app.focused.value = text
    await pilot.pause()


def drive(app: ReviewApp, steps: Callable[[Pilot[None]], object], size: tuple[int, int] = (80, 24)) -> None:
    """Run the app without a terminal and take the steps."""

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await steps(pilot)  # type: ignore[misc]
            await pilot.pause()

    asyncio.run(run())


def test_an_officer_settles_corrects_rejects_and_signs(store: Store) -> None:
    """The whole review by keyboard at 80 by 24: each action is in the record before the next."""
    played: list[bytes] = []

    async def steps(pilot: Pilot[None]) -> None:
        assert "left lift cylinder: dripping or dry?" in shown(pilot, "#details")

        # The doubt bars the signature.
        await pilot.press("y")
        assert "Settle, correct or reject first what is in doubt" in shown(pilot, "#said")

        # Its sound is played, as it was recorded.
        await pilot.press("space")
        await pilot.app.workers.wait_for_complete()
        await pilot.pause()
        assert "Played" in shown(pilot, "#said")

        # Settled as sound: name and reason are asked for, an empty reason is refused.
        await pilot.press("2")
        await typed(pilot, "M Ruiz")
        await pilot.press("enter", "enter")
        assert "needs a reason" in shown(pilot, "#wrong")
        assert new_events(store) == []
        await typed(pilot, "heard it")
        await pilot.press("enter")
        await pilot.pause()
        assert new_events(store)[-1] == DoubtSettled(
            entry_id="d1", claim=said("lift_cylinder_left", "dry"), by="M Ruiz", reason="heard it"
        )
        assert "no doubts" in shown(pilot, "#summary")

        # The next thing that needs a person is chosen; it is confirmed by one key.
        assert "alternator hanging" in shown(pilot, "#details")
        await pilot.press("a")
        assert new_events(store)[-1] == EntryConfirmed(entry_id="e2", by="M Ruiz")
        assert "alternator hanging (seen)" in shown(pilot, "#agenda")

        # By another key it is also said why.
        await pilot.press("A")
        await typed(pilot, "seen on the stand")
        await pilot.press("enter")
        await pilot.pause()
        assert new_events(store)[-1] == EntryConfirmed(entry_id="e2", by="M Ruiz", reason="seen on the stand")

        # Corrected with a near phrase from the list.
        await pilot.press("c")
        await pilot.press(*"loos")
        await pilot.press("down", "enter")
        assert pilot.app.screen.query_one("#instead", Input).value == "alternator loose"
        assert "alternator loose (defect, repair)" in shown(pilot, "#means")
        await pilot.press("enter")
        await typed(pilot, "not hanging")
        await pilot.press("enter")
        await pilot.pause()
        assert new_events(store)[-1] == EntryCorrected(
            entry_id="e2", claim=said("alternator", "loose"), by="M Ruiz", reason="not hanging"
        )

        # Rejected.
        await pilot.press("down")
        assert "water pump weeping" in shown(pilot, "#details")
        await pilot.press("r")
        await typed(pilot, "wash water")
        await pilot.press("enter")
        await pilot.pause()
        assert new_events(store)[-1] == EntryWithdrawn(entry_id="e1", by="M Ruiz", reason="wash water")
        assert "2 not covered" in shown(pilot, "#summary")

        # Signed: no decision is chosen beforehand, and one is asked for.
        head = store.head(WALK)
        await pilot.press("y")
        assert "fan belt deflection" in shown(pilot, "#against")
        decision = pilot.app.screen.query_one("#decision", RadioSet)
        assert decision.pressed_index == -1
        await pilot.press("tab", "tab", "enter")
        assert "needs a decision" in shown(pilot, "#wrong")
        decision.focus()
        await pilot.press("down", "space")
        assert "(x) in service with restrictions" in shown(pilot, "#decision")
        await pilot.press("tab")
        await typed(pilot, "belt ordered")
        await pilot.press("tab", "enter")
        await pilot.pause()
        assert new_events(store)[-1] == SignedOff(
            by="M Ruiz",
            role="officer",
            meaning="confirmed by",
            decision="in service with restrictions",
            reason="belt ordered",
            head=head,
        )
        assert "confirmed by M Ruiz" in shown(pilot, "#signed")

    drive(ReviewApp(store, WALK, sheet(), played.append), steps)
    assert [decode(flac)[0].shape for flac in played] == [(3200,)]
    assert store.verify(WALK) == ()


def test_a_doubt_is_neither_confirmed_nor_settled_by_a_number_that_is_not_there(store: Store) -> None:
    """Keys that do not fit change nothing and say what to do."""

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("a")
        assert "a doubt cannot be confirmed" in shown(pilot, "#said")
        await pilot.press("9")
        assert "there is no candidate 9" in shown(pilot, "#said")
        await pilot.press("r", "escape", "c", "escape")
        assert type(pilot.app.screen).__name__ == "ReviewScreen"

    drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz"), steps)
    assert new_events(store) == []


def test_an_overdue_doubt_is_shown(store: Store) -> None:
    """A doubt that is open longer than the policy allows is marked in the list, above it and beside it."""
    policy = load_policy(ROOT / "grammars" / "policy.toml", sheet())
    logged_at = store.events(WALK)[-1].at

    for hours, late in ((policy.doubt_hours - 1, False), (policy.doubt_hours + 1, True)):

        async def steps(pilot: Pilot[None], late: bool = late) -> None:
            assert ("1 doubt OVERDUE" in shown(pilot, "#summary")) is late
            assert (f"more than {policy.doubt_hours} hours: OVERDUE" in shown(pilot, "#details")) is late

        def clock(hours: int = hours) -> datetime:
            return logged_at + timedelta(hours=hours)

        drive(ReviewApp(store, WALK, sheet(), None, policy=policy, clock=clock), steps)


def test_settling_as_a_defect_takes_one_key_when_the_name_is_known(store: Store) -> None:
    """A defect needs no reason, so the doubt is settled at once."""

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("1")

    drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz"), steps)
    dripping = said("lift_cylinder_left", "dripping")
    assert new_events(store) == [DoubtSettled(entry_id="d1", claim=dripping, by="M. Ruiz", reason="")]


def test_a_reading_is_corrected_in_figures(store: Store) -> None:
    """ "3/4" alone is a value of the entry's own reading; one outside its range is refused."""

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("down", "down", "down")
        assert "fan belt deflection 1 in" in shown(pilot, "#details")
        await pilot.press("c")
        await typed(pilot, "12")
        await pilot.press("enter")
        assert "give a value from 0 in to 1 1/2 in" in shown(pilot, "#wrong").lower()
        await typed(pilot, "3/4")
        assert "fan belt deflection 3/4 in (sound, within the limit)" in shown(pilot, "#means")
        await pilot.press("enter")
        await typed(pilot, "gauge")
        await pilot.press("enter")

    drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz"), steps)
    assert folded(store).entries["e3"].claim.judgement == "within"


def test_words_that_mean_two_points_are_chosen_between(store: Store) -> None:
    """Where a side was left out, both are offered and neither is taken by itself."""

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("down", "down")
        await pilot.press("c")
        await typed(pilot, "lift cylinder weeping")
        assert "choose one above" in shown(pilot, "#means")
        await pilot.press("enter")
        assert pilot.app.screen.query_one("#near", OptionList).has_focus
        await pilot.press("down", "enter")
        await typed(pilot, "wrong part")
        await pilot.press("enter")

    drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz"), steps)
    assert folded(store).entries["e1"].claim == said("lift_cylinder_right", "weeping")


def test_a_record_that_cannot_be_read_is_told(store: Store) -> None:
    """A record that is lost while it is reviewed ends in words, not in a traceback."""

    async def steps(pilot: Pilot[None]) -> None:
        store.close()
        await pilot.press("1")
        assert "NOT RECORDED" in shown(pilot, "#said")
        assert "left lift cylinder: dripping or dry?" in shown(pilot, "#details")

    drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz"), steps)


def test_without_sound_output_the_file_is_named(store: Store) -> None:
    """The clip can be played elsewhere: the path that is shown is there."""

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("space")
        words = shown(pilot, "#said")
        assert "No sound output here" in words
        assert Path("".join(words.split("clip is")[1].split())).is_file()

    # Wide enough that the path stays on one line.
    drive(ReviewApp(store, WALK, sheet(), None), steps, size=(300, 24))


def test_a_player_that_fails_says_so(store: Store) -> None:
    """A lost device is told in plain words and the review goes on."""

    def broken(_: bytes) -> None:
        raise AudioError("The loudspeaker is gone.", remedy="Plug it in and press space again.")

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("space")
        await pilot.app.workers.wait_for_complete()
        await pilot.pause()
        assert "The loudspeaker is gone. Plug it in" in shown(pilot, "#said")

    drive(ReviewApp(store, WALK, sheet(), broken), steps)


def test_what_changed_behind_the_screen_is_not_signed(store: Store) -> None:
    """A signature is over what was shown; when the record went on, it is refused and shown anew."""

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("1", "y", "down", "down", "space")
        store.append(WALK, [EntryConfirmed(entry_id="e1", by="T. Vance")])
        await pilot.press("tab", "tab", "enter")
        await pilot.pause()
        assert "NOT RECORDED" in shown(pilot, "#said")

    drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz"), steps)
    assert not folded(store).signatures


def test_a_change_after_the_signature_is_told(store: Store) -> None:
    """A signature that no longer covers everything is not shown as if it did."""

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("1", "y", "down", "down", "space", "tab", "tab", "enter")
        assert "out of service" in shown(pilot, "#signed")
        await pilot.press("a")
        assert "CHANGED SINCE" in shown(pilot, "#signed")

    drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz"), steps)


def test_words_from_outside_are_shown_as_they_are(tmp_path: Path) -> None:
    """Markup is not obeyed and control characters do not reach the terminal."""
    nasty = "[bold red]x[/] \x1b]0;owned\x07 [/nonsense]"
    events: list[Event] = [started(), NotUnderstood(reason="not a phrase", heard=heard("", free=nasty))]

    async def steps(pilot: Pilot[None]) -> None:
        listed = pilot.app.screen.query_one("#agenda", OptionList)
        listed.highlighted = listed.get_option_index("line 1")
        await pilot.pause()
        for part in ("#agenda", "#details"):
            assert "[bold red]x[/]" in shown(pilot, part)
            assert "\x1b" not in shown(pilot, part)

    with Store.open(tmp_path, clock=Ticking()) as opened:
        opened.append(WALK, events)
        drive(ReviewApp(opened, WALK, sheet(), None), steps)


def test_everything_fits_at_80_by_24(store: Store) -> None:
    """Keys, list and details are on the screen, and the longest form keeps its button in reach."""

    async def steps(pilot: Pilot[None]) -> None:
        assert pilot.app.screen.query_one("#keys").region.bottom == 24
        assert shown(pilot, "#keys").endswith("q quit")
        await pilot.press("question_mark")
        assert pilot.app.screen.query_one(".form").region.bottom <= 24
        await pilot.press("x")
        await pilot.press("1", "y", "tab", "tab")
        assert pilot.app.screen.focused is not None
        assert pilot.app.screen.focused.id == "sign"
        assert 0 < pilot.app.screen.focused.region.y < 23

    drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz"), steps)


def test_a_long_form_of_signing_shows_what_is_wrong_and_its_keys(store: Store) -> None:
    """However much the policy has to say, a refusal is seen at 80 by 24, and so is how to go on."""

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("1", "y", "tab", "tab", "tab", "enter")
        await pilot.pause()
        await pilot.pause()
        form, wrong = pilot.app.screen.query_one(".form"), pilot.app.screen.query_one("#wrong", Static)
        assert shown(pilot, "#wrong")
        assert form.region.y < wrong.region.y and wrong.region.bottom < form.region.bottom <= 24
        assert "Tab moves" in str(form.border_subtitle)

    policy = load_policy(ROOT / "grammars" / "policy.toml", sheet())
    drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz", policy=policy), steps)


def test_the_screen_shows_the_agenda_in_its_order(tmp_path: Path) -> None:
    """The rows are the agenda's items, under their headings."""
    first = doubted("d1", (said("radiator", "dry"), 0.6), (said("radiator", "damp"), 0.3))
    events = [started(), first, *cover("radiator", "coolant"), WalkFinished(missing=())]

    async def steps(pilot: Pilot[None]) -> None:
        listed = pilot.app.screen.query_one("#agenda", OptionList)
        ids = [o.id for o in listed.options if o.id]
        assert ids == [item.key for item in agenda(folded(opened))]
        assert ids[0] == "entry d1"

    with Store.open(tmp_path, clock=Ticking()) as opened:
        opened.append(WALK, events)
        drive(ReviewApp(opened, WALK, sheet(), None), steps)


def test_a_group_mark_is_confirmed_or_re_opened_whole_or_point_by_point(store: Store) -> None:
    """A number re-opens that point with a reason, `a` confirms the others by name, and `r` re-opens them."""
    points = ("cab_prop", "tilt_pump", "tilt_hoses")
    spoken = heard("affirmative")
    mark = GroupMarked(stop_id="cab_tilt", point_ids=points, by="R. Alder", asked=spoken, heard=spoken)
    store.append(WALK, (mark,), ())

    async def steps(pilot: Pilot[None]) -> None:
        async def answer(by: str, reason: str) -> None:
            await typed(pilot, by or reason)
            await pilot.press("enter")
            if by:
                await typed(pilot, reason)
                await pilot.press("enter")
            await pilot.pause()

        def choose(key: str) -> None:
            listed = pilot.app.screen.query_one("#agenda", OptionList)
            listed.highlighted = listed.get_option_index(key)

        choose("group cab_prop")
        await pilot.pause()
        assert "1 cab prop, 2 tilt pump, 3 tilt hoses" in shown(pilot, "#details")
        await pilot.press("2")
        await answer("M Ruiz", "not looked at")
        assert new_events(store)[-1] == GroupMarkReopened(
            point_ids=("tilt_pump",), by="M Ruiz", reason="not looked at"
        )
        choose("group cab_prop")
        await pilot.press("a")
        await answer("", "seen from the other side")
        assert new_events(store)[-1] == GroupMarkConfirmed(
            point_ids=("cab_prop", "tilt_hoses"), by="M Ruiz", reason="seen from the other side"
        )
        choose("group cab_prop")
        await pilot.press("r")
        await answer("", "another unit")
        assert new_events(store)[-1] == GroupMarkReopened(
            point_ids=("cab_prop", "tilt_hoses"), by="M Ruiz", reason="another unit"
        )

    drive(ReviewApp(store, WALK, sheet()), steps)
    assert folded(store).marks.points == frozenset()


def test_a_signature_is_told_in_little_room() -> None:
    """On the screen what was set aside is counted, with why; in the lines each of it is named."""
    made = SignedOff(
        by="M. Ruiz",
        role="officer",
        meaning="confirmed by",
        decision="in service",
        reason="parade",
        head="0" * 64,
        overridden=("water pump leaking: out of service, why", "fan belt frayed: restrictions, why"),
        override_reason="chief asked",
    )
    state = replace(fold(sheet(), ()), signatures=((START, made),), signature_numbers=(1,))
    (briefly,), (whole,) = signatures(state, briefly=True), signatures(state)
    assert "AGAINST THE LOCAL POLICY in 2 defects; overridden because: chief asked" in briefly
    assert all(f"AGAINST THE LOCAL POLICY: {what}" in whole for what in made.overridden)
