"""In whose hands the review is: a person's name and PIN, where people are on record."""

from __future__ import annotations

from collections.abc import Callable

from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Input, Static

from voicelog.errors import VoicelogError
from voicelog.people.keys import Signer
from voicelog.records.store import Store
from voicelog.screens.review_forms import Form, field, refusal


class Hands:
    """Who has given their PIN at this screen. Without people on record nobody has to."""

    def __init__(self, store: Store, walk: str) -> None:
        """Nobody has given a PIN yet."""
        self._store, self._walk = store, walk
        self.signer: Signer | None = None

    @property
    def pins(self) -> bool:
        """Whether people are on record. Raises PersonError when their record was altered."""
        return bool(self._store.people.now())

    def take(self, name: str, pin: str) -> Signer:
        """Put the review in this person's hands; a change of person is on record. Raises PersonError."""
        before = self.signer.name if self.signer else ""
        signer = self._store.people.unlock(name, pin)
        if signer.name != before:
            self._store.people.hand_over(signer, before=before, walk=self._walk)
        self.signer = signer
        return signer


class PersonForm(Form):
    """Asks for a name and its PIN, which is not shown."""

    def __init__(self, name: str, attempt: Callable[[str, str], None], *, pins: bool = True) -> None:
        """Take the name that is likely; ``attempt`` raises VoicelogError when it is refused.

        Without ``pins`` nobody is on record, and a name is enough.
        """
        super().__init__()
        self._likely, self._attempt, self._pins = name, attempt, pins

    def compose(self) -> ComposeResult:
        """Lay the form out."""
        with Vertical(classes="form"):
            yield Static(Text("Who has this in hand now?"), classes="title")
            yield field("name", self._likely, "your name, as it is on record" if self._pins else "your name")
            if self._pins:
                yield field("pin", hint="your PIN", secret=True)
            yield Static("", id="wrong")
            yield Static("Enter goes on   Escape leaves without a change", classes="hint")

    def on_mount(self) -> None:
        """Start where something is missing."""
        self.query_one("#pin" if self._likely else "#name", Input).focus()

    @on(Input.Submitted, "#name")
    def _to_pin(self) -> None:
        if self._pins:
            self.query_one("#pin", Input).focus()
        else:
            self._done()

    @on(Input.Submitted, "#pin")
    def _done(self) -> None:
        pin = self.query_one("#pin", Input) if self._pins else None
        try:
            self._attempt(self.query_one("#name", Input).value, pin.value if pin else "")
        except VoicelogError as error:
            if pin:
                pin.value = ""
            self.say(refusal(error))
        else:
            self.dismiss(True)
