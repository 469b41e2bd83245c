"""The operator's walk as a screen: a pure view of updates.

Invariant: the screen decides nothing and touches no record. Sound is heard in a thread that posts
updates; typed lines and keys are handed over one at a time, off the screen's own thread; whatever
fails is shown in words and the screen stays usable.
"""

from __future__ import annotations

import asyncio
import functools
import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import ClassVar

from textual import on
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.message import Message
from textual.reactive import reactive
from textual.widgets import ContentSwitcher, Footer, Input

from voicelog.screens import palette, reading_texts
from voicelog.screens.far_view import FarView
from voicelog.screens.review_people import PersonForm
from voicelog.screens.review_style import FORMS
from voicelog.screens.shown import Shown, after
from voicelog.screens.walk_facts import Trouble, trouble
from voicelog.screens.widgets.bottom import LastPanel, ReplyPanel
from voicelog.screens.widgets.part import Part
from voicelog.screens.widgets.points import PointList
from voicelog.screens.widgets.sheets_over import Ending, EndQuestion, ReadingPanel
from voicelog.screens.widgets.side import SidePanel
from voicelog.screens.widgets.top import CautionBar, RecorderBar, StopStrip, TitleBar
from voicelog.walk.carried import waiting
from voicelog.walk.replies import Update

Post = Callable[[Update], None]
Feed = Callable[[Post], None]

_WIDTHS = [(0, "-narrow"), (100, "-middle"), (130, "-wide")]
"""Least width in columns, and the class that the layout goes by."""

FINISHED = 0
LEFT_OPEN = 1

_LOG = logging.getLogger(__name__)


class FeedStopped(Exception):
    """Raised in the feed by its post function once the screen has closed: stop listening."""


