"""The walk screen, driven by keys and by feeds, seen as text."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from textual.app import App
from textual.pilot import Pilot
from textual.widgets import Input, Static

from voicelog.errors import AudioError
from voicelog.screens.big_letters import LARGE, draw
from voicelog.screens.walk_screen import FINISHED, LEFT_OPEN, FeedStopped, Post, WalkApp
from voicelog.walk.events import CommandHeard, EntryWithdrawn, Event, Heard, StopEntered, WalkFinished
from voicelog.walk.replies import Ear, Reply, ReplyKind, Update

from .make_picture import picture
from .making import (
    BEGIN,
    HeldFeed,
    Walker,
    condition,
    doubtful,
    last_update,
    started,
    state_of,
    updates,
    walk_events,
)

SIZES = [(80, 24), (100, 30), (140, 45)]


def seen(app: App[Any]) -> str:
    """Return what is on the screen as text, one line a row."""
    width, height = app.size
    console = app.console
    rows = [
        "".join(segment.text for segment in strip) for strip in app.screen._compositor.render_strips(app.size)
    ]
    assert console is not None and len(rows) == height and all(len(row) <= width for row in rows)
    return "\n".join(rows)


def words(app: App[Any]) -> str:
    """Return what is on the screen as words, without line ends."""
    return " ".join(seen(app).split())


async def until(pilot: Pilot[Any], so: Callable[[], bool]) -> None:
    """Let the screen work until something is so; fail when it does not become so."""
    for _ in range(400):
        if so():
            await pilot.pause()
            return
        await pilot.pause(0.02)
    raise AssertionError(words(pilot.app))


async def closed(app: WalkApp) -> None:
    """Wait until the screen has ended; its pilot can no longer be asked."""
    async with asyncio.timeout(10):
        while app.return_value is None:
            await asyncio.sleep(0.01)


@asynccontextmanager
async def walking(
    made: Sequence[Update], *, size: tuple[int, int] = (80, 24), walker: Walker | None = None
) -> AsyncIterator[tuple[Pilot[int], WalkApp, HeldFeed, Walker]]:
    """Run the screen over updates that have all been taken; the feed stays open."""
    feed = HeldFeed(made)
    walker = walker or Walker(walk_events())
    app = walker.app(feed)
    try:
        async with app.run_test(size=size) as pilot:
            await until(pilot, lambda: not (made and (app.shown is None or app.shown.update is not made[-1])))
            await pilot.pause()
            yield pilot, app, feed, walker
            feed.let_go()
    finally:
        feed.let_go()


async def _ended(pilot: Pilot[int], app: WalkApp) -> None:
    """Wait until the feed has ended and the screen knows it."""
    await until(pilot, lambda: app.shown is not None and app.shown.sound_over)
    await pilot.pause()


# what is shown ------------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES)
async def test_all_that_matters_is_seen_at_every_size(size: tuple[int, int]) -> None:
    """Unit, place, next point, doubts, defects, cautions, recorder and keys are seen at once."""
    async with walking(updates(walk_events()), size=size) as (_, app, _feed, _walker):
        text = words(app)
        for expected in (
            "Engine 61 Engine bay, cab tilted J. Okafor",
            "07:04:59 4 min 59 s",
            "RECORDING 14 committed listening",
            "covered 11 of 87",
            "! Cab prop or lock engaged before you reach in",
            "! Steering and brake parts can move without warning",
            "1 5/5 [2 6/11] 3 0/11",
            "10 0/3",
            "LEFT FRONT stop 2 of 10",
            "1 DOUBT",
            "3 DEFECTS",
            "> . open drag link",
            "X defect left lift cylinder",
            "? doubt steering gear",
            "+ sound pitman arm tight",
            "next drag link Ball joints without slack, boots whole, cotter pins in.",
            'heard "pitman arm tight"',
            "logged 07:04:59 pitman arm tight",
            "TAKEN pitman arm tight",
            "n next p back / type f far c cautions d doubts s stand by o person q end ? help",
        ):
            assert expected in text


async def test_a_typed_walk_at_a_closed_stop() -> None:
    """It tells of no sound that ended, each key has its whole label at 80 columns, and "s" stands by."""
    last = updates(walk_events())[-1]
    feed = HeldFeed([replace(last, state=replace(last.state, affirmed=frozenset()))])
    walker = Walker(walk_events())
    app = WalkApp(
        feed, on_typed=walker.on_typed, on_command=walker.on_command, title="voicelog", keyboard=True
    )
    feed.let_go()
    async with app.run_test(size=(80, 24)) as pilot:
        await _ended(pilot, app)
        text = words(app)
        assert "/ KEYBOARD 14 committed covered 11 of 87" in text
        assert "sound has ended" not in text
        assert "n next p back a affirm / type f far c cautions d doubts o person q end ? help" in text
        assert text.count("this sheet does not replace them") == 1
        await pilot.press("s")
        await _asked(pilot, walker, 1)
        assert walker.commands == ["stand by"]
        await until(pilot, lambda: "STANDING BY" in words(app))
        await until(pilot, lambda: "d doubts s resume o person q end ? help" in words(app))
        assert "affirm" not in words(app).rpartition("n next")[2]


async def test_readings_are_seen_against_their_limits() -> None:
    """Value, bar and words stand together."""
    async with walking(updates(walk_events()), size=(140, 45)) as (_, app, _feed, _walker):
        rows = seen(app).splitlines()
        assert any("travel 1 1/4 in █" in row and "above the limit, at most 1 in" in row for row in rows)
        assert any("below full 1/4 in █" in row and "within the limit, at most 1/2 in" in row for row in rows)


@pytest.mark.parametrize("kind", ["taken", "doubt", "not understood", "answer", "caution", "trouble"])
async def test_each_kind_of_reply_is_a_word(kind: ReplyKind) -> None:
    """No kind of reply is told by its colour alone."""
    async with walking([last_update(walk_events(), Reply(kind, "fan belt"))]) as (_, app, _feed, _walker):
        assert f" {kind.upper()} fan belt" in words(app)


@pytest.mark.parametrize(
    ("ear", "expected"),
    [
        ("listening", "RECORDING 14 committed listening"),
        ("hearing", "RECORDING 14 committed hearing"),
        ("deciding", "RECORDING 14 committed deciding"),
        ("taking a remark", "RECORDING 14 committed taking a remark"),
        ("standing by", "STANDING BY 14 committed"),
        ("stopped", "STOPPED 14 committed"),
    ],
)
async def test_the_ear_and_the_recorder_are_words(ear: Ear, expected: str) -> None:
    """What is being heard, and whether it is taken down, can be read."""
    async with walking([last_update(walk_events(), ear=ear)]) as (_, app, _feed, _walker):
        assert expected in words(app)


async def test_the_next_point_is_kept_in_sight() -> None:
    """The longest stop has more points than rows; the one that comes next is seen all the same."""
    events: list[Event] = [started(), StopEntered(stop_id="engine_front")]
    points = [point.id for point in state_of(events).sheet.stop("engine_front").points]
    events += [condition(str(n), point_id, "good") for n, point_id in enumerate(points[:-1], 1)]
    async with walking([updates(events)[-1]]) as (_, app, _feed, _walker):
        assert "> . open idler pulley" in words(app)


async def test_a_level_moves_the_meter_and_nothing_else() -> None:
    """An update with only a level leaves the reply and the points as they are."""
    last = last_update(walk_events())
    loud = replace(last, replies=(), heard=None, level_dbfs=-6.0, ear="hearing")
    async with walking([last, loud]) as (_, app, _feed, _walker):
        text = words(app)
        assert "hearing █████████· -6 dB" in text
        assert "TAKEN pitman arm tight" in text


async def test_before_anything_happened_the_screen_says_so() -> None:
    """A screen that waits for the first update is not blank, and its keys work."""
    async with walking([]) as (pilot, app, _feed, _walker):
        assert "Starting. Nothing has been heard yet." in words(app)
        await pilot.press("c")
        assert "The walk has not begun." in words(app)


async def test_time_goes_on_with_a_clock() -> None:
    """With a clock the time since the beginning is the clock's, without one the last event's."""
    feed = HeldFeed(updates(walk_events()))
    walker = Walker(walk_events())
    app = WalkApp(
        feed,
        on_typed=walker.on_typed,
        on_command=walker.on_command,
        title="voicelog",
        clock=lambda: BEGIN + timedelta(minutes=61, seconds=5),
    )
    try:
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda: not (app.shown is None or app.shown.now is None))
            await pilot.pause()
            assert "08:01:05 61 min 05 s" in words(app)
            feed.let_go()
    finally:
        feed.let_go()


# keys ---------------------------------------------------------------------------------------


async def _asked(pilot: Pilot[int], walker: Walker, calls: int) -> None:
    await until(pilot, lambda: not (len(walker.typed) + len(walker.commands) < calls))
    await pilot.pause()


async def test_a_walk_by_keyboard_alone() -> None:
    """Every key of the footer does what it says, and commands reach the walk in order."""
    async with walking(updates(walk_events())) as (pilot, app, _feed, walker):
        await pilot.press("n", "n", "p")
        await _asked(pilot, walker, 3)
        await until(pilot, lambda: "LEFT MIDDLE stop 3 of 10" in words(app))
        await pilot.press("s")
        await _asked(pilot, walker, 4)
        await until(pilot, lambda: "s resume" in words(app))
        assert "STANDING BY" in words(app)
        await pilot.press("s")
        await _asked(pilot, walker, 5)
        assert walker.commands == ["next stop", "next stop", "previous stop", "stand by", "resume"]


async def test_typed_lines_go_out_in_order_and_the_line_stays_open() -> None:
    """The line takes several phrases, letters in it are no commands, and Escape closes it."""
    async with walking(updates(walk_events())) as (pilot, app, _feed, walker):
        await pilot.press("slash", *"fan", "enter", *"nq", "enter")
        await _asked(pilot, walker, 2)
        assert walker.typed == ["fan", "nq"]
        assert walker.commands == []
        await until(pilot, lambda: "typed: nq" in words(app))
        assert '"nq" (typed)' in words(app)
        await pilot.press("escape", "n")
        await _asked(pilot, walker, 3)
        assert walker.commands == ["next stop"]
        assert not app.query_one("#line", Input).has_class("-open")


async def test_enter_opens_the_line_and_an_empty_line_closes_it() -> None:
    """Nothing is handed over when nothing was typed."""
    async with walking(updates(walk_events())) as (pilot, app, _feed, walker):
        await pilot.press("enter")
        assert "Type what you would say" in words(app)
        await pilot.press("enter")
        assert "Type what you would say" not in words(app)
        assert walker.typed == []


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("c", "keep your head clear of its path. ! Steering"),
        ("d", "steering gear: dry or dripping?"),
        ("question_mark", "next stop, previous stop"),
    ],
)
async def test_panels_open_and_close_on_their_key(key: str, expected: str) -> None:
    """Cautions, doubts and help open over the walk and close on the same key or Escape."""
    async with walking(updates(walk_events())) as (pilot, app, _feed, _walker):
        for closing in (key, "escape"):
            await pilot.press(key)
            await pilot.pause()
            assert expected in words(app).replace("│ ", "").replace(" │", "")
            await pilot.press(closing)
            await pilot.pause()
            assert len(app.screen_stack) == 1


async def test_help_names_every_point_and_condition_that_can_be_said_here() -> None:
    """The help's text has all points, readings and sound and defect words of the stop."""
    async with walking(updates(walk_events())) as (pilot, app, _feed, _walker):
        await pilot.press("question_mark")
        await until(pilot, lambda: bool(app.screen.query(Static)))
        text = str(app.screen.query_one(Static).render())
        stop = state_of(walk_events()).sheet.stop("left_front")
        lexicon = state_of(walk_events()).sheet.lexicon
        for point in stop.points:
            assert point.full_name in text
            assert all(c.say[0] in text for c in lexicon.conditions_of(point.aspects))
            assert all(r.name in text for r in point.readings)
        assert "say again" in text and "walk complete" in text


