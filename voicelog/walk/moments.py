"""When something was said, on which clock, and how sure that is; and what was read then.

Speech: the moment is the beginning of the utterance, on the clock of the sound, because a person who
reads a gauge aloud, or says "start" at the valve, begins to speak as it happens. It may have been
:data:`REACTION_S` before the first sound, and as late as the end of the utterance. What the engine
takes to decode does not enter: the clock of the sound does not wait for it.

Keyboard: the moment is when the line was entered, since a line can be typed beforehand and entered as
it happens, within :data:`KEY_S` either way. It is on the clock that was passed in, or on the clock of
the sound where a microphone is open.
"""

from __future__ import annotations

from fractions import Fraction

from voicelog.limits.timed import Estimate
from voicelog.meaning.facts import Frozen

REACTION_S = Fraction(1, 2)
"""From seeing to speaking, at most: our own estimate, no published source."""

KEY_S = Fraction(1)
"""From seeing to pressing the key, and the other way about: our own estimate, no published source."""

LIVE = "microphone"
"""The clock of a microphone. It stands still while sound is lost, and begins anew with the program."""

WALL = "wall"
"""The clock of a walk by keyboard: seconds since 1970. Any other clock is that of a sound."""


class Moment(Frozen):
    """A point in time, in seconds on a clock, with the bounds that it must lie between."""

    clock: str
    """:data:`WALL`, or the source of the sound: two moments compare only on one clock."""
    at_s: Fraction
    earliest_s: Fraction
    latest_s: Fraction
    wall_s: Fraction | None = None
    """For a microphone: the wall clock when it was heard, in seconds since 1970, to find lost sound by."""

    @property
    def estimate(self) -> Estimate:
        """The moment as a value with bounds, in seconds."""
        return Estimate(self.at_s, self.earliest_s, self.latest_s)


class MayBe(Frozen):
    """A value that may have been said."""

    value: Fraction
    posterior: float


class Mark(Frozen):
    """One moment of a timed test, and the reading said then."""

    moment: Moment
    value: Fraction | None = None
    """In the reading's unit; the likeliest where it is in doubt."""
    candidates: tuple[MayBe, ...] = ()
    """Every value that may have been said, likeliest first; empty without a reading."""
    doubt: str = ""
    """Why what was said is in doubt; empty where it is sure."""


def milliseconds(seconds: float) -> Fraction:
    """Return seconds as an exact number of milliseconds: finer than any clock here is."""
    return Fraction(round(seconds * 1000), 1000)


def spoken_moment(clock: str, start_s: float, end_s: float, wall_s: float | None = None) -> Moment:
    """Return the moment of an utterance on the clock of its sound."""
    begun = milliseconds(start_s)
    return Moment(
        clock=clock,
        at_s=begun,
        earliest_s=begun - REACTION_S,
        latest_s=max(begun, milliseconds(end_s)),
        wall_s=milliseconds(wall_s) if wall_s is not None else None,
    )


def keyed_moment(clock: str, seconds: float) -> Moment:
    """Return the moment of a line that was entered."""
    at = milliseconds(seconds)
    return Moment(clock=clock, at_s=at, earliest_s=at - KEY_S, latest_s=at + KEY_S)
