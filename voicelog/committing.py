"""What has been decided is committed, and only then answered.

One writer: every call is serialised by a lock, so that the keyboard may be used while the microphone
listens and remarks are written out.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from voicelog.defects.carried import carried
from voicelog.errors import RecordError, VoicelogError
from voicelog.meaning.facts import Heard
from voicelog.people.keys import Signer
from voicelog.phrases.commands import MARK_THE_REST
from voicelog.phrases.timed_grammar import has_timed
from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.sheet.extent import of_extent
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.carried import read_out, waiting
from voicelog.walk.computing import with_computed
from voicelog.walk.events import (
    CarriedDefect,
    CommandHeard,
    DefectsCarried,
    Event,
    GroupMarkAsked,
    WalkFinished,
)
from voicelog.walk.handing_over import handed_over
from voicelog.walk.moments import WALL, Moment, keyed_moment
from voicelog.walk.replies import Ear, Outcome, Reply, Update
from voicelog.walk.said_back import where_am_i
from voicelog.walk.state import WalkState, after, apply
from voicelog.walk.timed import due_marks, elapsed

CLOCK_SET_BACK = "the clock was set back; the record keeps the order"


class Committing:
    """A walk, its record and its clock: what :class:`voicelog.conduct.Conductor` stands on."""

    def __init__(
        self, store: Store, sheet: Sheet, unit: Unit, clock: Callable[[], datetime], signer: Signer | None
    ) -> None:
        self._store = store
        self._signer = signer
        self._sheet = sheet
        self._unit = unit
        self._clock = clock
        self._lock = threading.RLock()
        self._sound_clock = ""
        """The source of the sound, whose clock speech is timed by; empty for a walk by keyboard."""
        self._sound_s = 0.0
        self._told: Moment | None = None
        self._to_tell: tuple[Reply, ...] = ()
        """What is to be told with the next tick."""
        self.walk_id = ""
        self.state = WalkState(sheet)
        self.refused_by_record = 0
        """How often something could not be logged; each time the operator was told."""

    def standing(self) -> Update:
        """Return the walk as it is, when nothing has happened."""
        with self._lock:
            return self._update((), None)

    def told(self, text: str) -> Update:
        """Return the walk as it is, with trouble to tell of."""
        with self._lock:
            return self._update((Reply("trouble", text),), None)

    @property
    def ear(self) -> Ear:
        """What the recorder is doing when nothing is being said."""
        if self.state.finished is not None:
            return "stopped"
        if self.state.sound_lost:
            return "no microphone"
        if self.state.standing_by:
            return "standing by"
        return "taking a remark" if self.state.in_remark else "listening"

    # the clock ------------------------------------------------------------------------------

    def tick(self, position_s: float | None = None) -> Update | None:
        """Tell what has come up since: a mark of a running timed test, trouble with a transcript.

        None where there is nothing to tell. ``position_s`` is how far the sound is, in seconds; None
        for a walk by keyboard. To be called a few times a second.
        """
        with self._lock:
            if position_s is not None:
                self._sound_s = position_s
            now = self._now()
            due = due_marks(self.state, self._told or now, now)
            self._told = now
            told = (*(Reply("answer", text) for text in due), *self._to_tell)
            self._to_tell = ()
            return self._update(told, None) if told else None

    @property
    def has_timed_tests(self) -> bool:
        """Whether the walk's sheet has any test that takes a clock."""
        return has_timed(self._sheet)

    def _listen_to(self, clock: str) -> None:
        self._sound_clock, self._sound_s = clock, 0.0

    def _now(self) -> Moment:
        """Return the moment of a key pressed now."""
        if self._sound_clock:
            return keyed_moment(self._sound_clock, self._sound_s)
        return keyed_moment(WALL, self._clock().timestamp())

    # committing -----------------------------------------------------------------------------

    def _carry_out(self, outcome: Outcome, clip: Clip | None, heard: Heard | None = None) -> Update:
        outcome = self._told_before_passing(with_computed(self.state, outcome))
        clips = (clip,) if clip is not None and outcome.events else ()
        before = waiting(self.state)
        was_set_back = self.state.clock_set_back
        try:
            self._commit(outcome.events, clips)
        except RecordError as error:
            # Not committed, so not acknowledged: the operator hears trouble, not a read-back.
            self.refused_by_record += 1
            what = error.what.rstrip(".")
            return self._update((Reply("trouble", f"not logged: {what}. {error.remedy}"),), heard)
        told = self._carried_next(before, outcome.replies)
        if self.state.clock_set_back and not was_set_back:
            told += (Reply("caution", CLOCK_SET_BACK),)
        return self._update((*outcome.replies, *told, *self._enter_defects(outcome.events)), heard)

    def _told_before_passing(self, outcome: Outcome) -> Outcome:
        """Return an outcome as it is; of a group mark nothing but its words where there is news to be told.

        A point must not be passed by group over a defect that another walk has found meanwhile.
        """
        asked = next((e for e in outcome.events if isinstance(e, GroupMarkAsked)), None)
        if asked is None or not (since := self._carried_since()):
            return outcome
        return Outcome((*since, CommandHeard(command=MARK_THE_REST, heard=asked.heard)))

    def _carried_next(self, before: CarriedDefect | None, told: tuple[Reply, ...]) -> tuple[Reply, ...]:
        """Return the carried defect that has come up, or that the walk is open after the last of them.

        Nothing of one that was read out in ``told``.
        """
        now = waiting(self.state)
        if now is not None and now != before:
            following = before is not None and self.state.was_told(before.defect_id)
            if read_out(self.state)[0] in told:
                return ()
            return read_out(self.state, following=following)
        if before is not None and self.state.to_acknowledge is None and self.state.finished is None:
            return (Reply("answer", where_am_i(self.state)),)
        return ()

    def _enter_defects(self, events: tuple[Event, ...]) -> tuple[Reply, ...]:
        """Enter the defects of a walk that has just been finished, and say if that could not be done."""
        if not any(isinstance(event, WalkFinished) for event in events):
            return ()
        try:
            self._store.defects.take_up(self.walk_id, self.state)
        except VoicelogError as error:
            # The walk itself is committed; the shop's queue enters it when it is next looked at.
            what = error.what.rstrip(".")
            return (Reply("trouble", f"the defects are not in the shop's queue yet: {what}"),)
        return ()

    def hand_over(self, operator: str, signer: Signer | None) -> Update:
        """Go on in another person's hands; ``signer`` is their open key, where people are on record.

        Who takes it is read the unit's open defects as they now stand. Raises WalkError and PersonError;
        then the walk is in the hands it was in.
        """
        with self._lock:
            before, self._signer = self._signer, signer
            done = False
            try:
                since = self._carried_since()
                handed = handed_over(after(self.state, *since), operator)
                update = self._carry_out(replace(handed, events=(*since, *handed.events)), None)
                done = self.state.operators[-1:] == (operator,)
                return update
            finally:
                if not done:
                    self._signer = before

    def _carried_since(self) -> tuple[DefectsCarried, ...]:
        """Return what has changed of the unit's defects since they were carried into this walk."""
        book = self._store.defects.book(self._unit.id)
        brought = carried(book, self._sheet, self.walk_id, self.state.carried, self.state.look_again)
        self._take_in(brought)
        return () if brought is None else (brought,)

    def _take_in(self, brought: DefectsCarried | None) -> None:
        """Take in the points that are to be looked at again though the walk's extent has them not."""
        if brought is not None and brought.added:
            kept = (*self._sheet.points, *brought.added)
            self._sheet = of_extent(self._sheet, self._sheet.extent, kept)
            self.state = replace(self.state, sheet=self._sheet)

    def _commit(self, events: tuple[Event, ...], clips: tuple[Clip, ...]) -> None:
        if not events:
            return
        for stored in self._store.append(self.walk_id, events, clips, signer=self._signer):
            self.state = apply(self.state, stored.event, stored.at)

    def _update(self, replies: tuple[Reply, ...], heard: Heard | None) -> Update:
        return Update(self.state, replies, heard, ear=self.ear, walk_id=self.walk_id, test_s=self.test_s)

    @property
    def test_s(self) -> float | None:
        """How many seconds of the running timed test have certainly passed; None while none runs."""
        run = self.state.running
        passed = elapsed(run, self._now()) if run is not None else None
        return float(passed) if passed is not None else None

    def heard_until(self, source: str) -> float:
        """Return how far a recording was already heard, in seconds; 0 for any other sound.

        A recording taken up again goes on from there, so that nothing is logged twice.
        """
        started = self.state.started
        if started is None or not source or started.source != source:
            return 0.0
        events = (stored.event for stored in self._store.events(self.walk_id))
        ends = (heard.end_s for event in events if (heard := getattr(event, "heard", None)) is not None)
        return max(ends, default=0.0)
