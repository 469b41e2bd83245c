"""How a run of a timed test is worded: what was read, and how long after the first reading.

For views and reports. Times are those the result was computed from; their bounds are in the result.
"""

from __future__ import annotations

from fractions import Fraction

from voicelog.limits.rounding import written
from voicelog.meaning.wording import show_quantity
from voicelog.sheet.model import Sheet
from voicelog.walk.moments import Mark
from voicelog.walk.runs import TimedRun
from voicelog.walk.state import Entry, WalkState

_FIGURES = 4


def show_run(run: TimedRun, sheet: Sheet) -> str:
    """Return a run in a line: ``110 psi, 109 psi after 60 s``; ``stopped after 185.2 s``."""
    base = run.base
    parts = []
    for mark in run.marks:
        if mark.value is not None:
            after = "" if mark is base else f" after {_seconds(base, mark)}"
            parts.append(f"{_reading(run, mark, sheet)}{after}")
    last = run.marks[-1]
    if run.status == "stopped" and last.value is None:
        parts.append(f"stopped after {_seconds(base, last)}")
    if run.status == "cancelled":
        parts.append(f"no result, {run.reason}")
    if run.status == "running":
        parts.append("running")
    return ", ".join(parts)


def show_measured(state: WalkState, entry: Entry) -> str:
    """Return what the result of a timed test was computed from; empty for any other entry."""
    run = state.runs.get(entry.logged.run_id or "")
    return show_run(run, state.sheet) if run is not None else ""


def without_result(state: WalkState, point_id: str) -> tuple[str, ...]:
    """Return the cancelled and the running tests of a point, in words."""
    return tuple(
        f"{run.test(state.sheet).name}: {show_run(run, state.sheet)}"
        for run in state.runs.values()
        if run.point_id == point_id and run.status != "stopped"
    )


def clock_shown(state: WalkState, seconds: float | None) -> str:
    """Return the running test and its clock, ``static loss 1:05``; empty while none runs."""
    run = state.running
    if run is None:
        return ""
    name = run.test(state.sheet).name
    if seconds is None:
        return name
    minutes, rest = divmod(int(seconds), 60)
    return f"{name} {minutes}:{rest:02d}"


def _reading(run: TimedRun, mark: Mark, sheet: Sheet) -> str:
    reading = sheet.points[run.point_id].reading(run.test(sheet).reading_id or "")
    values = [maybe.value for maybe in mark.candidates] or [mark.value or Fraction(0)]
    shown = " or ".join(show_quantity(value, reading, sheet.lexicon) for value in values)
    return f"{shown}?" if mark.doubt else shown


def _seconds(first: Mark, last: Mark) -> str:
    return f"{written(last.moment.at_s - first.moment.at_s, figures=_FIGURES):f} s"