async def test_an_open_panel_follows_the_walk() -> None:
    """A doubt that arises while the list of doubts is open is in the list."""
    events = [started()]
    doubt = doubtful("1", ("wheel_chocks", "tight"), ("wheel_chocks", "loose"))
    async with walking(updates(events)) as (pilot, app, feed, _walker):
        await pilot.press("d")
        assert feed.post is not None
        feed.post(updates([*events, doubt])[-1])
        await until(pilot, lambda: "wheel chocks: tight or loose?" in words(app))
        assert "1 open doubt" in words(app).lower()


async def test_the_far_view_and_back() -> None:
    """The far view has the keys in its footer, takes typed lines, and goes back."""
    async with walking(updates(walk_events())) as (pilot, app, _feed, walker):
        await pilot.press("f")
        await pilot.pause()
        far = seen(app)
        word = draw("taken", LARGE, 80)
        assert word and all(row.strip() in far for row in word)
        assert "LEFT FRONT" not in far
        assert "f far" in words(app)
        await pilot.press("slash", *"ok", "enter", "escape")
        await _asked(pilot, walker, 1)
        await pilot.press("f")
        await pilot.pause()
        assert "LEFT FRONT stop 2 of 10" in words(app)


# the end ------------------------------------------------------------------------------------


async def test_finish_asks_first_and_tells_what_is_open() -> None:
    """The question names points not covered and open doubts; Escape goes on with the walk."""
    async with walking(updates(walk_events())) as (pilot, app, _feed, walker):
        await pilot.press("q")
        await pilot.pause()
        text = words(app)
        assert "Finish the walk?" in text
        assert "76 required points not covered" in text
        assert "1 doubt open" in text
        await pilot.press("escape")
        await pilot.pause()
        assert "Finish the walk?" not in words(app)
        assert walker.commands == []


