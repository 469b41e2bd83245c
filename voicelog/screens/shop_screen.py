"""The shop's screen: the queue of all units, and what is done with the chosen defect.

Every act is one event of the defect's history, decided by :mod:`voicelog.defects.acts`. Works at 80
by 24 by keyboard alone.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import ClassVar

from textual.app import App
from textual.binding import Binding, BindingType

from voicelog.defects import acts
from voicelog.defects.book import Defect
from voicelog.defects.events import OfADefect, Role
from voicelog.defects.wording import happened, title
from voicelog.errors import DefectError, VoicelogError
from voicelog.records.history import PointHistory
from voicelog.records.store import Store
from voicelog.screens.agenda_screen import Player
from voicelog.screens.outside_text import visible
from voicelog.screens.palette import SKY_BLUE, VERMILLION
from voicelog.screens.review_style import CSS
from voicelog.screens.shop_forms import HELP, ActForm, Field
from voicelog.screens.shop_view import ShopView

WriteOrder = Callable[[Defect, PointHistory], Path]
"""Writes a defect's work order and returns its page; raises VoicelogError when it cannot."""

KEYS = (
    ("space", "play"),
    ("n", "note"),
    ("c", "confirm"),
    ("d", "defer"),
    ("s", "send"),
    ("r", "repaired"),
    ("x", "not needed"),
    ("y", "certify"),
    ("o", "open again"),
    ("w", "work order"),
    ("?", "help"),
    ("q", "quit"),
)


class ShopScreen(ShopView):
    """What is done with the chosen defect."""

    KEYS = KEYS
    HELP_TEXT = HELP
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("n", "note", "note"),
        Binding("c", "confirm", "confirm"),
        Binding("d", "defer", "defer"),
        Binding("s", "send", "send"),
        Binding("r", "repair", "repair"),
        Binding("x", "not_needed", "not needed"),
        Binding("y", "certify", "certify"),
        Binding("o", "reopen", "reopen"),
        Binding("w", "order", "work order"),
    ]

    def __init__(
        self, store: Store, player: Player | None, clock: Callable[[], datetime], write_order: WriteOrder
    ) -> None:
        """Take an open store."""
        super().__init__(store, player, clock)
        self._write_order = write_order

    # what is done ---------------------------------------------------------------------------

    def _ask(
        self,
        words: str,
        role: Role,
        fields: tuple[Field, ...],
        act: Callable[[Defect, dict[str, str]], OfADefect],
    ) -> None:
        """Ask for what an act needs, then do it; ``words`` say what it is, without the role."""
        defect = self._defect
        if defect is None:
            self.say("No defect is chosen.")
            return
        defect_id = defect.defect_id

        def attempt(given: dict[str, str]) -> None:
            signer = self._store.people.unlock(given["name"], given["pin"]) if "pin" in given else None
            done = self._store.defects.do(defect_id, lambda d: act(d, given), signer=signer)
            self._by[role] = given["name"]
            if self._read():
                self.say(f"{title(done)}: {happened(done.history[-1][1])}.")

        name = Field("name", "your name", self._by.get(role, ""))
        # Last, so that it is typed with the rest of the form before one's eyes.
        pin = (Field("pin", "your PIN", secret=True),) if self._store.people.now() else ()
        heading = f"{words}, as {role}: {visible(title(defect))}"
        self.app.push_screen(ActForm(heading, (name, *fields, *pin), attempt))

    def action_confirm(self) -> None:
        """Confirm, as the officer, that it is a defect."""
        reason = Field("reason", "may be left empty")
        self._ask(
            "Confirm",
            "officer",
            (reason,),
            lambda d, g: acts.confirm(d, by=g["name"], role="officer", reason=g["reason"]),
        )

    def action_defer(self) -> None:
        """Defer it to a day, as the officer."""
        self._ask(
            "Defer",
            "officer",
            (Field("until", "the day, as year-month-day"), Field("reason", "why it can wait")),
            lambda d, g: acts.defer(
                d,
                until=_day(g["until"]),
                today=self._clock().date(),
                by=g["name"],
                role="officer",
                reason=g["reason"],
            ),
        )

    def action_send(self) -> None:
        """Send it to the shop."""
        self._ask(
            "Send to the shop",
            "officer",
            (Field("reason", "what the shop should know; may be left empty"),),
            lambda d, g: acts.send(d, by=g["name"], role="officer", reason=g["reason"]),
        )

    def action_repair(self) -> None:
        """Write the work record of a repair."""
        self._ask(
            "Repaired",
            "mechanic",
            (
                Field("findings", "what was found, and what was done"),
                Field("parts", "2 x hose clamp # 40-117; next part"),
                Field("minutes", "time worked"),
            ),
            lambda d, g: acts.repair(
                d,
                by=g["name"],
                role="mechanic",
                findings=g["findings"],
                parts=tuple(acts.part(text) for text in g["parts"].split(";") if text.strip()),
                minutes=_minutes(g["minutes"]),
            ),
        )

    def action_not_needed(self) -> None:
        """Record that it was looked at and needs no repair."""
        self._ask(
            "No repair needed",
            "mechanic",
            (
                Field("findings", "what was looked at, and why nothing is needed"),
                Field("minutes", "time worked"),
            ),
            lambda d, g: acts.need_no_repair(
                d, by=g["name"], role="mechanic", findings=g["findings"], minutes=_minutes(g["minutes"])
            ),
        )

    def action_certify(self) -> None:
        """Certify that it was repaired, or that no repair is needed."""
        self._ask(
            "Certify",
            "mechanic",
            (Field("reason", "what it rests on; may be left empty"),),
            lambda d, g: acts.certify(d, by=g["name"], role="mechanic", reason=g["reason"]),
        )

    def action_reopen(self) -> None:
        """Open again what was repaired, or needed no repair."""
        self._ask(
            "Open again",
            "officer",
            (Field("reason", "what is wrong with the repair"),),
            lambda d, g: acts.reopen(d, by=g["name"], role="officer", reason=g["reason"]),
        )

    def action_order(self) -> None:
        """Write the work order."""
        if self._defect is None:
            self.say("No defect is chosen.")
            return
        try:
            page = self._write_order(self._defect, self._history)
        except VoicelogError as error:
            self.say(f"{error.what} {error.remedy}")
        else:
            self.say(f"Work order: {page.resolve()}, and the same as text beside it.")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise DefectError(
            f"'{text}' is not a day", remedy="write it as year-month-day, such as 2026-12-04"
        ) from error


def _minutes(text: str) -> int:
    if not text.strip():
        return 0
    try:
        return int(text)
    except ValueError as error:
        raise DefectError(f"'{text}' is not a number of minutes", remedy="give whole minutes") from error


class ShopApp(App[None]):
    """The shop over one record. ``player`` plays a clip's FLAC bytes; None where there is no output."""

    CSS = (
        CSS + f"#readings {{ height: 2; margin-bottom: 1; }} #agenda {{ width: 48%; }}\n"
        f"#readings > .sparkline--max-color {{ color: {VERMILLION}; }}\n"
        f"#readings > .sparkline--min-color {{ color: {SKY_BLUE}; }}"
    )
    ENABLE_COMMAND_PALETTE = False
    TITLE = "voicelog shop"

    def __init__(
        self,
        store: Store,
        player: Player | None = None,
        *,
        clock: Callable[[], datetime],
        write_order: WriteOrder,
    ) -> None:
        """Take an open store."""
        super().__init__()
        self._screen = ShopScreen(store, player, clock, write_order)

    def on_mount(self) -> None:
        """Show the queue."""
        self.push_screen(self._screen)
