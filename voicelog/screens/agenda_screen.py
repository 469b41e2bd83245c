"""What the officer's and the shop's screens share: a list, what is chosen of it, and its sound.

The list is on the left and the details are on the right. Works at 80 by 24 by keyboard alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widget import Widget
from textual.widgets import OptionList, Static

from voicelog.errors import VoicelogError
from voicelog.records.clip_files import where_kept
from voicelog.records.clips import joined
from voicelog.records.store import Store
from voicelog.screens.outside_text import visible
from voicelog.screens.widgets.key_line import Key, KeyLine

Player = Callable[[bytes], None]
"""Plays a FLAC file and returns when it has been played; raises AudioError when it cannot."""


class HelpPage(ModalScreen[None]):
    """What the keys and the signs mean."""

    def __init__(self, text: str) -> None:
        """Take the page."""
        super().__init__()
        self._text = text

    def compose(self) -> ComposeResult:
        """Lay the page out."""
        page = Static(Text(self._text), classes="form")
        # On the border, which stays in sight on the smallest screen.
        page.border_subtitle = "Any key closes this page"
        yield page

    def on_key(self) -> None:
        """Close on any key."""
        self.dismiss()


class AgendaScreen(Screen[None]):
    """A list to go through; the screens made of it say what is in it and what the keys do."""

    KEYS: ClassVar[tuple[Key, ...]] = ()
    """The keys at the bottom, every one that does something here."""
    HELP_TEXT: ClassVar[str] = ""
    TOP: ClassVar[tuple[str, ...]] = ("top", "summary")
    """The ids of the lines above the list."""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "sound", "sound", priority=True),
        Binding("pageup", "details(-1)", priority=True, show=False),
        Binding("pagedown", "details(1)", priority=True, show=False),
        Binding("question_mark", "help", "help"),
        Binding("q", "app.quit", "quit"),
    ]

    def __init__(self, store: Store, player: Player | None) -> None:
        """Take an open store, and what plays its sound; None where there is no output."""
        super().__init__()
        self._store, self._player = store, player

    def compose(self) -> ComposeResult:
        """Lay the screen out."""
        for line in self.TOP:
            yield Static(id=line)
        with Horizontal(id="both"):
            yield OptionList(id="agenda", compact=True)
            with VerticalScroll(id="right", can_focus=False):
                yield from self.above_details()
                yield Static(id="details")
        yield Static(id="said")
        yield KeyLine(self.KEYS, id="keys")

    def above_details(self) -> Iterator[Widget]:
        """Yield what stands above the details."""
        return iter(())

    def say(self, text: str) -> None:
        """Show the outcome of the last act."""
        self.query_one("#said", Static).update(Text(visible(text)))

    def play(self, clips: tuple[str, ...], none: str) -> None:
        """Play clips, one after the other; say ``none`` where there are none."""
        if not clips:
            self.say(none)
        elif self._player is None:
            self.say(f"No sound output here. {where_kept(self._store.folder, clips)}")
        else:
            self.say("Playing.")
            self.run_worker(lambda: self._sounded(clips), thread=True, group="sound", exclusive=True)

    def _sounded(self, clips: tuple[str, ...]) -> None:
        assert self._player is not None
        try:
            self._player(joined([self._store.clip(clip) for clip in clips]))
        except VoicelogError as error:
            self.app.call_from_thread(self.say, f"{error.what} {error.remedy}")
        else:
            self.app.call_from_thread(self.say, "Played.")

    def action_details(self, pages: int) -> None:
        """Move through the details."""
        right = self.query_one("#right", VerticalScroll)
        right.scroll_relative(y=pages * max(right.size.height - 1, 1), animate=False)

    def action_help(self) -> None:
        """Show what the keys mean."""
        self.app.push_screen(HelpPage(self.HELP_TEXT))