@pytest.mark.parametrize(
    ("answer", "commands", "code"), [("y", ["walk complete"], FINISHED), ("l", [], LEFT_OPEN)]
)
async def test_the_walk_is_finished_or_left_open(answer: str, commands: list[str], code: int) -> None:
    """Yes finishes the walk and then ends the screen; leaving sends nothing."""
    async with walking(updates(walk_events())) as (pilot, app, _feed, walker):
        await pilot.press("q")
        app.simulate_key(answer)
        await closed(app)
        assert (walker.commands, app.return_value) == (commands, code)


async def test_a_walk_that_cannot_be_finished_keeps_the_screen() -> None:
    """Only a walk that the record shows as finished ends the screen."""
    walker = Walker(walk_events())

    def refuse(name: str) -> Update:
        walker.commands.append(name)
        raise OSError("no space left on device")

    walker.on_command = refuse  # type: ignore[method-assign]
    async with walking(updates(walk_events()), walker=walker) as (pilot, app, _feed, _walker):
        await pilot.press("q", "y")
        await _asked(pilot, walker, 1)
        await until(pilot, lambda: "no space left on device" in words(app))
        assert app.return_value is None


async def test_a_walk_finished_by_voice_closes_without_a_question() -> None:
    """When the walk is complete, q has nothing left to ask."""
    events = [*walk_events(), WalkFinished(missing=())]
    async with walking(updates(events)) as (_, app, _feed, walker):
        assert "The walk is finished." in words(app)
        app.simulate_key("q")
        await closed(app)
        assert (walker.commands, app.return_value) == ([], FINISHED)


