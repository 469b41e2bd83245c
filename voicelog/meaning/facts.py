"""Facts: what a record is made of. Plain data, read and written as JSON without loss.

A :class:`Claim` is one fact about one point. A :class:`Doubt` is a slot of it that is not certain
enough. :class:`Heard` says where it came from.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from pydantic import BaseModel, ConfigDict

from voicelog.limits.judge import Judgement

EntryPolarity = Literal["sound", "defect"]
Slot = Literal["point", "side", "condition", "value", "polarity"]
How = Literal["speech", "keyboard", "screen"]


class Frozen(BaseModel):
    """Immutable, and closed: an unknown field is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Sealed(Frozen):
    """What a person seals with their key, where people are on record."""

    key_id: str = ""
    """The key it is sealed with; empty where nobody was on record, or where it needs no seal."""


class Judged(Sealed):
    """What a person decided about something on record: by whom, and why."""

    by: str
    reason: str


class Claim(Frozen):
    """One fact about one point: a condition, or a reading's value."""

    point_id: str
    condition_id: str | None = None
    reading_id: str | None = None
    value: Fraction | None = None
    """In ``unit``, exactly as spoken; a string like ``1/2`` in JSON."""
    unit: str | None = None
    judgement: Judgement | None = None
    """For readings: against the limit."""
    polarity: EntryPolarity
    """For readings: defect when outside the limit."""
    class_id: str | None = None
    low: Fraction | None = None
    """For a computed result or that of a timed test: the least that the value may be, in ``unit``."""
    high: Fraction | None = None
    """For a computed result or that of a timed test: the most that the value may be, in ``unit``."""


class Candidate(Frozen):
    """One of the things that may have been meant."""

    claim: Claim
    posterior: float
    said: str
    """The phrase that would mean it, short enough to be asked back."""


class Doubt(Frozen):
    """A slot that is not certain enough, and the question that settles it."""

    slot: Slot
    question: str
    reason: str
    candidates: tuple[Candidate, ...]


class Heard(Frozen):
    """Where a fact came from: the words and the sound."""

    text: str
    """The best phrase of the graph, or what was typed."""
    free_text: str = ""
    """The best unconstrained reading."""
    clip: str | None = None
    """SHA-256 of the sound clip's FLAC file; None for the keyboard."""
    start_s: float = 0.0
    end_s: float = 0.0
    """Seconds from the start of the recording or stream."""
    how: How = "speech"
