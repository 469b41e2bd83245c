"""The shop's screen: the queue of all units on the left, the chosen defect on the right.

A view of the record: every act is one event of the defect's history, decided by
:mod:`voicelog.defects.acts`, and what is shown is read from the record again after it. Works at 80
by 24 by keyboard alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path
from typing import ClassVar

from rich.table import Table
from rich.text import Text
from textual import on
from textual.app import App
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import OptionList, Sparkline, Static
from textual.widgets.option_list import Option

from voicelog.defects import acts
from voicelog.defects.book import Defect
from voicelog.defects.events import OfADefect, Role
from voicelog.defects.wording import age, happened, title
from voicelog.errors import DefectError, VoicelogError
from voicelog.records.defects import Listed
from voicelog.records.history import PointHistory
from voicelog.records.store import Store
from voicelog.screens.agenda_screen import AgendaScreen, Player
from voicelog.screens.outside_text import visible
from voicelog.screens.palette import ORANGE, QUIET, SKY_BLUE, VERMILLION, YELLOW
from voicelog.screens.review_style import CSS
from voicelog.screens.shop_forms import HELP, ActForm, Field
from voicelog.screens.shop_text import clip_of_defect, clips_of_note, defect_lines, queue_state

WriteOrder = Callable[[Defect, PointHistory], Path]
"""Writes a defect's work order and returns its page; raises VoicelogError when it cannot."""

NO_SOUND = "There is no sound of this: it was typed, or nothing was dictated."
KEYS = "space play  n note  d defer  s send  r repair  y certify  ? help  q quit"


class ShopScreen(AgendaScreen):
    """The queue and the chosen defect."""

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
        super().__init__(store, player)
        self._clock, self._write_order = clock, write_order
        self._queue: tuple[Listed, ...] = ()
        self._defect: Defect | None = None
        self._history = PointHistory()
        self._by: dict[Role, str] = {}
        """Who last did something here, in each role."""

    def above_details(self) -> Iterator[Widget]:
        """Yield the chosen point's readings over time."""
        yield Sparkline(id="readings")

    def on_mount(self) -> None:
        """Read the queue."""
        self._read()
        self.query_one("#agenda", OptionList).focus()

    def _read(self) -> bool:
        """Show the queue as it is on record; stay at the chosen defect, or take the next."""
        try:
            queue = self._store.defects.queue()
        except VoicelogError as error:
            self.say(f"The record could not be read. {error.what} {error.remedy}")
            return False
        listed = self.query_one("#agenda", OptionList)
        before = listed.highlighted or 0
        chosen = self._queue[before].defect_id if before < len(self._queue) else ""
        self._queue = queue
        ids = [d.defect_id for d in queue]
        now = self._clock()
        listed.clear_options()
        listed.add_options(Option(_row(d, now), id=d.defect_id) for d in queue)
        if queue:
            listed.highlighted = ids.index(chosen) if chosen in ids else min(before, len(ids) - 1)
        units = len({d.unit_id for d in queue})
        lapsed = sum(d.lapsed(now.date()) for d in queue)
        self.query_one("#top", Static).update(Text("Shop: open defects, worst class first, then the oldest"))
        summary = f"{len(queue)} open on {units} {'unit' if units == 1 else 'units'}"
        summary += f", {lapsed} deferred past their day" if lapsed else ""
        self.query_one("#summary", Static).update(Text(summary))
        self._show()
        return True

    @on(OptionList.OptionHighlighted, "#agenda")
    def _show(self) -> None:
        """Show the chosen defect, with its point's readings over time."""
        listed = self._chosen
        line = self.query_one("#readings", Sparkline)
        shown: Text | Table
        if listed is None:
            self._defect, values = None, []
            shown = Text("No defect is open.")
        else:
            self._defect = self._store.defects.book(listed.unit_id).defect(listed.defect_id)
            worst = self._defect.worst
            self._history = self._store.point_history(worst.unit_id, worst.sheet_id, worst.point_id)
            past = self._history.readings(worst.matter.removeprefix("reading:"))
            values = [float(e.claim.value) for e in past if e.claim.value is not None]
            shown = _details(self._defect, self._history, self._clock())
        line.display = len(values) > 1
        line.data = values
        self.query_one("#details", Static).update(shown)
        self.query_one("#right", VerticalScroll).scroll_home(animate=False)

    @property
    def _chosen(self) -> Listed | None:
        place = self.query_one("#agenda", OptionList).highlighted
        return self._queue[place] if place is not None and place < len(self._queue) else None

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

    # sound ----------------------------------------------------------------------------------

    def action_sound(self) -> None:
        """Play the defect's own sound."""
        clip = clip_of_defect(self._defect) if self._defect else None
        self.play((clip,) if clip else (), NO_SOUND)

    def action_note(self) -> None:
        """Play the note that was dictated about the point."""
        self.play(clips_of_note(self._defect, self._history) if self._defect else (), NO_SOUND)


def _row(listed: Listed, now: datetime) -> Table:
    """Return a defect as two lines of the queue: what and where, then class, age and state."""
    colour = VERMILLION if listed.rank >= 3 else ORANGE if listed.rank == 2 else YELLOW
    table = Table.grid(expand=True)
    table.add_column(width=3)
    table.add_column(ratio=1)
    words = Text(visible(f"{listed.point} {listed.what}"))
    words.append(f"\n{visible(listed.unit_name)}, {visible(listed.class_name) or 'no class'}, ", QUIET)
    words.append(f"{age(listed.heard_at, now)}, {queue_state(listed, now)}", QUIET)
    table.add_row(Text(f" {listed.rank}", style=f"bold {colour}"), words)
    return table


def _details(defect: Defect, history: PointHistory, now: datetime) -> Table:
    table = Table.grid(expand=True)
    table.add_column(width=12)
    table.add_column(ratio=1)
    for label, text in defect_lines(defect, history, now):
        style = f"bold {YELLOW}" if label == "but" else "bold" if label in ("defect", "state") else ""
        table.add_row(Text(label, QUIET), Text(text, style))
    return table


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
