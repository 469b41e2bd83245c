"""Runs of timed tests as the events tell them; pure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from voicelog.sheet.model import Sheet, TimedTest
from voicelog.walk.events import TimedTestCancelled, TimedTestMarked, TimedTestStarted, TimedTestStopped
from voicelog.walk.moments import Mark

RunStatus = Literal["running", "stopped", "cancelled"]
TimedEvent = TimedTestStarted | TimedTestMarked | TimedTestStopped | TimedTestCancelled


@dataclass(frozen=True, slots=True)
class TimedRun:
    """One run of a timed test, with everything that was said and when."""

    run_id: str
    point_id: str
    timed_id: str
    marks: tuple[Mark, ...]
    """The start first; in the order said."""
    begun_at: datetime
    """When the start was committed."""
    status: RunStatus = "running"
    reason: str = ""
    """Why it was cancelled."""

    def test(self, sheet: Sheet) -> TimedTest:
        """Return the test that is run."""
        return sheet.points[self.point_id].timed_test(self.timed_id)

    def read(self) -> tuple[Mark, ...]:
        """Return the marks that have a reading."""
        return tuple(mark for mark in self.marks if mark.value is not None)

    @property
    def base(self) -> Mark:
        """The mark that the time counts from: the first with a reading, otherwise the start."""
        return next(iter(self.read()), self.marks[0])


def after_timed(runs: dict[str, TimedRun], event: TimedEvent, at: datetime) -> dict[str, TimedRun]:
    """Return the runs after one more event of theirs."""
    match event:
        case TimedTestStarted():
            begun = TimedRun(event.run_id, event.point_id, event.timed_id, (event.mark,), at)
            return {**runs, event.run_id: begun}
        case TimedTestMarked():
            run = runs[event.run_id]
            kept = run.marks[:-1] if event.corrects_last else run.marks
            changed = replace(run, marks=(*kept, event.mark))
        case TimedTestStopped():
            run = runs[event.run_id]
            changed = replace(run, marks=(*run.marks, event.mark), status="stopped")
        case TimedTestCancelled():
            changed = replace(runs[event.run_id], status="cancelled", reason=event.reason)
    return {**runs, event.run_id: changed}