class WalkApp(App[int]):
    """The walk screen.

    ``feed`` is run in a thread: it calls the function it is given with each update and returns
    when the source is exhausted. ``on_typed`` and ``on_command`` are called in another thread, one
    call at a time; a command is the name of a control word ("next stop", "previous stop",
    "stand by", "resume", "walk complete"). What they share with the feed is theirs to guard.
    ``on_hand_over`` is called with the name and the PIN of who takes the walk over, ``pins`` tells
    whether a PIN is needed. ``clock`` gives the time of day to show; without it, the time of the last
    event is shown. With ``keyboard`` there is no sound to wait for.

    Returns :data:`FINISHED` or :data:`LEFT_OPEN`.
    """

    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = None
    HORIZONTAL_BREAKPOINTS = _WIDTHS

    CSS = f"""
    Screen {{ background: {palette.GROUND}; color: {palette.TEXT}; }}
    #near, #far, #views {{ height: 1fr; }}
    #middle {{ height: 1fr; }}
    .-middle SidePanel {{ width: 38; }}
    .-wide SidePanel {{ width: 50; }}
    VerticalScroll {{
        scrollbar-color: {palette.QUIET}; scrollbar-background: {palette.RAISED};
        scrollbar-color-hover: {palette.QUIET}; scrollbar-background-hover: {palette.RAISED};
    }}
    #line {{
        display: none; height: 1; border: none; padding: 0 1;
        background: {palette.TEXT}; color: {palette.GROUND};
    }}
    #line.-open {{ display: block; }}
    #line > .input--placeholder {{ color: {palette.GROUND} 70%; }}
    #line > .input--cursor {{ background: {palette.GROUND}; color: {palette.TEXT}; }}
    Footer {{ background: {palette.RAISED}; color: {palette.TEXT}; }}
    FooterKey {{ background: {palette.RAISED}; color: {palette.TEXT}; }}
    FooterKey .footer-key--key {{ background: {palette.RAISED}; color: {palette.SKY_BLUE}; }}
    FooterKey .footer-key--description {{ color: {palette.TEXT}; }}
    {FORMS}
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("n", "walk('next stop')", "next"),
        Binding("p", "walk('previous stop')", "back"),
        Binding("a", "walk('affirmative')", "affirm"),
        Binding("slash,enter", "open_line", "type", key_display="/"),
        Binding("f", "far", "far"),
        Binding("c", "cautions", "cautions"),
        Binding("d", "doubts", "doubts"),
        Binding("s", "walk('stand by')", "stand by"),
        Binding("s", "stand_by", show=False),
        Binding("s", "walk('resume')", "resume"),
        Binding("o", "hand_over", "person"),
        Binding("q", "end", "end"),
        Binding("question_mark", "help_here", "help", key_display="?"),
        Binding("escape", "close_line", "close the line", key_display="Esc"),
        Binding("escape", "put_away", show=False),
        Binding("ctrl+q", "end", show=False, priority=True),
        Binding("up", "scroll(-1)", show=False),
        Binding("down", "scroll(1)", show=False),
        Binding("pageup", "scroll(-8)", show=False),
        Binding("pagedown", "scroll(8)", show=False),
    ]

    shown: reactive[Shown | None] = reactive(None)

    class Updated(Message):
        """Something happened in the walk."""

        def __init__(self, update: Update) -> None:
            super().__init__()
            self.update = update

    class Troubled(Message):
        """Something failed outside the screen."""

        def __init__(self, met: Trouble) -> None:
            super().__init__()
            self.met = met

    class FeedEnded(Message):
        """No more sound will come."""

    def __init__(
        self,
        feed: Feed,
        *,
        on_typed: Callable[[str], Update],
        on_command: Callable[[str], Update],
        on_hand_over: Callable[[str, str], Update] | None = None,
        pins: Callable[[], bool] = lambda: False,
        title: str,
        clock: Callable[[], datetime] | None = None,
        keyboard: bool = False,
    ) -> None:
        super().__init__()
        self.title = title
        self._feed = feed
        self._on_typed = on_typed
        self._on_command = on_command
        self._on_hand_over, self._pins = on_hand_over, pins
        self._clock, self._keyboard = clock, keyboard
        self._pending: asyncio.Queue[Callable[[], Update]] = asyncio.Queue()
        self._over = False
        self._ending = False
        self._trouble: Trouble | None = None
        self._title_bar = TitleBar()
        self._recorder_bar = RecorderBar()
        self._reply_panel = ReplyPanel()
        self._others: tuple[Part | PointList, ...] = (
            CautionBar(),
            StopStrip(),
            PointList(),
            SidePanel(),
            LastPanel(),
            FarView(id="far"),
        )

    def compose(self) -> ComposeResult:
        """Lay out the screen."""
        cautions, stops, points, side, last, far = self._others
        with ContentSwitcher(id="views", initial="near"):
            with Vertical(id="near"):
                yield self._title_bar
                yield self._recorder_bar
                yield cautions
                yield stops
                with Horizontal(id="middle"):
                    yield points
                    yield side
                yield last
                yield self._reply_panel
            yield far
        yield Input(placeholder="Type what you would say, then Enter. Esc closes.", id="line")
        yield Footer(compact=True, show_command_palette=False)

    def on_ready(self) -> None:
        """Start to listen, and to hand over what is typed, once every part is there."""
        self.run_worker(self._listen, thread=True, exit_on_error=False, group="feed")
        self.run_worker(self._hand_over(), exit_on_error=False, group="keyboard")
        if self._clock is not None:
            self.set_interval(1.0, self._tick)

    # what comes in ----------------------------------------------------------------------------

    def _listen(self) -> None:
        """Run the feed in its thread; every way it can end is told to the screen."""
        try:
            self._feed(self._post)
        except FeedStopped:
            return
        except Exception as error:
            _LOG.error("the feed failed", exc_info=error)
            self.post_message(self.Troubled(trouble(error)))
        self.post_message(self.FeedEnded())

    def _post(self, update: Update) -> None:
        # A message that is refused means that the screen is closing.
        if self._over or not self.post_message(self.Updated(update)):
            raise FeedStopped

    async def _hand_over(self) -> None:
        """Call for what was typed and pressed, one call at a time and in order."""
        while True:
            call = await self._pending.get()
            try:
                self.post_message(self.Updated(await asyncio.to_thread(call)))
            except Exception as error:
                _LOG.error("a typed line or a key failed", exc_info=error)
                self._ending = False
                self.post_message(self.Troubled(trouble(error)))

    def _tick(self) -> None:
        if self._clock is not None and self.shown is not None:
            self.shown = replace(self.shown, now=self._clock())

    @on(Updated)
    def _take(self, message: Updated) -> None:
        shown = after(self.shown, message.update)
        self.shown = replace(shown, trouble=self._trouble, keyboard=self._keyboard)
        if self._ending:
            # Only a walk that the record shows as finished ends the screen.
            self._ending = False
            if message.update.state.finished is not None:
                self._close(FINISHED)

    @on(Troubled)
    def _take_trouble(self, message: Troubled) -> None:
        self._trouble = message.met
        if self.shown is not None:
            self.shown = replace(self.shown, trouble=message.met)
        else:
            self._reply_panel.show_trouble(message.met)

    @on(FeedEnded)
    def _take_end(self) -> None:
        if self.shown is not None:
            self.shown = replace(self.shown, sound_over=True)
        elif self._trouble is None:
            nothing = Trouble("the sound ended before the walk had begun", remedy="leave with q and l")
            self._reply_panel.show_trouble(nothing)

    def watch_shown(self, old: Shown | None, shown: Shown | None) -> None:
        """Hand what is shown to every part that it concerns."""
        if shown is None:
            return
        self._recorder_bar.show(shown)
        self._title_bar.show(shown)
        if old is not None and _only_level_and_time(old, shown):
            # Levels come many times a second: the rest need not be drawn again for them.
            return
        self._reply_panel.show(shown)
        for part in self._others:
            part.show(shown)
        if self.screen_stack and isinstance(self.screen, ReadingPanel):
            self.screen.show(shown)
        if old is None or _keys_of(old) != _keys_of(shown):
            self.refresh_bindings()

    # keys -------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer "resume" only while standing by, and "stand by" only while not.

        While "affirm" is offered, "stand by" is a key without a label: eighty columns have no room for both.
        """
        standing_by = self.shown is not None and self.shown.state.standing_by
        asked = self.shown is not None and _asked_to_affirm(self.shown)
        if action == "walk" and parameters == ("affirmative",):
            return asked
        if action == "walk" and parameters == ("stand by",):
            return not standing_by and not asked
        if action == "stand_by":
            return asked
        if action in ("open_line", "close_line", "put_away"):
            return self._line_is_open == (action == "close_line")
        if action == "walk" and parameters == ("resume",):
            return standing_by
        return True

    def action_walk(self, command: str) -> None:
        """Hand over a control word."""
        self._pending.put_nowait(functools.partial(self._on_command, command))

    def action_stand_by(self) -> None:
        """Stand by, from the key that has no label."""
        self.action_walk("stand by")

    def action_hand_over(self) -> None:
        """Stand by, and ask who takes the walk over."""
        take = self._on_hand_over
        if take is None:
            return

        def attempt(name: str, pin: str) -> None:
            self.post_message(self.Updated(take(name, pin)))

        self.action_walk("hand over")
        self.push_screen(PersonForm("", attempt, pins=self._pins()))

    def action_open_line(self) -> None:
        """Open the line for typing."""
        line = self.query_one("#line", Input)
        line.add_class("-open")
        line.focus()
        self.refresh_bindings()

    @on(Input.Submitted, "#line")
    def _typed(self, message: Input.Submitted) -> None:
        text = message.value.strip()
        if not text:
            self._close_line()
            return
        message.input.clear()
        self._pending.put_nowait(functools.partial(self._on_typed, text))

    def _close_line(self) -> None:
        line = self.query_one("#line", Input)
        line.clear()
        line.remove_class("-open")
        self.set_focus(None)
        self.refresh_bindings()

    @property
    def _line_is_open(self) -> bool:
        return any(line.has_class("-open") for line in self.query("#line"))

    def action_close_line(self) -> None:
        """Close the line for typing."""
        self._close_line()

    def action_put_away(self) -> None:
        """Put a trouble away."""
        self._trouble = None
        if self.shown is not None:
            self.shown = replace(self.shown, trouble=None)
        else:
            self._reply_panel.show_trouble(None)

    def action_far(self) -> None:
        """Change between the far view and the near one."""
        views = self.query_one(ContentSwitcher)
        views.current = "near" if views.current == "far" else "far"

    def action_scroll(self, rows: int) -> None:
        """Scroll the points."""
        self.query_one("#points-scroll").scroll_relative(y=rows, animate=False)

    def action_cautions(self) -> None:
        """Show the cautions in full."""
        self.push_screen(ReadingPanel("Cautions", reading_texts.cautions_text, self.shown))

    def action_doubts(self) -> None:
        """Show doubts and defects in full."""
        self.push_screen(ReadingPanel("Doubts and defects", reading_texts.doubts_text, self.shown))

    def action_help_here(self) -> None:
        """Show the keys and what can be said here."""
        self.push_screen(ReadingPanel("Keys and words", reading_texts.help_text, self.shown))

    def action_end(self) -> None:
        """Ask whether to finish the walk; a finished one is simply closed."""
        if self.shown is not None and self.shown.state.finished is not None:
            self._close(FINISHED)
        elif not isinstance(self.screen, EndQuestion):
            self.push_screen(EndQuestion(reading_texts.end_text(self.shown)), self._answered)

    def _answered(self, ending: Ending | None) -> None:
        if ending == "finish":
            self._ending = True
            self.action_walk("walk complete")
        elif ending == "leave":
            self._close(LEFT_OPEN)

    def _close(self, code: int) -> None:
        self._over = True
        self.exit(code)


def _keys_of(shown: Shown) -> tuple[bool, bool]:
    """Return what the keys that are offered depend on."""
    return shown.state.standing_by, _asked_to_affirm(shown)


def _asked_to_affirm(shown: Shown) -> bool:
    """Return whether "affirmative" answers what is asked: a caution, a defect that is read out, a group mark.

    Nothing is answered while the walk stands by.
    """
    state = shown.state
    asked = state.caution is not None or waiting(state) is not None or state.marks.asked is not None
    return asked and not state.standing_by


def _only_level_and_time(old: Shown, new: Shown) -> bool:
    """Return whether nothing has changed but the level, the ear and the clock."""
    return (
        new.state is old.state
        and new.update.partial == old.update.partial
        and int(new.update.test_s or 0) == int(old.update.test_s or 0)
        and new.recorder == old.recorder
        and replace(new, update=old.update, now=old.now) == old
    )
