"""Losses, build-up times and durations: exact, and with bounds that hold everything the truth may be."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from mpmath import iv, mpf

from voicelog.limits.rounding import written
from voicelog.limits.timed import (
    Estimate,
    build_up_time,
    covers,
    judgements,
    loss_per_minute,
    read,
)
from voicelog.sheet.model import Limit

SPAN = (F(85), F(100))


def exactly(value: str | int) -> Estimate:
    return Estimate(F(value), F(value), F(value))


def at_most(value: str | int) -> Limit:
    return Limit(None, F(value), "a test", "common practice")


def at_least(value: str | int) -> Limit:
    return Limit(F(value), None, "a test", "common practice")


# The commercial driver's manual (AAMVA model, section 5.3, as reprinted), single vehicle: a loss of 2 psi in
# one minute with brakes released, 3 applied; California's text says "not more than". Ontario's handbook
# allows 4 psi a minute for class A and 3 for class D. At the figure itself a loss is within it.
@pytest.mark.parametrize(
    ("first", "last", "seconds", "limit", "judged"),
    [
        ("110", "108", 60, 2, "within"),
        ("110", "107", 60, 2, "above"),
        ("110", "107", 60, 3, "within"),
        ("110", "106", 60, 3, "above"),
        ("110", "106", 60, 4, "within"),
        ("110", "105", 60, 4, "above"),
        ("110", "106", 120, 2, "within"),
        ("110", "109", 29, 2, "above"),
    ],
)
def test_losses_of_the_manuals(first: str, last: str, seconds: int, limit: int, judged: str) -> None:
    """Exact readings and times are judged as the manual says."""
    loss = loss_per_minute(exactly(first), exactly(last), exactly(seconds))
    assert judgements(loss, at_most(limit)) == (judged,)


# The same manual: a dual system builds up from 85 to 100 psi within 45 seconds; a single one of before
# 1975 from 50 to 90 psi within three minutes.
@pytest.mark.parametrize(
    ("first", "last", "seconds", "span", "limit", "judged"),
    [
        (85, 100, 45, (85, 100), 45, "within"),
        (85, 100, "45.1", (85, 100), 45, "above"),
        (80, 100, 60, (85, 100), 45, "within"),
        (80, 100, "60.1", (85, 100), 45, "above"),
        (50, 90, 180, (50, 90), 180, "within"),
        (50, 80, 140, (50, 90), 180, "above"),
    ],
)
def test_build_up_of_the_manual(
    first: int, last: int, seconds: str | int, span: tuple[int, int], limit: int, judged: str
) -> None:
    """A time over another span is scaled to the stated one."""
    stated = (F(span[0]), F(span[1]))
    time = build_up_time(exactly(first), exactly(last), exactly(seconds), stated)
    assert judgements(time, at_most(limit)) == (judged,)


def test_required_build_up_time_of_the_standard_is_a_limit_that_can_be_met() -> None:
    """FMVSS 121 S5.1.1: within actual capacity x 25 / required capacity seconds, from 85 to 100 psi."""
    allowed = F(3000) * 25 / F(2400)
    assert (
        judgements(build_up_time(exactly(85), exactly(100), exactly("31.25"), SPAN), at_most(0))[0] == "above"
    )
    time = build_up_time(exactly(85), exactly(100), exactly("31.25"), SPAN)
    limit = Limit(None, allowed, "49 CFR 571.121 S5.1.1", "published")
    assert judgements(time, limit) == ("within",)


PSI = st.integers(0, 150)
SECONDS = st.fractions(5, 600, max_denominator=1000)
ERROR_S = st.fractions(0, 2, max_denominator=100)
STEP = st.sampled_from([F(1), F(2), F(5), F(1, 2)])
UNIT = st.fractions(0, 1, max_denominator=50)


def interval(estimate: Estimate) -> object:
    """The same bounds in mpmath, which rounds each outward."""
    low, high = (mpf(b.numerator) / mpf(b.denominator) for b in (estimate.low, estimate.high))
    return iv.mpf([low, high])


def near(found: F, expected: object) -> bool:
    return abs(float(found) - float(expected)) <= 1e-9 * max(1.0, abs(float(found)))  # type: ignore[arg-type]


@settings(deadline=None)
@given(first=PSI, last=PSI, seconds=SECONDS, error=ERROR_S, step=STEP)
def test_bounds_of_a_loss_are_those_of_interval_arithmetic(
    first: int, last: int, seconds: F, error: F, step: F
) -> None:
    """Against mpmath's interval arithmetic, on the same bounds."""
    time = Estimate(seconds, seconds - error, seconds + error)
    begun, ended = read(F(first), step), read(F(last), step)
    found = loss_per_minute(begun, ended, time)
    expected = (interval(begun) - interval(ended)) / interval(time) * 60  # type: ignore[operator]
    assert near(found.low, expected.a.a) and near(found.high, expected.b.b)


