"""The forms of the shop's screen: a few lines to fill in, and what is refused with what to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Input, Label, Static

from voicelog.errors import VoicelogError
from voicelog.screens.review_forms import Form, refusal

HELP = """\
Up, Down     go through the queue: worst class first, then the oldest
PgUp, PgDn   move through the defect on the right
Space        play the defect as it was said
n            play the note that was dictated about the point
c            confirm, as officer
d            defer to a day, as officer, with the reason
s            send to the shop, as officer
r            repaired, as mechanic: findings, parts, time
x            no repair needed, as mechanic, with why
y            certify, as mechanic: repaired, or no repair needed
o            open again what was repaired
w            write the work order: a page with its sound, and text
q            quit: everything done is in the record already

A point said to be sound does not close its defect. A certified repair
is read to the next operator, and the point is asked for again.
Nothing is ever erased."""


@dataclass(frozen=True, slots=True)
class Field:
    """One line of a form."""

    name: str
    hint: str
    value: str = ""
    secret: bool = False


class ActForm(Form):
    """Asks for what an act needs; Enter goes on to the next line, and from the last does the act."""

    def __init__(
        self, words: str, fields: tuple[Field, ...], attempt: Callable[[dict[str, str]], None]
    ) -> None:
        """Take what is to be done; ``attempt`` raises VoicelogError when it is not allowed."""
        super().__init__()
        self._words, self._fields, self._attempt = words, fields, attempt

    def compose(self) -> ComposeResult:
        """Lay the form out."""
        with Vertical(classes="form"):
            yield Static(Text(self._words), classes="title")
            for field in self._fields:
                line = Input(
                    value=field.value,
                    placeholder=field.hint,
                    id=field.name,
                    compact=True,
                    select_on_focus=False,
                    password=field.secret,
                )
                yield Horizontal(Label(field.name, classes="name"), line, classes="field")
            yield Static("", id="wrong")
            yield Static("Enter goes on   Escape leaves without a change", classes="hint")

    def on_mount(self) -> None:
        """Begin with the first line that is empty."""
        empty = next((f.name for f in self._fields if not f.value), self._fields[-1].name)
        self.query_one(f"#{empty}", Input).focus()

    @on(Input.Submitted)
    def _next(self, event: Input.Submitted) -> None:
        if event.input.id != self._fields[-1].name:
            self.focus_next()
            return
        try:
            self._attempt({line.id or "": line.value for line in self.query(Input)})
        except VoicelogError as error:
            self.say(refusal(error))
            for field in self._fields:
                if field.secret:
                    self.query_one(f"#{field.name}", Input).value = ""
        else:
            self.dismiss(True)
