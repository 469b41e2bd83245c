"""The shop's screen, driven by keys on a real record."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input, OptionList, Static

from tests.walk.reviewing import START, WALK, clips, sheet, walk
from voicelog.records.store import Store
from voicelog.screens.shop_screen import ShopApp
from voicelog.walk.state import fold


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
    """Return a record with three open defects of one unit."""
    with Store.open(tmp_path / "data", clock=Ticking()) as opened:
        opened.append(WALK, walk(), clips())
        events = opened.events(WALK)
        opened.defects.take_up(WALK, fold(sheet(), ((s.at, s.event) for s in events)))
        yield opened


def drive(app: ShopApp, steps: Callable[[Pilot[None]], object]) -> None:
    """Run the app without a terminal at 80 by 24 and take the steps."""

    async def run() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            await steps(pilot)  # type: ignore[misc]

    asyncio.run(run())


def app(store: Store, played: list[bytes] | None = None) -> ShopApp:
    """Return the screen over a record; sound goes to ``played``."""
    player = played.append if played is not None else None
    return ShopApp(store, player, clock=Ticking(), write_order=lambda defect, history: Path("order.html"))


def said(pilot: Pilot[None]) -> str:
    """Return the last outcome that is shown."""
    return str(pilot.app.screen.query_one("#said", Static).render())


async def fill(pilot: Pilot[None], *texts: str) -> None:
    """Type a line into each field of the form, with Enter after it."""
    for text in texts:
        assert isinstance(pilot.app.focused, Input)
        pilot.app.focused.value = text
        await pilot.press("enter")
    await pilot.pause()


def test_the_worst_is_first_and_everything_fits(store: Store) -> None:
    """The queue is in the order of class, and keys and list are in sight at 80 by 24."""

    async def steps(pilot: Pilot[None]) -> None:
        listed = pilot.app.screen.query_one("#agenda", OptionList)
        assert [listed.get_option_at_index(n).id for n in range(3)] == [
            d.defect_id for d in store.defects.queue()
        ]
        assert pilot.app.screen.query_one("#keys").region.bottom == 24
        await pilot.press("question_mark")
        assert pilot.app.screen.query_one(".form").region.bottom <= 24

    drive(app(store), steps)


def test_from_the_queue_to_the_certificate(store: Store) -> None:
    """The mechanic repairs and certifies the chosen defect; each is in the record at once."""

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("r")
        await fill(pilot, "K. Osei", "new bracket", "2 x bolt # M8", "40")
        assert "repaired by K. Osei (mechanic): new bracket" in said(pilot)
        await pilot.press("y")
        await fill(pilot, "")
        assert "certified as repaired" in said(pilot)

    drive(app(store), steps)
    first = store.defects.queue()[0]
    assert (first.point, first.state) == ("alternator", "certified")


@pytest.mark.parametrize(
    ("key", "typed", "words"),
    [
        ("y", ("K. Osei", ""), "cannot be certified"),
        ("d", ("M. Ruiz", "tomorrow", "x"), "is not a day"),
        ("d", ("M. Ruiz", "2001-01-01", "x"), "not after today"),
        ("r", ("K. Osei", "x", "", "an hour"), "not a number of minutes"),
        ("x", ("K. Osei", "", ""), "needs its findings"),
        ("s", (" ", ""), "a name is missing"),
    ],
)
def test_what_is_refused_is_told_in_the_form(
    store: Store, key: str, typed: tuple[str, ...], words: str
) -> None:
    """The form stays, says what is wrong, and nothing is recorded."""
    before = store.defects.queue()

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press(key)
        await fill(pilot, *typed)
        assert words in str(pilot.app.screen.query_one("#wrong", Static).render())
        await pilot.press("escape")

    drive(app(store), steps)
    assert store.defects.queue() == before


def test_the_sound_is_one_key_away(store: Store) -> None:
    """Space plays the defect's own sound, n the note; where there is none, that is told."""
    played: list[bytes] = []

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("space")
        assert "no sound of this" in said(pilot)
        await pilot.press("down", "space")
        await pilot.app.workers.wait_for_complete()
        await pilot.press("n")
        await pilot.app.workers.wait_for_complete()

    drive(app(store, played), steps)
    assert [len(flac) > 100 for flac in played] == [True, True]
    assert played == [clips()[2].flac, clips()[2].flac]
