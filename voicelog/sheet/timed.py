"""Timed tests of a sheet: from checked tables to values, and what must hold of the tables.

A test's result has the reading's unit a minute for a loss, seconds for a build-up and a duration.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from voicelog.sheet.limit_build import limit_of
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.model import Reading, TimedTest
from voicelog.sheet.problems import Severity, suggestion
from voicelog.sheet.quantities import show
from voicelog.sheet.schema import PointTable, TimedTable

_Fault = tuple[KeyPath, str, str, Severity]

A_MINUTE = "/minute"
"""Ends the unit of a loss: ``psi/minute``."""

RESULT_RESOLUTION = Fraction(1, 100)
"""The step in which a result's limit is written."""


def build_timed(table: TimedTable, point: PointTable) -> TimedTest:
    """Return the timed test of a checked table."""
    unit = result_unit(table, point)
    limit = limit_of(table.limit)
    bounds = [b for b in (limit.minimum, limit.maximum) if b is not None] if limit is not None else []
    tell = {*table.tell, *((table.planned,) if table.planned is not None else ())}
    if table.kind == "duration":
        tell |= set(bounds)  # the clock is never silent when the time that counts has passed
    return TimedTest(
        kind=table.kind,
        reading_id=table.reading,
        span=(table.span[0], table.span[1]) if table.span is not None else None,
        planned=table.planned,
        tell=tuple(sorted(tell)),
        by_reading=table.by_reading,
        result=Reading(
            id=table.id,
            name=table.name,
            say=tuple(dict.fromkeys((table.name, *(table.say or ())))),
            unit=unit,
            low=Fraction(0),
            high=2 * max((*bounds, Fraction(1))),
            resolution=RESULT_RESOLUTION,
            limit=limit,
            required=table.required,
        ),
    )


def result_unit(table: TimedTable, point: PointTable) -> str:
    """Return the unit of a test's result; that of a loss is empty while its reading is missing."""
    if table.kind != "loss":
        return "second"
    return next((r.unit + A_MINUTE for r in point.reading if r.id == table.reading), "")


def check_timed(path: KeyPath, test: TimedTable, point: PointTable) -> Iterator[_Fault]:
    """Yield what is wrong with a timed test beside its words, its id and its limit."""
    reading = next((r for r in point.reading if r.id == test.reading), None)
    if test.kind == "duration":
        for key, given in (("reading", test.reading), ("span", test.span)):
            if given is not None:
                what = f'a test of kind "duration" has no {key}: only its time counts'
                yield (*path, key), what, f"Take the {key} out, or choose another kind.", "error"
        if test.by_reading:
            what = 'a test of kind "duration" cannot be run by a reading'
            yield (*path, "by_reading"), what, "Take by_reading out.", "error"
    elif test.reading is None:
        what = f'a test of kind "{test.kind}" needs the reading that is taken'
        yield path, what, 'Add a line: reading = "pressure", the id of a reading of this point.', "error"
    elif reading is None:
        known = [r.id for r in point.reading]
        what = f'"{point.name}" has no reading "{test.reading}"'
        otherwise = "Write one of: " + (", ".join(known) or "this point has no reading yet") + "."
        yield (*path, "reading"), what, suggestion(test.reading, known, otherwise=otherwise), "error"
    if test.by_reading and reading is not None and reading.limit is not None:
        what = f'"{reading.name}" has a limit of its own, so it cannot be taken by the clock alone'
        remedy = "Take by_reading out, or give the test a reading without a limit."
        yield (*path, "by_reading"), what, remedy, "error"
    if test.kind == "build-up":
        if test.span is None or len(test.span) != 2 or test.span[0] >= test.span[1]:
            where = (*path, "span") if test.span is not None else path
            what = "a build-up needs the two values it is stated for, the lower first"
            yield where, what, "Write both, such as span = [85, 100].", "error"
        elif reading is not None and len(reading.range) == 2:
            low, high = reading.range
            for value in test.span:
                if not low <= value <= high:
                    what = f"{show(value)} lies outside the range of the reading, {show(low)} to {show(high)}"
                    yield (*path, "span"), what, "Correct the span, or widen the reading's range.", "error"
    elif test.span is not None and test.kind == "loss":
        yield (*path, "span"), "a loss has no span", "Take the span out, or choose another kind.", "error"
    times = [("planned", test.planned)] if test.planned is not None else []
    for key, seconds in (*times, *(("tell", seconds) for seconds in test.tell)):
        if seconds is not None and seconds <= 0:
            what = f'"{key}" is {show(seconds)}, and a time must be above zero'
            yield (*path, key), what, "Write seconds after the start, such as 30.", "error"
