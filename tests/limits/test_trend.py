"""Drift of readings, held against certified and published values."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from voicelog.limits.trend import LEAST_READINGS, fit_line, fit_robust, trend
from voicelog.sheet.model import Limit

# NIST Statistical Reference Datasets, linear regression, "Norris" (itl.nist.gov/div898/strd).
NORRIS_X = (
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
    447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3,
    229.2, 669.1, 448.9, 0.5,
)  # fmt: skip
NORRIS_Y = (
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3,
    448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6,
    228.9, 668.4, 449.2, 0.2,
)  # fmt: skip
BEGUN = datetime(2026, 1, 5, 7, 0, tzinfo=UTC)


def limit(low: str | None = None, high: str | None = None) -> Limit:
    bounds = [None if bound is None else Fraction(bound) for bound in (low, high)]
    return Limit(bounds[0], bounds[1], "the test", "common practice")


def weekly(values: list[float]) -> list[tuple[datetime, Fraction]]:
    return [(BEGUN + timedelta(weeks=n), Fraction(str(round(v, 6)))) for n, v in enumerate(values)]


def test_least_squares_meets_the_certified_values() -> None:
    """NIST StRD Norris: intercept, slope, their scatter, and R squared, to nine digits and more."""
    fit = fit_line(NORRIS_X, NORRIS_Y)
    assert fit.line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert fit.line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert fit.slope_sd == pytest.approx(0.429796848199937e-03, rel=1e-9)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)
    assert fit.r_squared == pytest.approx(0.999993745883712, rel=1e-12)


@given(
    st.lists(
        st.tuples(st.integers(0, 3000), st.fractions(0, 300, max_denominator=64)),
        min_size=LEAST_READINGS,
        max_size=60,
        unique_by=lambda reading: reading[0],
    )
)
def test_both_fits_are_those_of_a_general_library(readings: list[tuple[int, Fraction]]) -> None:
    """Line, scatter, chance and median of slopes as scipy.stats has them, of whatever was read."""
    days = [day / 7 for day, _ in sorted(readings)]
    values = [float(value) for _, value in sorted(readings)]
    assume(len(set(values)) > 1)  # scipy has no scatter of equal values; the next test is of them
    size = max(map(abs, values)) or 1.0
    fit, robust = fit_line(days, values), fit_robust(days, values)
    least, middle = stats.linregress(days, values), stats.theilslopes(values, days)
    for ours, theirs in ((fit.line, least), (robust, middle)):
        assert ours.slope == pytest.approx(theirs.slope, rel=1e-9, abs=1e-12 * size)
        assert ours.intercept == pytest.approx(theirs.intercept, rel=1e-9, abs=1e-10 * size)
    assert fit.slope_sd == pytest.approx(least.stderr, rel=1e-6, abs=1e-8 * size)
    assert fit.r_squared == pytest.approx(least.rvalue**2, abs=1e-9)
    assert fit.p_value == pytest.approx(least.pvalue, rel=1e-5, abs=1e-7)


def test_equal_values_have_no_drift() -> None:
    """Whatever their digits: no slope, no scatter, nothing that is not chance."""
    fit = fit_line([0.0, 7.0, 14.0, 21.0], [0.1] * 4)
    assert (fit.line.slope, fit.residual_sd, fit.r_squared, fit.p_value) == (0, 0, 0, 1)


def test_the_prediction_interval_holds_the_share_it_says() -> None:
    """Of one more reading in 4,000 made-up series, 95 in 100 are inside, also beyond the last day."""
    rng = np.random.default_rng(7)
    days, inside, series = np.arange(10.0), 0, 4000
    for _ in range(series):
        values = 3 + 0.2 * days + rng.normal(0, 0.5, len(days))
        low, high = fit_line(days.tolist(), values.tolist()).prediction(14.0)
        inside += low <= 3 + 0.2 * 14 + rng.normal(0, 0.5) <= high
    # Four standard deviations of the count itself.
    assert abs(inside / series - 0.95) < 4 * (0.95 * 0.05 / series) ** 0.5


def test_the_slope_interval_is_that_of_a_general_library() -> None:
    """At the edge of the interval of the slope, the two-sided test of that slope gives 5 %."""
    fit = fit_line(NORRIS_X, NORRIS_Y)
    low, high = fit.slope_interval()
    for edge in (low, high):
        residual = [y - edge * x for x, y in zip(NORRIS_X, NORRIS_Y, strict=True)]
        assert stats.linregress(NORRIS_X, residual).pvalue == pytest.approx(0.05, abs=1e-6)


def test_one_wild_value_does_not_move_the_robust_line() -> None:
    """The median of slopes stays; least squares does not (Sen 1968, the point of the estimator)."""
    days = [float(n) for n in range(10)]
    values = [2 + 0.1 * day for day in days]
    values[7] = 60.0
    assert fit_robust(days, values).slope == pytest.approx(0.1, abs=0.02)
    assert fit_line(days, values).line.slope > 1


def test_a_drift_is_projected_to_its_limit() -> None:
    """A belt that gives 1/32 inch more each week from 1/4 inch is at 1/2 inch in eight weeks."""
    found = trend(weekly([0.25 + n / 32 + (0.002 if n % 2 else -0.002) for n in range(6)]), limit(high="1/2"))
    assert found is not None and found.drifts and found.crossing is not None
    assert abs(found.crossing.at - (BEGUN + timedelta(weeks=8))) < timedelta(days=3)
    assert found.crossing.robust_at is not None
    assert abs(found.crossing.robust_at - found.crossing.at) < timedelta(days=3)
    assert found.last <= found.crossing.earliest <= found.crossing.at
    assert found.a_week == pytest.approx(1 / 32, rel=0.1)


@pytest.mark.parametrize(
    ("what", "values", "bounds"),
    [
        ("too few", [0.2, 0.3, 0.4], (None, "1/2")),
        ("no drift", [0.3, 0.31, 0.29, 0.3, 0.31, 0.29], (None, "1/2")),
        ("away from its bound", [0.4, 0.35, 0.3, 0.25, 0.2], (None, "1/2")),
        ("beyond it already", [0.6, 0.65, 0.7, 0.75, 0.8], (None, "1/2")),
        ("no limit on that side", [12.6, 12.5, 12.4, 12.3], (None, "15")),
    ],
)
def test_nothing_is_projected(what: str, values: list[float], bounds: tuple[str | None, str | None]) -> None:
    """Where there is nothing to project, no date is made up."""
    found = trend(weekly(values), limit(*bounds))
    assert found is None or found.crossing is None, what


def test_readings_of_one_morning_are_no_trend() -> None:
    """However many there are."""
    readings = [(BEGUN + timedelta(minutes=n), Fraction(n)) for n in range(2 * LEAST_READINGS)]
    assert trend(readings, None) is None


@given(st.lists(st.fractions(0, 100, max_denominator=64), min_size=LEAST_READINGS, max_size=30))
def test_a_crossing_lies_ahead_and_its_warning_before_it(values: list[Fraction]) -> None:
    """Whatever the readings: never in the past, and the earliest date never after the likeliest."""
    readings = [(BEGUN + timedelta(weeks=n), value) for n, value in enumerate(values)]
    found = trend(readings, limit("10", "90"))
    if found is not None and found.crossing is not None:
        assert readings[-1][0] <= found.crossing.earliest
        assert found.crossing.earliest <= found.crossing.at + timedelta(hours=1)
