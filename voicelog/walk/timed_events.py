"""Timed tests, as facts of the record. See :mod:`voicelog.walk.events`."""

from __future__ import annotations

from typing import Literal

from voicelog.meaning.facts import Frozen, Heard
from voicelog.walk.moments import Mark


class TimedTestStarted(Frozen):
    """The clock of a timed test was started; the first of the run's marks."""

    kind: Literal["timed test started"] = "timed test started"
    run_id: str
    point_id: str
    timed_id: str
    mark: Mark
    heard: Heard


class TimedTestMarked(Frozen):
    """A reading was said while a timed test ran."""

    kind: Literal["timed test marked"] = "timed test marked"
    run_id: str
    mark: Mark
    heard: Heard
    corrects_last: bool = False
    """Whether it takes the place of the mark before it, whose moment it keeps."""


class TimedTestStopped(Frozen):
    """The clock was stopped; the last of the run's marks. Its result is the entry that names the run."""

    kind: Literal["timed test stopped"] = "timed test stopped"
    run_id: str
    mark: Mark
    heard: Heard


class TimedTestCancelled(Frozen):
    """The run has no result."""

    kind: Literal["timed test cancelled"] = "timed test cancelled"
    run_id: str
    reason: str
    heard: Heard | None = None
