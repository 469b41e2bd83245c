"""What the walk does about timed tests: start, marks, stop, and when the clock is told; pure.

One clock runs at a time. What was said and when is in the events; the result is an entry like any
other, judged, and in doubt where it is not certain on which side of its limit it lies. The clock that
is told is the time that has certainly passed: it counts from the latest moment at which it may have
been started, so that a test that is stopped when it is told has lasted long enough.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from voicelog.meaning.computed import say_limit
from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import Draft
from voicelog.meaning.timed import TimedContext, TimedHeard, TimedSaid
from voicelog.meaning.understand import Question
from voicelog.phrases.numbers import say_value
from voicelog.sheet.model import Sheet, TimedTest
from voicelog.walk.events import (
    CommandHeard,
    Event,
    NotUnderstood,
    TimedTestCancelled,
    TimedTestMarked,
    TimedTestStarted,
    TimedTestStopped,
)
from voicelog.walk.gate import enter_stop
from voicelog.walk.moments import REACTION_S, WALL, Mark, MayBe, Moment
from voicelog.walk.replies import Reply
from voicelog.walk.runs import TimedRun, after_timed
from voicelog.walk.state import Entry, WalkState
from voicelog.walk.timed_result import NoResult, answerable, by_last_reading, result, say_reading


@dataclass(frozen=True, slots=True)
class Step:
    """What comes of one thing said: events, replies, and a result where the run is over."""

    events: tuple[Event, ...] = ()
    replies: tuple[Reply, ...] = ()
    draft: Draft | None = None
    run_id: str | None = None
    corrects: str | None = None
    """The entry that the result replaces."""


# context ------------------------------------------------------------------------------------


def timed_context(state: WalkState) -> TimedContext | None:
    """Return the test whose clock runs, or the one whose result is the last entry."""
    run = state.running or _just_stopped(state)
    if run is None:
        return None
    point = state.sheet.points[run.point_id]
    test = run.test(state.sheet)
    reading = point.reading(test.reading_id) if test.reading_id is not None else None
    return TimedContext(point.id, test, reading, running=run.status == "running")


def _just_stopped(state: WalkState) -> TimedRun | None:
    last = state.entries.get(state.last_entry or "")
    return state.runs.get(last.logged.run_id or "") if last is not None else None


def question_about(state: WalkState, asked: Entry) -> Question | None:
    """Return what a doubtful result of a test can be answered with by voice; None where it cannot be.

    That its bounds are on both sides of the limit no answer can settle: only another test, or the
    officer.
    """
    run = state.runs[asked.logged.run_id or ""]
    claims = tuple(c.claim for doubt in asked.logged.doubts for c in doubt.candidates)
    numbers = by_last_reading(run, state.sheet)
    if not numbers and not answerable(run, state.sheet, claims):
        return None
    if len(numbers) > 1:
        claims = tuple(claim for _, claim in numbers)  # in the order in which they were asked
    return Question(asked.entry_id, claims, numbers)


# what was said ------------------------------------------------------------------------------


def take(state: WalkState, heard_test: TimedHeard, heard: Heard, moment: Moment) -> Step:
    """Return what to do about something that was said of a timed test."""
    said = heard_test.said
    mark = Mark(
        moment=moment,
        value=said.value,
        candidates=tuple(MayBe(value=v, posterior=round(p, 6)) for v, p in heard_test.values),
        doubt=heard_test.doubt,
    )
    if said.verb == "start":
        return _start(state, said, mark, heard)
    if said.verb == "correct":
        return _correct(state, mark, heard)
    run = state.running
    if run is None or (run.point_id, run.timed_id) != (said.point_id, said.timed_id):
        return _unclear("no such test is running", heard)
    if run.base.moment.clock != moment.clock:
        return _unclear("its clock is another: cancel the test and repeat it", heard)
    if said.verb == "stop" or _reaches_the_end(run, mark, state.sheet):
        return _stop(state, run, mark, heard)
    return _mark(state, run, mark, heard)


def _start(state: WalkState, said: TimedSaid, mark: Mark, heard: Heard) -> Step:
    running = state.running
    if running is not None:
        name = running.test(state.sheet).name
        return _unclear(f"{name} is running: stop it or cancel the test", heard)
    point = state.sheet.points[said.point_id]
    test = point.timed_test(said.timed_id)
    if not state.is_open(point.stop_id):
        moved = enter_stop(state, point.stop_id, heard)
        waits = Reply("answer", f"{test.name} is not started: affirm the cautions, then start it again")
        return Step(moved.events, (waits, *moved.replies))
    run_id = f"t{len(state.runs) + 1}"
    started = TimedTestStarted(run_id=run_id, point_id=point.id, timed_id=test.id, mark=mark, heard=heard)
    read = ""
    if mark.value is not None:
        resolution = point.reading(test.reading_id or "").resolution
        read = f" at {say_value(mark.value, resolution)}"
    return Step((started,), (Reply("answer", f"{test.name}: clock started{read}"),))


def _mark(state: WalkState, run: TimedRun, mark: Mark, heard: Heard) -> Step:
    event = TimedTestMarked(run_id=run.run_id, mark=mark, heard=heard)
    first = " is the first reading" if not run.read() else ""
    text = f"{say_reading(run, state.sheet, mark.value or Fraction(0))}{first}, marked"
    if mark.doubt:
        either = " or ".join(say_reading(run, state.sheet, maybe.value) for maybe in mark.candidates)
        return Step((event,), (Reply("doubt", f"marked {either}? say correction and the reading"),))
    return Step((event,), (Reply("answer", text),))


def _stop(state: WalkState, run: TimedRun, mark: Mark, heard: Heard) -> Step:
    sheet = state.sheet
    stopped = TimedTestStopped(run_id=run.run_id, mark=mark, heard=heard)
    over = after_timed({run.run_id: run}, stopped, run.begun_at)[run.run_id]
    drafted = result(over, sheet)
    if isinstance(drafted, NoResult):
        reply = Reply("not understood", f"{drafted.reason}; the clock goes on")
        if mark.value is not None and not run.read():
            return Step((TimedTestMarked(run_id=run.run_id, mark=mark, heard=heard),), (reply,))
        return Step((NotUnderstood(reason=f"{drafted.reason} to stop the test", heard=heard),), (reply,))
    return Step((stopped,), (), drafted, run.run_id, _doubtful_before(state, run))


def _doubtful_before(state: WalkState, run: TimedRun) -> str | None:
    """Return the doubtful result of an earlier run of the same test, which this one takes the place of."""
    earlier = [e for e in state.doubts() if e.logged.run_id is not None]
    of_this_test = [
        e.entry_id for e in earlier if (e.claim.point_id, e.claim.reading_id) == (run.point_id, run.timed_id)
    ]
    return of_this_test[-1] if of_this_test else None


def _correct(state: WalkState, mark: Mark, heard: Heard) -> Step:
    """Return the last reading put right; its moment stays that of the reading."""
    run = state.running or _just_stopped(state)
    last = run.marks[-1] if run is not None else None
    if run is None or last is None or last.value is None:
        return _unclear("there is no reading to correct", heard)
    corrected = mark.model_copy(update={"moment": last.moment})
    event = TimedTestMarked(run_id=run.run_id, mark=corrected, heard=heard, corrects_last=True)
    if run.status == "running":
        said = say_reading(run, state.sheet, mark.value or Fraction(0))
        return Step((event,), (Reply("answer", f"corrected: {said}"),))
    drafted = result(after_timed({run.run_id: run}, event, run.begun_at)[run.run_id], state.sheet)
    if isinstance(drafted, NoResult):
        return _unclear(drafted.reason, heard)
    return Step((event,), (), drafted, run.run_id, state.last_entry)


def _reaches_the_end(run: TimedRun, mark: Mark, sheet: Sheet) -> bool:
    """Return whether a reading alone stops a build-up: the sheet says so, and it is up."""
    test = run.test(sheet)
    up = test.span is not None and mark.value is not None and mark.value >= test.span[1]
    return test.by_reading and up and bool(run.read())


def _unclear(reason: str, heard: Heard) -> Step:
    return Step((NotUnderstood(reason=reason, heard=heard),), (Reply("not understood", reason),))


# commands -----------------------------------------------------------------------------------


def clock_command(state: WalkState, name: str, heard: Heard, moment: Moment | None) -> Step:
    """Return what a control word of the clock does."""
    run = state.running
    said = CommandHeard(command=name, heard=heard)
    if run is None:
        text = "name the test" if name == "start the clock" else "no test is running"
        return Step((said,), (Reply("answer", text),))
    test = run.test(state.sheet)
    if name == "cancel test":
        ended = cancel(run, "cancelled by the operator", heard)
        return Step(ended, (Reply("answer", f"{test.name} cancelled"),))
    passed = elapsed(run, moment) if moment is not None else None
    text = f"{test.name}: {say_time(passed)}" if passed is not None else f"{test.name} is running"
    return Step((said,), (Reply("answer", text),))


def cancel(run: TimedRun, reason: str, heard: Heard | None) -> tuple[Event, ...]:
    """Return the events that end a run without a result."""
    return (TimedTestCancelled(run_id=run.run_id, reason=reason, heard=heard),)


def taken_up_again(state: WalkState, now: Moment) -> Step:
    """Return what becomes of the running test when a walk is resumed at ``now``.

    The clock of a keyboard walk, and the position in a recording, go on; that of a microphone begins
    anew, and what passed meanwhile is not known. Nor is it where the clock was set back.
    """
    run = state.running
    if run is None:
        return Step()
    name, begun = run.test(state.sheet).name, run.base.moment
    passed = elapsed(run, now)
    if begun.clock == now.clock == WALL and passed is not None and now.at_s >= begun.at_s:
        return Step((), (Reply("answer", f"{name} is running: {say_time(passed)} by the wall clock"),))
    if begun.clock == now.clock and begun.clock.startswith("recording "):
        return Step((), (Reply("answer", f"{name} is running, by the clock of the recording"),))
    reason = "interrupted: how much time passed is not known"
    return Step(cancel(run, reason, None), (Reply("trouble", f"{name} was interrupted: repeat it"),))


# the clock ----------------------------------------------------------------------------------


def elapsed(run: TimedRun, now: Moment) -> Fraction | None:
    """Return the seconds that have certainly passed since a run's time counts; None on another clock."""
    if run.base.moment.clock != now.clock:
        return None
    return max(Fraction(0), now.at_s - run.base.moment.latest_s)