async def test_the_feed_is_stopped_when_the_screen_closes() -> None:
    """A feed that goes on for ever is ended by its post function."""
    stopped = threading.Event()
    update = last_update(walk_events())

    def endless(post: Post) -> None:
        try:
            while True:
                post(update)
                stopped.wait(0.01)
        except FeedStopped:
            stopped.set()
            raise

    app = Walker(walk_events()).app(endless)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: app.shown is not None)
        await pilot.press("q")
        app.simulate_key("l")
        await closed(app)
    assert stopped.wait(10)
    assert app.return_value == LEFT_OPEN


# trouble ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (
            AudioError("the microphone is gone", where="device 2", remedy="plug it in"),
            "TROUBLE device 2: the microphone is gone What to do: plug it in",
        ),
        (ZeroDivisionError("division by zero"), "TROUBLE voicelog itself failed: ZeroDivisionError"),
    ],
)
async def test_a_feed_that_fails_is_told_and_the_screen_stays(error: Exception, expected: str) -> None:
    """The trouble is in words, stays until Escape, the recorder is stopped, and typing works."""
    walker = Walker(walk_events())
    feed = HeldFeed(updates(walk_events()), error)
    app = walker.app(feed)
    async with app.run_test(size=(80, 24)) as pilot:
        feed.let_go()
        await _ended(pilot, app)
        assert expected in words(app)
        assert "STOPPED" in words(app)
        assert "pitman arm tight" in words(app)
        await pilot.press("slash", *"ok", "enter", "escape")
        await _asked(pilot, walker, 1)
        await until(pilot, lambda: "typed: ok" in words(app))
        assert expected in words(app)
        await pilot.press("escape")
        await pilot.pause()
        assert "TROUBLE" not in words(app)


async def test_a_feed_that_fails_at_once_is_told() -> None:
    """A device that cannot be opened is told although no update ever came."""
    feed = HeldFeed([], AudioError("the device cannot be opened", where="hw:7", remedy="choose another"))
    feed.let_go()
    async with Walker(walk_events()).app(feed).run_test(size=(80, 24)) as pilot:
        app = pilot.app
        assert isinstance(app, WalkApp)
        await until(
            pilot,
            lambda: "TROUBLE hw:7: the device cannot be opened What to do: choose another" in words(app),
        )


