"""What there is to tell of a stream of sound besides its sound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

LossReason = Literal["no sound comes", "it was disconnected", "another source took its place"]
STAND_IN_S = 0.9
"""So long before the loss an utterance may begin and yet have no speech but that of the source which
took the microphone's place: the time until that is known, and what is kept from before speech."""


@dataclass(frozen=True, slots=True)
class Lost:
    """The microphone is gone; ``at_s`` is where its sound ends, in seconds of the stream."""

    reason: LossReason
    at_s: float


@dataclass(frozen=True, slots=True)
class Back:
    """The microphone is there again; nothing was heard for ``seconds`` before ``at_s``."""

    at_s: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Missed:
    """Overruns: sound was not taken in time, about ``seconds`` of it, in ``times`` pieces."""

    at_s: float
    seconds: float
    times: int


@dataclass(frozen=True, slots=True)
class Silent:
    """The microphone has given nothing but zeros for ``seconds``, as one that is muted does."""

    at_s: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Waiting:
    """Nothing new; given a few times a second while there is no sound."""

    at_s: float


Notice = Lost | Back | Missed | Silent | Waiting


@dataclass(frozen=True, slots=True)
class StreamSummary:
    """A stream from its opening to its end, in seconds of the wall clock."""

    seconds: float
    lost_s: float
    """Of these, without a microphone."""
    missed_s: float
    overruns: int
    drift_s: float
    """What the device's own clock lost against the wall clock; below 0, gained. It is taken out
    of the times in the record."""
