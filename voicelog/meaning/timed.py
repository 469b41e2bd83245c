"""What is said of a timed test: which, and what of it; resolved from a phrase's spans."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from voicelog.phrases.parses import Parse
from voicelog.sheet.model import Reading, Sheet, TimedTest

TimedVerb = Literal["start", "mark", "stop", "correct"]
_VERBS: dict[str, TimedVerb] = {"start": "start", "mark": "mark", "stop": "stop"}
"""Of the phrase graph; a correction is said as one of a reading."""


@dataclass(frozen=True, slots=True)
class TimedSaid:
    """One thing said of a timed test."""

    verb: TimedVerb
    point_id: str
    timed_id: str
    value: Fraction | None = None
    """The reading, in its own unit."""


@dataclass(frozen=True, slots=True)
class TimedHeard:
    """The same as it was heard: with every value that it may have had, and whether it is in doubt."""

    said: TimedSaid
    values: tuple[tuple[Fraction, float], ...] = ()
    """Values and their posteriors, likeliest first."""
    doubt: str = ""
    """Why it is in doubt; empty where it is sure."""


@dataclass(frozen=True, slots=True)
class TimedContext:
    """The test whose clock runs, or whose result was the last entry."""

    point_id: str
    test: TimedTest
    reading: Reading | None
    running: bool

    def said(self, verb: TimedVerb, value: Fraction | None = None) -> TimedSaid:
        """Return something said of this test."""
        return TimedSaid(verb, self.point_id, self.test.id, value)

    def can_read(self, value: Fraction) -> bool:
        """Return whether a number alone can be a reading of this test."""
        of = self.reading
        return of is not None and of.low <= value <= of.high and ((value - of.low) / of.resolution) % 1 == 0


def timed_said(parse: Parse, context: TimedContext | None) -> TimedSaid | None:
    """Return what a phrase with a ``timed`` span says; None where no test can be meant."""
    verb = _VERBS[next(span.value for span in parse if span.name == "timed")]
    named = next((span.value for span in parse if span.name == "test"), None)
    value = next((Fraction(span.value) for span in parse if span.name == "value"), None)
    if named is not None:
        point_id, _, timed_id = named.partition("/")
    elif context is not None:
        point_id, timed_id = context.point_id, context.test.id
    else:
        return None
    return TimedSaid(verb, point_id, timed_id, value)


def start_at_hand(sheet: Sheet, at_hand: tuple[str, ...]) -> TimedSaid | None:
    """Return the start of the one test of the point at hand; None where there is none, or more than one."""
    for point_id in at_hand:
        tests = sheet.points[point_id].timed
        if tests:
            return TimedSaid("start", point_id, tests[0].id) if len(tests) == 1 else None
    return None
