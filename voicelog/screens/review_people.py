"""In whose hands the review is: a person's name and PIN, where people are on record."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Input, Static

from voicelog.errors import VoicelogError
from voicelog.people.keys import Signer
from voicelog.records.store import Store
from voicelog.screens.review_forms import Form, field, refusal

IDLE = timedelta(minutes=10)
"""How long after the last thing done a PIN still counts; common practice, no published source."""


class Hands:
    """Who has given their PIN at this screen. Without people on record nobody has to.

    A screen that was left alone is in nobody's hands: the PIN is asked again.
    """

    def __init__(self, store: Store, walk: str, clock: Callable[[], datetime]) -> None:
        """Nobody has given a PIN yet; ``clock`` gives the time now."""
        self._store, self._walk, self._clock = store, walk, clock
        self._signer: Signer | None = None
        self._used = clock()

    @property
    def signer(self) -> Signer | None:
        """Who has the review in hand; None once nothing was done for :data:`IDLE`."""
        now = self._clock()
        if not timedelta(0) <= now - self._used <= IDLE:
            self._signer = None
        self._used = now
        return self._signer

    @property
    def pins(self) -> bool:
        """Whether people are on record. Raises PersonError when their record was altered."""
        return bool(self._store.people.now())

    def take(self, name: str, pin: str) -> Signer:
        """Put the review in this person's hands; a change of person is on record. Raises PersonError."""
        holder = self.signer
        before = holder.name if holder else ""
        signer = self._store.people.unlock(name, pin)
        if signer.name != before:
            self._store.people.hand_over(signer, before=before, walk=self._walk)
        self._signer, self._used = signer, self._clock()
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
