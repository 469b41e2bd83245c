"""What the shop's screen shows: the queue of all units, the chosen defect, its point's readings.

What is shown is read from the record again after each act. What is done with the chosen defect is
in :mod:`.shop_screen`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime

from rich.table import Table
from rich.text import Text
from textual import on
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import OptionList, Sparkline, Static
from textual.widgets.option_list import Option

from voicelog.defects.book import Defect
from voicelog.defects.events import Role
from voicelog.defects.wording import age
from voicelog.errors import VoicelogError
from voicelog.records.defects import Listed
from voicelog.records.history import PastEntry, PointHistory
from voicelog.records.store import Store
from voicelog.screens.agenda_screen import AgendaScreen, Player
from voicelog.screens.hanging import Hanging
from voicelog.screens.outside_text import shortened, visible
from voicelog.screens.palette import ORANGE, QUIET, VERMILLION, YELLOW
from voicelog.screens.shop_text import (
    clip_of_defect,
    clips_of_note,
    defect_lines,
    over_time,
    queue_state,
    readings_of,
)

NO_SOUND = "There is no sound of this: it was typed, or nothing was dictated."

MOST_OF_UNIT = 24
"""Characters of a unit's name in the queue; the details have all of it."""


class ShopView(AgendaScreen):
    """The queue and the chosen defect."""

    def __init__(self, store: Store, player: Player | None, clock: Callable[[], datetime]) -> None:
        """Take an open store."""
        super().__init__(store, player)
        self._clock = clock
        self._queue: tuple[Listed, ...] = ()
        self._defect: Defect | None = None
        self._history = PointHistory()
        self._by: dict[Role, str] = {}
        """Who last did something here, in each role."""

    def above_details(self) -> Iterator[Widget]:
        """Yield the chosen point's readings over time."""
        yield Static(id="over-time")
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
        summary += f", {lapsed} deferred past {'its' if lapsed == 1 else 'their'} day" if lapsed else ""
        self.query_one("#summary", Static).update(Text(summary))
        self._show()
        return True

    @on(OptionList.OptionHighlighted, "#agenda")
    def _show(self) -> None:
        """Show the chosen defect, with its point's readings over time."""
        listed = self._chosen
        readings: tuple[PastEntry, ...] = ()
        shown: Text | Table
        if listed is None:
            self._defect = None
            shown = Text("No defect is open.")
        else:
            self._defect = self._store.defects.book(listed.unit_id).defect(listed.defect_id)
            worst = self._defect.worst
            self._history = self._store.point_history(worst.unit_id, worst.sheet_id, worst.point_id)
            readings = readings_of(self._defect, self._history)
            shown = _details(self._defect, self._history, self._clock())
        about = over_time(readings)
        label, line = self.query_one("#over-time", Static), self.query_one("#readings", Sparkline)
        label.update(Text(about, QUIET))
        label.display = line.display = bool(about)
        line.data = [float(e.claim.value) for e in readings if e.claim.value is not None]
        self.query_one("#details", Static).update(shown)
        self.query_one("#right", VerticalScroll).scroll_home(animate=False)

    @property
    def _chosen(self) -> Listed | None:
        place = self.query_one("#agenda", OptionList).highlighted
        return self._queue[place] if place is not None and place < len(self._queue) else None

    # sound ----------------------------------------------------------------------------------

    def action_sound(self) -> None:
        """Play the defect's own sound."""
        clip = clip_of_defect(self._defect) if self._defect else None
        self.play((clip,) if clip else (), NO_SOUND)

    def action_note(self) -> None:
        """Play the note that was dictated about the point."""
        self.play(clips_of_note(self._defect, self._history) if self._defect else (), NO_SOUND)


def _row(listed: Listed, now: datetime) -> Hanging:
    """Return a defect as two lines of the queue: what and where, then class, age and state."""
    colour = VERMILLION if listed.rank >= 3 else ORANGE if listed.rank == 2 else YELLOW
    words = Text(visible(f"{listed.point} {listed.what}"))
    unit = shortened(visible(listed.unit_name), MOST_OF_UNIT)
    words.append(f"\n{unit}, {visible(listed.class_name) or 'no class'}, ", QUIET)
    words.append(f"{age(listed.heard_at, now)}, {queue_state(listed, now)}", QUIET)
    return Hanging(Text(f" {listed.rank}", style=f"bold {colour}"), words)


def _details(defect: Defect, history: PointHistory, now: datetime) -> Table:
    table = Table.grid(expand=True)
    table.add_column(width=12)
    table.add_column(ratio=1)
    for label, text in defect_lines(defect, history, now):
        style = f"bold {YELLOW}" if label == "but" else "bold" if label in ("defect", "state") else ""
        table.add_row(Text(label, QUIET), Text(text, style))
    return table
