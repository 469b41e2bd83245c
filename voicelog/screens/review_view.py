"""What the officer's screen shows: the record, folded again after each act.

Invariant: what is shown is always the stored events folded, and every act is one event that is
appended to the store at once. What an officer does with it is in :mod:`.review_screen`.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from datetime import datetime
from typing import ClassVar

from rich.text import Text
from textual import on
from textual.containers import VerticalScroll
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from voicelog.errors import VoicelogError
from voicelog.later_transcripts import LaterTranscripts
from voicelog.records.store import Store
from voicelog.screens.agenda_screen import AgendaScreen, Player
from voicelog.screens.outside_text import visible
from voicelog.screens.review_people import Hands
from voicelog.screens.review_text import (
    Before,
    details,
    heading,
    labelled,
    overdue_words,
    row,
    signatures,
    summary,
    top_line,
)
from voicelog.screens.review_transcripts import TAKE_EVERY_S, Taking
from voicelog.screens.widgets.top import ends
from voicelog.sheet.model import Sheet
from voicelog.sheet.policy import Policy
from voicelog.walk.agenda import HEADINGS, Item, agenda
from voicelog.walk.computing import follow_up
from voicelog.walk.events import Event
from voicelog.walk.fitness import overdue_doubts
from voicelog.walk.review import Phrases
from voicelog.walk.state import WalkState, fold


class ReviewView(AgendaScreen):
    """The agenda on the left, the chosen item on the right."""

    TOP: ClassVar[tuple[str, ...]] = ("top", "summary", "signed")

    def __init__(
        self,
        store: Store,
        walk_id: str,
        sheet: Sheet,
        player: Player | None,
        by: str,
        policy: Policy | None,
        clock: Callable[[], datetime],
        policy_now: Callable[[], Policy] | None = None,
        transcripts: LaterTranscripts | None = None,
    ) -> None:
        """Read nothing yet; the record is read when the screen is mounted."""
        super().__init__(store, player)
        self._walk, self._sheet = walk_id, sheet
        self._by, self._policy, self._clock = by, policy, clock
        self._policy_now = policy_now
        self._hands = Hands(store, walk_id, clock)
        self._taking = Taking(store, walk_id, transcripts)
        self._begun = ""
        """What was said of the transcripts that are made meanwhile."""
        self._phrases = Phrases(sheet)
        self._state = WalkState(sheet)
        self._head = ""
        self._items: tuple[Item, ...] = ()
        self._overdue: frozenset[str] = frozenset()
        self._shown: tuple[str, str] | None = None
        """The head of the record, and the item, whose details are shown."""

    def on_mount(self) -> None:
        """Read the record, and get the phrases for corrections ready meanwhile."""
        self._read()
        self.query_one("#agenda", OptionList).focus()
        self.run_worker(lambda: self._phrases.graph, thread=True, group="phrases")
        self._begun = self._taking.begin(self._state)
        if self._begun:
            self.say(self._begun)
            self.set_interval(TAKE_EVERY_S, self.take_transcripts)

    def take_transcripts(self) -> None:
        """Put the transcripts on record that have come; not while a form is open: what it shows is signed."""
        if self.app.screen is not self or not self._taking.waiting or not self._read():
            return
        right = self.query_one("#right", VerticalScroll)
        place = right.scroll_y
        added, told = self._taking.take(self._state)
        if added and self._read():
            self._enter_defects()
        right.scroll_to(y=place, animate=False)
        if added and not told and str(self.query_one("#said", Static).content) == self._begun:
            told = "The transcript is made: see the remarks."
        if told:
            self.say(told)

    # what is shown --------------------------------------------------------------------------

    def _read(self) -> bool:
        """Fold the stored events again and show them; stay at the chosen item, or take the next.

        Return whether the record could be read; when not, that is said and what was shown stays.
        """
        try:
            events = self._store.events(self._walk)
        except VoicelogError as error:
            self.say(f"The record could not be read. {error.what} {error.remedy}")
            return False
        listed = self.query_one("#agenda", OptionList)
        before, place = self._chosen, self._place
        self._state = fold(self._sheet, ((e.at, e.event) for e in events))
        self._head = events[-1].hash if events else ""
        self._items = agenda(self._state)
        self._overdue = frozenset(
            entry.entry_id
            for entry in (overdue_doubts(self._state, self._policy, self._clock()) if self._policy else ())
        )
        keys = {item.key: n for n, item in enumerate(self._items)}
        if before is not None and before.key in keys and self._items[keys[before.key]].kind == before.kind:
            place = keys[before.key]
        listed.clear_options()
        for kind in HEADINGS:
            group = [item for item in self._items if item.kind == kind]
            if group:
                listed.add_option(Option(heading(kind, len(group)), disabled=True))
                listed.add_options(
                    Option(row(item, item.entry_id in self._overdue), id=item.key) for item in group
                )
        if self._items:
            key = self._items[min(place, len(self._items) - 1)].key
            listed.highlighted = listed.get_option_index(key)
        self._show_top()
        self._show_details()
        return True

    def _show_top(self) -> None:
        signer = self._hands.signer
        holder = f"in the hands of {visible(signer.name)}" if signer is not None else ""
        self.query_one("#top", Static).update(ends(Text(top_line(self._state)), Text(holder)))
        self.query_one("#summary", Static).update(Text(summary(self._state) + overdue_words(self._overdue)))
        self.query_one("#signed", Static).update(
            Text("; ".join(reversed(signatures(self._state, briefly=True))))
        )

    def _show_details(self) -> None:
        item = self._chosen
        self._shown = self._head, item.key if item is not None else ""
        shown = (
            Text("Nothing was logged in this walk.")
            if item is None
            else labelled(details(self._state, item, self._policy, self._before(item), self._overdue))
        )
        self.query_one("#details", Static).update(shown)
        self.query_one("#right", VerticalScroll).scroll_home(animate=False)

    def _before(self, item: Item) -> Before:
        """Return what other walks said of the item's point."""
        started = self._state.started
        if started is None or item.point_id is None:
            return Before()
        try:
            unit, sheet = started.unit_id, started.sheet_id
            history = self._store.point_history(unit, sheet, item.point_id).before(self._walk)
            book = self._store.defects.book(unit)
        except VoicelogError as error:
            self.say(f"Earlier walks could not be read. {error.what} {error.remedy}")
            return Before()
        key = (sheet, item.point_id)
        return Before(history, tuple(d for d in book.open() if d.key[:2] == key))

    @property
    def _chosen(self) -> Item | None:
        listed = self.query_one("#agenda", OptionList)
        if listed.highlighted is None:
            return None
        key = listed.get_option_at_index(listed.highlighted).id
        return next((item for item in self._items if item.key == key), None)

    @property
    def _place(self) -> int:
        chosen = self._chosen
        return self._items.index(chosen) if chosen is not None else 0

    @on(OptionList.OptionHighlighted, "#agenda")
    def _highlighted(self) -> None:
        # Reading the record highlights too, and has shown the details by then.
        item = self._chosen
        if self._shown != (self._head, item.key if item is not None else ""):
            self._show_details()

    # what is added --------------------------------------------------------------------------

    def _append(self, event: Event, done: str) -> None:
        """Commit one event, then show the record as it now is. Raises WalkError as it came."""
        try:
            events = (event, *follow_up(self._state, (event,)))
            # While it is being walked, the walk's own program alone writes: it does not read again.
            going_on = self._state.finished is None
            with self._store.lock(self._walk) if going_on else nullcontext():
                self._store.append(self._walk, events, signer=self._hands.signer, after=self._state.events)
        except VoicelogError as error:
            self._read()
            self.say(f"NOT RECORDED. {error.what} {error.remedy}")
            return
        if self._read():
            self.say(done)
            self._enter_defects()

    def _enter_defects(self) -> None:
        """Bring the unit's defects up to what the walk says now."""
        try:
            self._store.defects.take_up(self._walk, self._state)
        except VoicelogError as error:
            self.say(f"Recorded, but the shop's queue is not up to date: {error.what} {error.remedy}")

    # sound ----------------------------------------------------------------------------------

    def action_sound(self) -> None:
        """Play the sound of the chosen item."""
        item = self._chosen
        clips = item.clips if item else ()
        self.play(clips, "There is no sound of this: it was typed, or nothing was said.")
