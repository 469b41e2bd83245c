"""What opens over the walk: cautions, doubts and defects, help, and the question before the end."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, Literal

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from voicelog.screens import palette
from voicelog.screens.shown import Shown

_BOX = f"""
    align: center middle;
    background: {palette.GROUND} 70%;
"""


class ReadingPanel(ModalScreen[None]):
    """Text to read, drawn anew while it is open; Escape or the key that opened it closes it."""

    DEFAULT_CSS = f"""
    ReadingPanel {{ {_BOX} }}
    ReadingPanel > Vertical {{
        width: 76; max-width: 96%; height: auto; max-height: 92%;
        background: {palette.RAISED}; border: solid {palette.QUIET}; padding: 0 1;
        border-title-color: {palette.TEXT}; border-title-style: bold;
        border-subtitle-color: {palette.QUIET};
    }}
    ReadingPanel VerticalScroll {{ height: auto; max-height: 100%; scrollbar-size: 1 1; }}
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,q,enter,c,d,question_mark", "close", "close"),
        Binding("up", "scroll(-1)", show=False),
        Binding("down", "scroll(1)", show=False),
        Binding("pageup", "scroll(-10)", show=False),
        Binding("pagedown,space", "scroll(10)", show=False),
    ]

    def __init__(self, title: str, text: Callable[[Shown | None], Text], shown: Shown | None) -> None:
        super().__init__()
        self._title = title
        self._text = text
        self._shown = shown

    def compose(self) -> ComposeResult:
        """Lay out the panel."""
        with Vertical() as box, VerticalScroll(can_focus=False):
            box.border_title = Text(self._title).markup
            box.border_subtitle = "arrows scroll, Esc closes"
            yield Static(self._text(self._shown))

    def show(self, shown: Shown) -> None:
        """Draw the text anew; before the panel is laid out, it is what will be drawn first."""
        self._shown = shown
        for static in self.query(Static):
            static.update(self._text(shown))

    def action_scroll(self, rows: int) -> None:
        """Scroll by rows."""
        self.query_one(VerticalScroll).scroll_relative(y=rows, animate=False)

    def action_close(self) -> None:
        """Close the panel."""
        self.dismiss(None)


Ending = Literal["finish", "leave", "go on"]


class EndQuestion(ModalScreen[Ending]):
    """Asks before the walk is finished or left; says what is still open."""

    DEFAULT_CSS = f"""
    EndQuestion {{ {_BOX} }}
    EndQuestion > Static {{
        width: 70; max-width: 96%; height: auto; max-height: 92%;
        background: {palette.RAISED}; border: heavy {palette.ORANGE}; padding: 1 2;
    }}
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer('finish')", "finish the walk"),
        Binding("l", "answer('leave')", "leave it open"),
        Binding("escape,n", "answer('go on')", "go on"),
    ]

    def __init__(self, question: Text) -> None:
        super().__init__()
        self._question = question

    def compose(self) -> ComposeResult:
        """Lay out the question."""
        yield Static(self._question)

    def action_answer(self, ending: Ending) -> None:
        """Close with the answer."""
        self.dismiss(ending)
