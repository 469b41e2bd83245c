"""The officer's screen: doubts and defects first, their sound, and the signature.

A view of the record: every action is one event that is appended to the store at once, and what is
shown is always the stored events folded again. It decides nothing; what is not allowed is
refused by :mod:`voicelog.walk.review`. Works at 80 by 24 by keyboard alone.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from datetime import datetime
from typing import ClassVar

from rich.text import Text
from textual import on
from textual.app import App
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from voicelog.clock import now
from voicelog.defects.open_before import open_before
from voicelog.errors import VoicelogError, WalkError
from voicelog.records.store import Store
from voicelog.screens.agenda_screen import AgendaScreen, Player
from voicelog.screens.outside_text import visible
from voicelog.screens.review_forms import CorrectForm, Correction, SignForm, Signing, WhyForm, refusal
from voicelog.screens.review_help import HELP
from voicelog.screens.review_people import Hands, PersonForm
from voicelog.screens.review_style import CSS
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
from voicelog.sheet.model import Sheet
from voicelog.sheet.policy import Policy
from voicelog.walk import review
from voicelog.walk.agenda import HEADINGS, Item, agenda
from voicelog.walk.computing import follow_up
from voicelog.walk.events import Event
from voicelog.walk.fitness import OpenBefore, overdue_doubts
from voicelog.walk.review import MEANINGS, Phrases
from voicelog.walk.state import Entry, WalkState, fold
from voicelog.walk.wording import show_claim

KEYS = "a confirm c correct r reject l recheck space play y sign p who ? help q quit"


class ReviewScreen(AgendaScreen):
    """The agenda on the left, the chosen item on the right."""

    KEYS = KEYS
    HELP_TEXT = HELP
    TOP = ("top", "summary", "signed")
    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(str(n), f"choose({n})", show=False) for n in range(1, 10)),
        Binding("a", "confirm", "confirm"),
        Binding("c", "correct", "correct"),
        Binding("r", "reject", "reject"),
        Binding("l", "recheck", "recheck"),
        Binding("y", "sign", "sign"),
        Binding("p", "person", "person"),
    ]

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
    ) -> None:
        """Read nothing yet; the record is read when the screen is mounted."""
        super().__init__(store, player)
        self._walk, self._sheet = walk_id, sheet
        self._by, self._policy, self._clock = by, policy, clock
        self._policy_now = policy_now
        self._hands = Hands(store, walk_id)
        self._phrases = Phrases(sheet)
        self._state = WalkState(sheet)
        self._head = ""
        self._items: tuple[Item, ...] = ()
        self._overdue: frozenset[str] = frozenset()

    def on_mount(self) -> None:
        """Read the record, and get the phrases for corrections ready meanwhile."""
        self._read()
        self.query_one("#agenda", OptionList).focus()
        self.run_worker(lambda: self._phrases.graph, thread=True, group="phrases")

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
        self.query_one("#top", Static).update(Text(top_line(self._state)))
        self.query_one("#summary", Static).update(Text(summary(self._state) + overdue_words(self._overdue)))
        self.query_one("#signed", Static).update(Text("; ".join(reversed(signatures(self._state)))))

    def _show_details(self) -> None:
        item = self._chosen
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
        self._show_details()

    # what is done ---------------------------------------------------------------------------

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

    def _entry(self) -> Entry | None:
        item = self._chosen
        entry = self._state.entries.get(item.entry_id or "") if item else None
        if entry is None:
            self.say(
                "There is no entry here to act on. What was not covered is walked again, or signed "
                "with a reason."
            )
        return entry

    def _try(self, act: Callable[[], None]) -> None:
        try:
            act()
        except WalkError as error:
            self.say(refusal(error))

    def _in_hand(self, act: Callable[[], None]) -> None:
        """Do ``act`` once somebody has given their PIN; at once where nobody is on record."""
        try:
            if self._hands.signer is not None or not self._hands.pins:
                act()
                return
        except VoicelogError as error:
            self.say(f"NOT RECORDED. {refusal(error)}")
            return
        self._ask_person(act)

    def _ask_person(self, then: Callable[[], None]) -> None:
        def attempt(name: str, pin: str) -> None:
            self._by = self._hands.take(name, pin).name
            self.say(f"In the hands of {self._by}.")

        def done(taken: bool | None) -> None:
            if taken:
                then()

        self.app.push_screen(PersonForm(self._by, attempt), done)

    def action_person(self) -> None:
        """Give the review into another person's hands."""
        try:
            pins = self._hands.pins
        except VoicelogError as error:
            self.say(f"NOT RECORDED. {refusal(error)}")
            return
        if pins:
            self._by = ""
            self._ask_person(lambda: None)
        else:
            self.say("Nobody is on record here: names are taken as they are given. See: voicelog people")

    def _ask(self, title: str, act: Callable[[str, str], None], reason: str) -> None:
        """Ask for name and reason, then act with them."""

        def attempt(given: dict[str, str]) -> None:
            act(given["name"], given["reason"])
            self._by = given["name"]

        self.app.push_screen(WhyForm(title, self._by, attempt, reason=reason))

    def action_choose(self, number: int) -> None:
        """Settle the chosen doubt as its candidate ``number``."""
        self._in_hand(lambda: self._choose(number))

    def _choose(self, number: int) -> None:
        item = self._chosen
        if item is not None and 1 <= number <= len(item.points):
            point_id = item.points[number - 1]
            self._reopen((point_id,), self._sheet.points[point_id].full_name)
            return
        entry = self._entry()
        if entry is None:
            return
        choices = review.candidates(entry)

        def act(by: str, reason: str) -> None:
            event = review.settle_by_number(self._state, entry.entry_id, number, by, reason)
            self._append(event, f"Settled: {show_claim(event.claim, self._sheet)}.")

        if not 1 <= number <= len(choices):
            self._try(lambda: act(self._by, ""))
            return
        claim = choices[number - 1].claim
        needed = review.settling_needs_reason(entry, claim)
        if needed or not self._by:
            hint = "why it is sound: it may have been a defect" if needed else "may be left empty"
            self._ask(f"Settle as {visible(show_claim(claim, self._sheet))}", act, hint)
        else:
            self._try(lambda: act(self._by, ""))

    def action_confirm(self) -> None:
        """Say that the chosen entry was looked at and is left as it is."""
        self._in_hand(self._confirm)

    def _confirm(self) -> None:
        item = self._chosen
        if item is not None and item.points:
            points, what = item.points, item.title

            def act_on_mark(by: str, reason: str) -> None:
                self._append(review.confirm_marks(self._state, points, by, reason), f"Confirmed: {what}.")

            self._ask(f"Confirm the group mark: {visible(what)}", act_on_mark, "may be left empty")
            return
        entry = self._entry()
        if entry is None:
            return

        def act(by: str, reason: str) -> None:
            event = review.confirm(self._state, entry.entry_id, by, reason)
            self._append(event, f"Confirmed: {show_claim(entry.claim, self._sheet)}.")

        if self._by or entry.in_doubt:
            self._try(lambda: act(self._by, ""))
        else:
            self._ask(f"Confirm {visible(show_claim(entry.claim, self._sheet))}", act, "may be left empty")

    def _reopen(self, points: tuple[str, ...], what: str) -> None:
        """Ask by whom and why the group mark is taken from these points."""

        def act(by: str, reason: str) -> None:
            self._append(review.reopen_marks(self._state, points, by, reason), f"Re-opened: {what}.")

        hint = "why it is to be open again" if len(points) == 1 else "why they are to be open again"
        self._ask(f"Re-open the group mark: {visible(what)}", act, hint)

    def action_reject(self) -> None:
        """Make the chosen entry count for nothing."""
        self._in_hand(self._reject)

    def _reject(self) -> None:
        item = self._chosen
        if item is not None and item.points:
            self._reopen(item.points, item.title)
            return
        entry = self._entry()
        if entry is None:
            return
        title = show_claim(entry.claim, self._sheet)

        def act(by: str, reason: str) -> None:
            event = review.reject(self._state, entry.entry_id, by, reason)
            self._append(event, f"Rejected: {title}.")

        self._ask(f"Reject {visible(title)}", act, "why it is to count for nothing")

    def action_recheck(self) -> None:
        """Ask that the chosen item's point be looked at again."""
        self._in_hand(self._recheck)

    def _recheck(self) -> None:
        item = self._chosen
        point_id = item.point_id if item else None
        if point_id is None:
            self.say("There is no point here to look at again.")
            return
        name = self._sheet.points[point_id].full_name

        def act(by: str, reason: str) -> None:
            event = review.ask_recheck(self._state, point_id, by, reason)
            self._append(event, f"To be looked at again: {name}.")

        self._ask(f"Look at {visible(name)} again", act, "why it is to be looked at again")

    def action_correct(self) -> None:
        """Type what the chosen entry is to say instead."""
        self._in_hand(self._correct)

    def _correct(self) -> None:
        entry = self._entry()
        if entry is None:
            return

        def attempt(made: Correction) -> None:
            event = review.correct(self._state, entry.entry_id, made.claim, made.by, made.reason)
            self._append(event, f"Corrected to: {show_claim(made.claim, self._sheet)}.")
            self._by = made.by

        stop = self._sheet.points[entry.claim.point_id].stop_id
        self.app.push_screen(CorrectForm(self._phrases, entry.claim, stop, self._by, attempt))

    def action_sign(self) -> None:
        """Sign what is shown, when nothing in it is in doubt."""
        head = self._head
        try:
            pins = self._hands.pins
            self._policy_changed()
            before = self._open_before()
        except VoicelogError as error:
            self.say(f"NOT RECORDED. {refusal(error)}")
            return

        def attempt(made: Signing) -> None:
            if self._policy_changed() or self._open_before() != before:
                raise WalkError(
                    "the local policy or the unit's open defects were changed since this was shown",
                    remedy="leave this form, and sign again with what counts now in sight",
                )
            event = review.sign(
                self._state,
                by=made.by,
                role=made.role,
                meaning=MEANINGS[made.role],
                decision=made.decision,
                reason=made.reason,
                head=head,
                policy=self._policy,
                override=made.override,
                open_before=before,
            )
            if pins:
                # Asked for each signature, also of a person who has the review in hand already.
                self._hands.take(made.by, made.pin)
            if self._policy is not None:
                self._store.keep_policy(self._policy)
            self._append(event, f"Signed: {event.meaning} {event.by}.")
            self._by = event.by

        if doubts := [item for item in self._items if item.kind == "doubt"]:
            listed = "; ".join(item.title for item in doubts)
            self.say(f"Settle, correct or reject first what is in doubt: {listed}")
            return
        shown = f"{self._state.events} events, hash {head[:16]}: {summary(self._state)}"
        asked = review.breaches(self._state, self._policy, before) if self._policy is not None else ()
        form = SignForm(
            shown,
            review.sign_needs_reason(self._state, before),
            self._by,
            attempt,
            breaches=tuple(breach.words for breach in asked),
            pins=pins,
        )
        self.app.push_screen(form)

    def _policy_changed(self) -> bool:
        """Take the local policy as it now is, and return whether that is another."""
        held = self._policy
        if self._policy_now is not None:
            self._policy = self._policy_now()
        return self._policy != held

    def _open_before(self) -> tuple[OpenBefore, ...]:
        """Return the unit's defects of other walks that are open still."""
        unit = self._state.started.unit_id if self._state.started else ""
        return open_before(self._store.defects.book(unit), self._state, self._clock().date())

    # sound ----------------------------------------------------------------------------------

    def action_sound(self) -> None:
        """Play the sound of the chosen item."""
        item = self._chosen
        clips = item.clips if item else ()
        self.play(clips, "There is no sound of this: it was typed, or nothing was said.")


class ReviewApp(App[None]):
    """Reviews one walk.

    ``player`` plays a clip's FLAC bytes; None where there is no sound output. ``by`` is the
    officer's name where it is known already. The caller holds the walk's lock.
    """

    CSS = CSS
    ENABLE_COMMAND_PALETTE = False
    TITLE = "voicelog review"

    def __init__(
        self,
        store: Store,
        walk_id: str,
        sheet: Sheet,
        player: Player | None = None,
        *,
        by: str = "",
        policy: Policy | None = None,
        policy_now: Callable[[], Policy] | None = None,
        clock: Callable[[], datetime] = now,
    ) -> None:
        """Take an open store, the sheet that the walk was made with, and the local policy.

        ``policy_now`` gives the policy as it is when a signature is made; it raises VoicelogError.
        ``clock`` gives the time now, which doubts are overdue by.
        """
        super().__init__()
        self._screen = ReviewScreen(store, walk_id, sheet, player, by, policy, clock, policy_now)

    def on_mount(self) -> None:
        """Show the review."""
        self.push_screen(self._screen)
