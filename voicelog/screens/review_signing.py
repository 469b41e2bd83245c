"""In whose hands the review is, and the signature.

A signature is over what was in sight: the record's head, the policy and the unit's open defects are
those that the form showed.
"""

from __future__ import annotations

from collections.abc import Callable

from voicelog.defects.open_before import open_before
from voicelog.errors import VoicelogError, WalkError
from voicelog.screens.review_forms import SignForm, Signing, refusal
from voicelog.screens.review_people import PersonForm
from voicelog.screens.review_text import summary
from voicelog.screens.review_view import ReviewView
from voicelog.walk import review
from voicelog.walk.fitness import DEMANDED, OpenBefore
from voicelog.walk.review import MEANINGS


class ReviewSigning(ReviewView):
    """Asks for PINs, and for what a signature needs."""

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
            self._show_top()
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
            # In one line each, so that the whole form is in sight; why is told with each defect.
            breaches=tuple(f"{breach.what}: {DEMANDED[breach.rule.demand]}" for breach in asked),
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