async def test_a_feed_that_ends_is_told() -> None:
    """At the end of a recording the screen says so and stays usable."""
    feed = HeldFeed(updates(walk_events()))
    feed.let_go()
    app = Walker(walk_events()).app(feed)
    async with app.run_test(size=(80, 24)) as pilot:
        await _ended(pilot, app)
        assert "The sound has ended." in words(app)
        assert "STOPPED" in words(app)


async def test_a_typed_line_that_fails_is_told_and_the_next_one_works() -> None:
    """One failure of the keyboard's way does not end it."""
    walker = Walker(walk_events())
    right = walker.on_typed

    def once(text: str) -> Update:
        if not walker.commands:
            walker.commands.append("failed")
            raise AudioError("the record cannot be written", remedy="make room")
        return right(text)

    walker.on_typed = once  # type: ignore[method-assign]
    async with walking(updates(walk_events()), walker=walker) as (pilot, app, _feed, _walker):
        await pilot.press("slash", "a", "enter", "b", "enter")
        await _asked(pilot, walker, 2)
        await until(pilot, lambda: "typed: b" in words(app))
        assert "TROUBLE the record cannot be written What to do: make room" in words(app)


# text from outside --------------------------------------------------------------------------


@pytest.mark.parametrize("far", [False, True])
async def test_markup_and_escapes_in_names_are_plain_text(far: bool) -> None:
    """A name cannot colour the screen, nor make a key of its own, nor reach the terminal."""
    events = [started(operator="[red]x[/red] [@click=app.bell]y[/]", unit="\x1b[31mE61\x1b]0;t\x07[/b]")]
    update = last_update(events, Reply("doubt", "[b]left[/b]\x1b[2J or [/right]?"))
    said = replace(update, heard=Heard(text="[link=x]dry\x1b[0m[/link]"))
    async with walking([said], size=(100, 30)) as (pilot, app, _feed, _walker):
        assert "\x1b" not in seen(app)
        if far:
            await pilot.press("f", "d")
            await pilot.pause()
            assert "\x1b" not in seen(app)
            return
        text = words(app)
        assert "[red]x[/red] [@click=app.bell]y[/]" in text
        assert "[b]left[/b] or [/right]?" in text
        assert '"[link=x]dry[/link]"' in text
        assert "E61" in text and "[31m" not in text


async def test_markup_in_a_sheet_and_an_error_is_plain_text() -> None:
    """Brackets in an error's words are shown as they are, in the bar and from afar."""
    feed = HeldFeed(updates(walk_events()), AudioError("no [blue]device[/] here", remedy="see [1]"))
    feed.let_go()
    app = Walker(walk_events()).app(feed)
    async with app.run_test(size=(80, 24)) as pilot:
        await _ended(pilot, app)
        assert "no [blue]device[/] here What to do: see [1]" in words(app)
        await pilot.press("f")
        await pilot.pause()


async def test_the_picture_is_the_same_every_time() -> None:
    """The picture for the documentation depends on its events alone, and opens as SVG."""
    events: list[Any] = walk_events()
    one = await picture(events, (100, 30))
    assert one == await picture(events, (100, 30))
    assert one.startswith("<svg") and "LEFT&#160;FRONT" in one and "<circle" not in one
    assert "url(http" not in one and "@font-face" not in one


async def test_standing_by_is_seen_from_the_state_alone() -> None:
    """A walk taken up while standing by shows it, whatever the ear says."""
    events = [*walk_events(), CommandHeard(command="stand by", heard=Heard(text="stand by"))]
    async with walking(updates(events)) as (_, app, _feed, _walker):
        assert "STANDING BY" in words(app)
        assert "s resume" in words(app)


async def test_what_was_logged_last_stays_in_sight() -> None:
    """After a change of stop the last entry that counts is still shown; what was taken back is not."""
    moved = [*walk_events(), StopEntered(stop_id="left_middle")]
    async with walking(updates(moved)) as (_, app, _feed, _walker):
        assert "logged 07:04:59 pitman arm tight" in words(app)
    taken_back = EntryWithdrawn(entry_id="12", by="J. Okafor", reason="disregard")
    async with walking(updates([*walk_events(), taken_back])) as (_, app, _feed, _walker):
        assert "brake hose okay TAKEN" in words(app)