@settings(deadline=None)
@given(first=PSI, last=PSI, seconds=SECONDS, error=ERROR_S, step=STEP)
def test_bounds_of_a_build_up_are_those_of_interval_arithmetic(
    first: int, last: int, seconds: F, error: F, step: F
) -> None:
    """Against mpmath's interval arithmetic, on the same bounds."""
    assume(last - first > step)
    time = Estimate(seconds, seconds - error, seconds + error)
    begun, ended = read(F(first), step), read(F(last), step)
    found = build_up_time(begun, ended, time, SPAN)
    expected = interval(time) / (interval(ended) - interval(begun)) * 15  # type: ignore[operator]
    assert near(found.low, expected.a.a) and near(found.high, expected.b.b)


@settings(deadline=None)
@given(first=PSI, last=PSI, seconds=SECONDS, error=ERROR_S, step=STEP, a=UNIT, b=UNIT, c=UNIT)
def test_no_truth_lies_outside_the_bounds(
    first: int, last: int, seconds: F, error: F, step: F, a: F, b: F, c: F
) -> None:
    """Whatever the pressures and the time really were within their errors, the loss is within its own."""
    time = Estimate(seconds, seconds - error, seconds + error)
    found = loss_per_minute(read(F(first), step), read(F(last), step), time)
    true_first, true_last = first + (a - F(1, 2)) * step, last + (b - F(1, 2)) * step
    true_time = seconds + (2 * c - 1) * error
    assert found.low <= (true_first - true_last) / true_time * 60 <= found.high


@pytest.mark.parametrize(
    ("low", "value", "high", "limit", "expected"),
    [
        (0, 1, 2, at_most(2), ("within",)),
        (0, 1, 3, at_most(2), ("within", "above")),
        (1, 3, 4, at_most(2), ("above", "within")),
        (3, 4, 5, at_most(2), ("above",)),
        (180, 181, 182, at_least(180), ("within",)),
        (179, 181, 182, at_least(180), ("within", "below")),
        (0, 5, 10, Limit(F(4), F(6), "a test", "maker"), ("within", "below", "above")),
        (0, 1, 3, None, ("no limit",)),
    ],
)
def test_a_limit_between_the_bounds_leaves_more_than_one_judgement(
    low: int, value: int, high: int, limit: Limit | None, expected: tuple[str, ...]
) -> None:
    """Only bounds on one side of a limit are judged at all; a bound on the limit is within it."""
    estimate = Estimate(F(value), F(low), F(high))
    found = judgements(estimate, limit)
    assert found[0] == expected[0] and set(found) == set(expected)


def test_nothing_follows_from_no_time_or_no_rise() -> None:
    """A quotient that has no bounds is refused, not guessed."""
    with pytest.raises(ValueError):
        loss_per_minute(exactly(110), exactly(108), Estimate(F(1), F(0), F(2)))
    with pytest.raises(ValueError):
        build_up_time(read(F(85), F(1)), read(F(86), F(1)), exactly(10), SPAN)


@pytest.mark.parametrize(
    ("first", "last", "enough"),
    [(85, 100, True), (80, 100, True), (86, 99, True), (60, 75, False), (85, 94, False), (40, 120, False)],
)
def test_a_build_up_of_another_part_of_the_range_is_not_scaled(first: int, last: int, enough: bool) -> None:
    """Two thirds each way: our own choice, no published source."""
    assert covers(F(first), F(last), SPAN) == enough


@settings(deadline=None)
@given(value=st.fractions(0, 200, max_denominator=9999), bound=st.integers(0, 200))
def test_rounding_for_people_never_crosses_the_limit(value: F, bound: int) -> None:
    """2.04 is not written as 2.0 against a limit of 2."""
    shown = F(written(value, [F(bound)], 2))
    assert (shown > bound) == (value > bound) and (shown < bound) == (value < bound)
