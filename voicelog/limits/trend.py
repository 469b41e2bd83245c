"""How a reading drifts, and when it may reach its limit; pure.

Two straight lines are fitted to the readings over time: by least squares, with its prediction
interval, and by the median of all slopes (Theil 1950, Sen 1968), which one wild value cannot move. A
drift is only called one where both agree on its direction and least squares is sure of it. A
projection is no judgement: the reading is judged by its limit when it is taken.

Times are days, values are in the reading's own unit. NumPy sums, SciPy gives Student's distribution.
scipy.stats has both fits: its import takes most of a second, which whoever opens a report would wait for,
so it is what the tests compare with.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

import numpy as np

from voicelog.sheet.model import Limit

LEAST_READINGS = 4
"""Fewer say nothing: two parameters are fitted, and the scatter about the line is estimated."""
MOST_READINGS = 60
"""How many of the latest readings a trend is drawn from: a drift of years ago says nothing of now."""
LEAST_DAYS = 1.0
CONFIDENCE = 0.95
FURTHEST_DAYS = 3650.0
"""A crossing projected further off than this is none."""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line through readings over days."""

    intercept: float
    slope: float
    """Units a day."""

    def at(self, day: float) -> float:
        """Return the value of the line on a day."""
        return self.intercept + self.slope * day


@dataclass(frozen=True, slots=True)
class Fit:
    """A line by least squares, and what is needed for its intervals."""

    line: Line
    count: int
    mean_day: float
    spread: float
    """Sum of squared distances of the days from their mean."""
    residual_sd: float
    """Standard deviation about the line, with two degrees of freedom taken off."""
    slope_sd: float
    r_squared: float
    p_value: float
    """Two-sided, of a slope of zero."""

    def prediction(self, day: float, confidence: float = CONFIDENCE) -> tuple[float, float]:
        """Return the interval in which one more reading on that day is expected."""
        middle = self.line.at(day)
        off = (day - self.mean_day) ** 2 / self.spread
        half = (
            _t_quantile(self.count - 2, confidence) * self.residual_sd * math.sqrt(1 + 1 / self.count + off)
        )
        return middle - half, middle + half

    def slope_interval(self, confidence: float = CONFIDENCE) -> tuple[float, float]:
        """Return the interval of the slope, units a day."""
        half = _t_quantile(self.count - 2, confidence) * self.slope_sd
        return self.line.slope - half, self.line.slope + half


@dataclass(frozen=True, slots=True)
class Crossing:
    """When a line reaches a limit."""

    bound: Fraction
    at: datetime
    """By the line of least squares."""
    robust_at: datetime | None
    """By the median of slopes; None where that one never reaches it."""
    earliest: datetime
    """When one reading in forty would first be beyond the bound, were the drift to go on."""


@dataclass(frozen=True, slots=True)
class Trend:
    """How a reading went over time."""

    begun: datetime
    """Day 0 of both lines."""
    last: datetime
    fit: Fit
    robust: Line
    drifts: bool
    """Whether it rises or falls: both lines agree, and by least squares it is no chance."""
    crossing: Crossing | None
    """Where a drift goes toward a bound that it has not reached."""

    @property
    def a_week(self) -> float:
        """Return what it changes by in a week, by the median of slopes."""
        return 7 * self.robust.slope

    def day(self, at: datetime) -> float:
        """Return a time as days since the first reading."""
        return _days(self.begun, at)


def fit_line(days: Sequence[float], values: Sequence[float]) -> Fit:
    """Fit a line by least squares. ValueError for fewer than three readings or a single day."""
    if len(days) < 3 or len(set(days)) < 2:
        raise ValueError("a line with its scatter needs three readings on two days")
    count, at, read = len(days), np.asarray(days, dtype=float), np.asarray(values, dtype=float)
    # From the first value on: equal values then have no scatter at all, whatever their digits.
    mean, level = float(at.mean()), float((read - read[0]).mean())
    across, up = at - mean, read - read[0] - level
    spread, total, both = float(across @ across), float(up @ up), float(across @ up)
    slope = both / spread
    off = up - slope * across
    residual_sd = math.sqrt(float(off @ off) / (count - 2))
    slope_sd = residual_sd / math.sqrt(spread)
    return Fit(
        line=Line(float(read[0]) + level - slope * mean, slope),
        count=count,
        mean_day=mean,
        spread=spread,
        residual_sd=residual_sd,
        slope_sd=slope_sd,
        r_squared=min(both * both / (spread * total), 1.0) if total else 0.0,
        p_value=_p_value(slope, slope_sd, count - 2),
    )


def fit_robust(days: Sequence[float], values: Sequence[float]) -> Line:
    """Fit a line by the median of the slopes between all pairs of readings."""
    at, read = np.asarray(days, dtype=float), np.asarray(values, dtype=float)
    run, rise = at[:, None] - at, read[:, None] - read
    later = run > 0
    slope = float(np.median(rise[later] / run[later]))
    return Line(float(np.median(read)) - slope * float(np.median(at)), slope)


