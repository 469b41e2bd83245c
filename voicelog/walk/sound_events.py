"""What befell the microphone, as facts of the record. See :mod:`voicelog.walk.events`."""

from __future__ import annotations

from typing import Literal

from voicelog.meaning.facts import Frozen


class SoundLost(Frozen):
    """The microphone dropped out: from here on nothing is heard until ``sound back``."""

    kind: Literal["sound lost"] = "sound lost"
    reason: str
    at_s: float
    """Where the sound ends, in seconds of the stream."""


class SoundBack(Frozen):
    """The microphone is there again."""

    kind: Literal["sound back"] = "sound back"
    at_s: float
    """Where the sound goes on, in seconds of the stream."""
    seconds: float
    """How long nothing was heard."""


class SoundMissed(Frozen):
    """Overruns: some sound came faster than it was taken, and is lost."""

    kind: Literal["sound missed"] = "sound missed"
    at_s: float
    seconds: float
    """How much, at least."""
    times: int


class StreamEnded(Frozen):
    """The microphone was closed: how its stream went, in wall-clock seconds."""

    kind: Literal["stream ended"] = "stream ended"
    seconds: float
    lost_s: float
    """Of these, without a microphone."""
    missed_s: float
    overruns: int
    drift_s: float
    """What the device's clock lost against the wall clock (below 0: gained). The times in the
    record have been put right by it."""