def due_marks(state: WalkState, before: Moment, now: Moment) -> tuple[str, ...]:
    """Return what the clock tells between two moments, oldest first; empty where nothing is due.

    Nothing is told while standing by.
    """
    run = state.running
    if run is None or state.standing_by:
        return ()
    base = run.base.moment
    if base.clock != now.clock or before.clock != now.clock:
        return ()
    test = run.test(state.sheet)
    # A stop that answers the last mark must not seem to come before it.
    counted = base.latest_s + REACTION_S
    due = [mark for mark in test.tell if before.at_s < counted + mark <= now.at_s]
    return tuple(f"{test.name}: {say_time(mark)}{_what_now(test, mark)}" for mark in due)


def _what_now(test: TimedTest, mark: Fraction) -> str:
    limit = test.result.limit
    if test.kind == "duration" and limit is not None:
        if mark == limit.minimum:
            return ", enough"
        if mark == limit.maximum:
            return ", the limit is passed"
    if mark == test.planned:
        return "; say stop and the reading" if test.reading_id is not None else "; say stop the clock"
    return ""


def say_time(seconds: Fraction) -> str:
    """Return a time as it is told, in whole seconds that have passed: ``one minute thirty seconds``."""
    minutes, rest = divmod(int(seconds), 60)
    parts = []
    if minutes:
        parts.append(f"{say_value(Fraction(minutes), Fraction(1))} {'minute' if minutes == 1 else 'minutes'}")
    if rest or not minutes:
        parts.append(f"{say_value(Fraction(rest), Fraction(1))} {'second' if rest == 1 else 'seconds'}")
    return " ".join(parts)


def limit_told(state: WalkState, draft: Draft) -> str:
    """Return the judgement of a result with its limit, as it is read back."""
    claim = draft.claim
    reading = state.sheet.points[claim.point_id].reading(claim.reading_id or "")
    if reading.limit is None:
        return ""
    where = "within" if claim.judgement == "within" else claim.judgement
    return f", {where} the limit, {say_limit(reading, state.sheet.lexicon)}"
