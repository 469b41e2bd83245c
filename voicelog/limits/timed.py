"""What two readings and the time between them come to, exactly, with the bounds of the error.

Every quantity is an :class:`Estimate`: a value and the interval that it must lie in, as exact
fractions. A reading may be half its resolution off either way. The bounds are of the worst case, not
of a standard deviation: every value that the truth may have is between them (interval arithmetic as in
R. E. Moore, Interval Analysis, 1966, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from voicelog.limits.judge import Judgement, judge
from voicelog.sheet.model import Limit

MINUTE = 60
"""Seconds."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value, and the least and the most that it may be. ValueError where it is not between them."""

    value: Fraction
    low: Fraction
    high: Fraction

    def __post_init__(self) -> None:
        if not self.low <= self.value <= self.high:
            raise ValueError(f"{self.value} is not from {self.low} to {self.high}")

    def minus(self, other: Estimate) -> Estimate:
        """Return the difference of two values that err independently."""
        return Estimate(self.value - other.value, self.low - other.high, self.high - other.low)

    def times(self, factor: Fraction | int) -> Estimate:
        """Return the value times a positive factor that is known exactly."""
        return Estimate(self.value * factor, self.low * factor, self.high * factor)

    def over(self, other: Estimate) -> Estimate:
        """Return the quotient. ValueError where the divisor may be zero or less: it has no bounds."""
        if other.low <= 0:
            raise ValueError("the divisor may be zero")
        corners = [a / b for a in (self.low, self.high) for b in (other.low, other.high)]
        return Estimate(self.value / other.value, min(corners), max(corners))


def read(value: Fraction, resolution: Fraction) -> Estimate:
    """Return a reading that was rounded to the nearest step of ``resolution``."""
    return Estimate(value, value - resolution / 2, value + resolution / 2)


def loss_per_minute(first: Estimate, last: Estimate, seconds: Estimate) -> Estimate:
    """Return how much a reading falls in a minute, in its unit a minute; negative where it rises.

    ValueError where no time may have passed.
    """
    return first.minus(last).over(seconds).times(MINUTE)


def build_up_time(
    first: Estimate, last: Estimate, seconds: Estimate, span: tuple[Fraction, Fraction]
) -> Estimate:
    """Return the seconds that it takes from one end of ``span`` to the other, at the rate seen.

    ValueError where the reading may not have risen.
    """
    start, end = span
    return seconds.over(last.minus(first)).times(end - start)


def covers(first: Fraction, last: Fraction, span: tuple[Fraction, Fraction]) -> bool:
    """Return whether a build-up was seen over enough of its span to be scaled to it.

    A compressor fills ever slower, so that the time of another part of the range says little. Two
    thirds of the span must have been seen, and two thirds of what was seen must be of the span
    (our own choice, no published source).
    """
    shared = min(last, span[1]) - max(first, span[0])
    return 3 * shared >= 2 * (span[1] - span[0]) and 3 * shared >= 2 * (last - first)


def judgements(estimate: Estimate, limit: Limit | None) -> tuple[Judgement, ...]:
    """Return every judgement that the true value may have, the one of the value itself first.

    More than one means that the limit lies between the bounds: a doubt, never a pass.
    """
    first = judge(estimate.value, limit)
    bounds = [] if limit is None else [b for b in (limit.minimum, limit.maximum) if b is not None]
    inside = [b for b in bounds if estimate.low < b < estimate.high]
    places = (estimate.low, *inside, estimate.high)
    return tuple(dict.fromkeys((first, *(judge(place, limit) for place in places))))
