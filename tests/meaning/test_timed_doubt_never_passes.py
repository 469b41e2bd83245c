"""A doubt never becomes a pass, for the results of timed tests: over readings, resolutions and times.

What the truth may be is worked out here by hand from the marks, not with the code under test.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction as F
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicelog.sheet import load_sheet, load_unit
from voicelog.sheet.model import Limit, Sheet
from voicelog.walk.moments import Mark, MayBe, Moment
from voicelog.walk.runs import TimedRun
from voicelog.walk.timed_result import NoResult, result

ROOT = Path(__file__).parents[2]
AT = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    unit = load_unit(ROOT / "samples" / "engine_61.toml")
    return load_sheet(ROOT / "grammars" / "air_brakes.toml", unit=unit)


def changed(sheet: Sheet, point_id: str, resolution: F, limit: Limit) -> Sheet:
    """The sheet with another resolution of the reading and another limit of the test."""
    point = sheet.points[point_id]
    point = replace(
        point,
        readings=tuple(replace(r, resolution=resolution) for r in point.readings),
        timed=tuple(replace(t, result=replace(t.result, limit=limit)) for t in point.timed),
    )
    stops = tuple(
        replace(s, points=tuple(point if p.id == point_id else p for p in s.points)) for s in sheet.stops
    )
    return replace(sheet, stops=stops)


TIMES = st.fractions(0, 400, max_denominator=50)
EARLY = st.fractions(0, 2, max_denominator=20)
READINGS = st.lists(st.integers(60, 130), min_size=1, max_size=3, unique=True)


def mark(at: F, early: F, late: F, values: list[int], doubt: str = "") -> Mark:
    weights = [0.97, 0.02, 0.01]
    candidates = tuple(MayBe(value=F(v), posterior=w) for v, w in zip(values, weights, strict=False))
    moment = Moment(clock="sound", at_s=at, earliest_s=at - early, latest_s=at + late)
    return Mark(moment=moment, value=F(values[0]) if values else None, candidates=candidates, doubt=doubt)


@settings(max_examples=400, deadline=None)
@given(
    point=st.sampled_from([("brakes_released", "static_loss"), ("air_supply", "build_up")]),
    resolution=st.sampled_from([F(1, 2), F(1), F(2), F(5)]),
    bound=st.integers(1, 60),
    start=TIMES,
    lasting=TIMES,
    errors=st.tuples(EARLY, EARLY, EARLY, EARLY),
    first=READINGS,
    last=READINGS,
    doubt=st.sampled_from(["", "", "not heard clearly enough"]),
)
def test_a_result_that_stands_as_sound_is_within_its_limit_at_the_worst(
    sheet: Sheet,
    point: tuple[str, str],
    resolution: F,
    bound: int,
    start: F,
    lasting: F,
    errors: tuple[F, F, F, F],
    first: list[int],
    last: list[int],
    doubt: str,
) -> None:
    """For every reading that may have been said and every moment: within, or there is a doubt."""
    of = changed(sheet, point[0], resolution, Limit(None, F(bound), "a test", "maker"))
    a, b, c, d = errors
    marks = (mark(start, a, b, first), mark(start + lasting, c, d, last, doubt))
    found = result(TimedRun("t1", *point, marks, AT), of)
    if isinstance(found, NoResult) or found.doubts or found.claim.polarity == "defect":
        return
    assert not doubt
    shortest, longest = lasting - b - c, lasting + a + d
    for begun in first:
        for ended in last:
            if point[1] == "static_loss":
                fallen = begun - ended + resolution
                worst = fallen / (shortest if fallen > 0 else longest) * 60
            else:
                worst = 15 * longest / (ended - begun - resolution)
            assert worst <= bound
            assert shortest > 0


@settings(max_examples=200, deadline=None)
@given(
    minimum=st.booleans(),
    bound=st.integers(1, 300),
    lasting=TIMES,
    errors=st.tuples(EARLY, EARLY, EARLY, EARLY),
    doubt=st.sampled_from(["", "the sound broke off"]),
)
def test_a_duration_that_stands_as_sound_has_surely_been_long_or_short_enough(
    sheet: Sheet, minimum: bool, bound: int, lasting: F, errors: tuple[F, F, F, F], doubt: str
) -> None:
    """The shortest that it may have been for a least time, the longest for a most."""
    limit = Limit(F(bound) if minimum else None, None if minimum else F(bound), "a test", "maker")
    of = changed(sheet, "turbocharger", F(1), limit)
    a, b, c, d = errors
    marks = (mark(F(5), a, b, []), mark(F(5) + lasting, c, d, [], doubt))
    found = result(TimedRun("t1", "turbocharger", "idle_down", marks, AT), of)
    if isinstance(found, NoResult) or found.doubts or found.claim.polarity == "defect":
        return
    assert not doubt
    assert lasting - b - c >= bound if minimum else lasting + a + d <= bound