@lru_cache
def _t_quantile(degrees: int, confidence: float) -> float:
    """Return the two-sided quantile of Student's distribution."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + confidence / 2))


def _p_value(slope: float, slope_sd: float, degrees: int) -> float:
    """Return how likely a slope as steep is by chance, up or down, where there is none."""
    from scipy.special import stdtr

    if not slope_sd:
        return 0.0 if slope else 1.0
    return float(2 * stdtr(degrees, -abs(slope / slope_sd)))


def may_cross(days: Sequence[float], values: Sequence[float], limit: Limit) -> bool:
    """Return whether :func:`trend` could project a crossing: quick, for thousands of readings.

    False only where least squares is not sure of a slope, by the same test, or it leads to no bound.
    """
    count = len(days)
    if count < LEAST_READINGS:
        return False
    at, read = np.asarray(days) - days[0], np.asarray(values) - values[0]
    at, read = at - at.mean(), read - read.mean()
    spread, total, both = float(at @ at), float(read @ read), float(at @ read)
    if not spread or not total or (limit.maximum if both > 0 else limit.minimum) is None:
        return False
    r_squared = both * both / (spread * total)
    t = math.sqrt(r_squared * (count - 2) / max(1 - r_squared, 1e-12))
    # A little more than sure: what is on the edge is left to the fit itself.
    return t > 0.999 * _t_quantile(count - 2, CONFIDENCE)


def trend(readings: Sequence[tuple[datetime, Fraction]], limit: Limit | None) -> Trend | None:
    """Return how readings, oldest first, went; None where there are too few to say.

    Times must all have a zone, or none of them.
    """
    if len(readings) < LEAST_READINGS:
        return None
    begun, last = readings[0][0], readings[-1][0]
    days = [_days(begun, at) for at, _ in readings]
    if max(days) - min(days) < LEAST_DAYS:
        return None
    values = [float(value) for _, value in readings]
    fit, robust = fit_line(days, values), fit_robust(days, values)
    agree = fit.line.slope * robust.slope > 0
    drifts = agree and fit.p_value < 1 - CONFIDENCE
    crossing = _crossing(begun, last, fit, robust, limit) if drifts and limit is not None else None
    return Trend(begun, last, fit, robust, drifts, crossing)


@dataclass(frozen=True, slots=True)
class FluidUse:
    """What was used of a fluid, told from how far it stood from its limit at each reading."""

    used: Fraction
    """Sum of all changes toward the limit."""
    topped_up: Fraction
    """Sum of all changes away from it."""
    days: float

    @property
    def in_thirty_days(self) -> float:
        """Return what is used in thirty days, at the pace of all these days."""
        return 30 * float(self.used) / self.days


def fluid_use(readings: Sequence[tuple[datetime, Fraction]], limit: Limit | None) -> FluidUse | None:
    """Return what was used between the first reading and the last, oldest first.

    A level with a greatest bound is told as what is missing ("below full"), one with a least bound as
    what is there. What was used and filled up between two readings is not seen, so this is the least
    that was used. None without a limit, and where the readings do not span a day.
    """
    if limit is None or (limit.maximum is None) == (limit.minimum is None) or len(readings) < 2:
        return None
    days = _days(readings[0][0], readings[-1][0])
    if days < LEAST_DAYS:
        return None
    missing = 1 if limit.maximum is not None else -1
    changes = [missing * (after - before) for (_, before), (_, after) in pairwise(readings)]
    used = sum((c for c in changes if c > 0), Fraction(0))
    return FluidUse(used, -sum((c for c in changes if c < 0), Fraction(0)), days)


def _crossing(begun: datetime, last: datetime, fit: Fit, robust: Line, limit: Limit) -> Crossing | None:
    rising = fit.line.slope > 0
    bound = limit.maximum if rising else limit.minimum
    now = _days(begun, last)
    if bound is None or (fit.line.at(now) >= bound if rising else fit.line.at(now) <= bound):
        return None
    day = _reaches(fit.line, float(bound))
    if day is None or day > now + FURTHEST_DAYS:
        return None
    robust_day = _reaches(robust, float(bound))
    return Crossing(
        bound=bound,
        at=begun + timedelta(days=day),
        robust_at=_date(begun, robust_day, now),
        earliest=begun + timedelta(days=_band_reaches(fit, float(bound), now, day, rising)),
    )


def _reaches(line: Line, bound: float) -> float | None:
    return (bound - line.intercept) / line.slope if line.slope else None


def _date(begun: datetime, day: float | None, now: float) -> datetime | None:
    if day is None or not now - FURTHEST_DAYS < day < now + FURTHEST_DAYS:
        return None
    return begun + timedelta(days=day)


def _band_reaches(fit: Fit, bound: float, now: float, crossing: float, rising: bool) -> float:
    """Return the first day from ``now`` on which the prediction interval touches the bound."""

    def beyond(day: float) -> bool:
        low, high = fit.prediction(day)
        return high >= bound if rising else low <= bound

    if beyond(now):
        return now
    # The interval holds the line, so by the day on which the line crosses it has touched.
    early, late = now, crossing
    while late - early > 1 / 24:
        middle = (early + late) / 2
        early, late = (early, middle) if beyond(middle) else (middle, late)
    return late


def _days(begun: datetime, at: datetime) -> float:
    return (at - begun).total_seconds() / 86_400
