"""The officer's screen: doubts and defects first, their sound, and the signature.

Every key asks for what its act needs and appends one event. It decides nothing; what is not allowed
is refused by :mod:`voicelog.walk.review`. Works at 80 by 24 by keyboard alone.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import ClassVar

from textual.app import App
from textual.binding import Binding, BindingType

from voicelog.clock import now
from voicelog.errors import WalkError
from voicelog.later_transcripts import LaterTranscripts
from voicelog.records.store import Store
from voicelog.screens.agenda_screen import Player
from voicelog.screens.outside_text import visible
from voicelog.screens.review_forms import CorrectForm, Correction, WhyForm, refusal
from voicelog.screens.review_help import HELP
from voicelog.screens.review_signing import ReviewSigning
from voicelog.screens.review_style import CSS
from voicelog.sheet.model import Sheet
from voicelog.sheet.policy import Policy
from voicelog.walk import review
from voicelog.walk.state import Entry
from voicelog.walk.wording import show_claim

KEYS = (
    ("1-9", "settle"),
    ("a", "confirm"),
    ("c", "correct"),
    ("r", "reject"),
    ("l", "look again"),
    ("space", "play"),
    ("y", "sign"),
    ("p", "person"),
    ("?", "help"),
    ("q", "quit"),
)


class ReviewScreen(ReviewSigning):
    """What the officer does with the chosen item."""

    KEYS = KEYS
    HELP_TEXT = HELP
    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(str(n), f"choose({n})", show=False) for n in range(1, 10)),
        Binding("a", "confirm", "confirm"),
        Binding("A", "confirm(True)", show=False),
        Binding("c", "correct", "correct"),
        Binding("r", "reject", "reject"),
        Binding("l", "recheck", "recheck"),
        Binding("y", "sign", "sign"),
        Binding("p", "person", "person"),
    ]

    def _entry(self) -> Entry | None:
        item = self._chosen
        entry = self._state.entries.get(item.entry_id or "") if item else None
        if entry is None:
            not_covered = item is not None and item.kind == "not covered"
            more = " What was not covered is walked again, or signed with a reason." if not_covered else ""
            self.say(f"There is no entry here to act on.{more}")
        return entry

    def _try(self, act: Callable[[], None]) -> None:
        try:
            act()
        except WalkError as error:
            self.say(refusal(error))

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

    def action_confirm(self, why: bool = False) -> None:
        """Say that the chosen entry was looked at and is left as it is; with ``why`` also the reason."""
        self._in_hand(lambda: self._confirm(why))

    def _confirm(self, why: bool) -> None:
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

        if entry.in_doubt or (self._by and not why):
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
        transcripts: LaterTranscripts | None = None,
    ) -> None:
        """Take an open store, the sheet that the walk was made with, and the local policy.

        ``policy_now`` gives the policy as it is when a signature is made; it raises VoicelogError.
        ``clock`` gives the time now, which doubts are overdue by. ``transcripts`` makes those that the
        walk lacks; None where none are to be made.
        """
        super().__init__()
        self._screen = ReviewScreen(store, walk_id, sheet, player, by, policy, clock, policy_now, transcripts)

    def on_mount(self) -> None:
        """Show the review."""
        self.push_screen(self._screen)
