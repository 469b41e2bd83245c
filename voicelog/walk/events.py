"""The facts that make up a record, in the order they happened.

Append-only: a correction is a new event that names what it corrects, who and why. The state of
a walk is these events folded (:mod:`voicelog.walk.state`); the store keeps them as they are.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

Judgement = Literal["within", "below", "above", "no limit"]
EntryPolarity = Literal["sound", "defect"]
Slot = Literal["point", "side", "condition", "value", "polarity"]
How = Literal["speech", "keyboard", "screen"]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Claim(_Frozen):
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


class Candidate(_Frozen):
    """One of the things that may have been meant."""

    claim: Claim
    posterior: float
    said: str
    """The phrase that would mean it, short enough to be asked back."""


class Doubt(_Frozen):
    """A slot that is not certain enough, and the question that settles it."""

    slot: Slot
    question: str
    reason: str
    candidates: tuple[Candidate, ...]


class Heard(_Frozen):
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


class WalkStarted(_Frozen):
    kind: Literal["walk started"] = "walk started"
    unit_id: str
    unit_name: str
    station: str
    identification: str
    sheet_id: str
    sheet_title: str
    sheet_sha256: str
    lexicon_sha256: str
    operator: str
    recogniser: str
    model_sha256: str
    version: str


class StopEntered(_Frozen):
    kind: Literal["stop entered"] = "stop entered"
    stop_id: str
    heard: Heard | None = None


class PointNamed(_Frozen):
    """A point was named without saying anything of it: it is now the point at hand."""

    kind: Literal["point named"] = "point named"
    point_id: str
    heard: Heard


class EntryLogged(_Frozen):
    kind: Literal["entry logged"] = "entry logged"
    entry_id: str
    claim: Claim
    """While there are doubts: the likeliest candidate, which counts for nothing until settled."""
    heard: Heard
    posterior: dict[str, float]
    """By slot, 0 to 1."""
    alternatives: tuple[str, ...] = ()
    """Other phrases that may have been said, likeliest first."""
    doubts: tuple[Doubt, ...] = ()
    corrects: str | None = None
    """The entry that this one replaces."""


class DoubtSettled(_Frozen):
    """A person said what was meant; ``claim`` now stands."""

    kind: Literal["doubt settled"] = "doubt settled"
    entry_id: str
    claim: Claim
    by: str
    reason: str
    heard: Heard | None = None


class EntryCorrected(_Frozen):
    """The officer replaced what an entry says."""

    kind: Literal["entry corrected"] = "entry corrected"
    entry_id: str
    claim: Claim
    by: str
    reason: str


class EntryConfirmed(_Frozen):
    """The officer has looked at the entry and lets it stand."""

    kind: Literal["entry confirmed"] = "entry confirmed"
    entry_id: str
    by: str
    reason: str = ""


class EntryWithdrawn(_Frozen):
    """The entry no longer counts; its point is open again unless another entry covers it."""

    kind: Literal["entry withdrawn"] = "entry withdrawn"
    entry_id: str
    by: str
    reason: str
    heard: Heard | None = None


class RemarkLogged(_Frozen):
    kind: Literal["remark logged"] = "remark logged"
    remark_id: str
    point_id: str | None
    heard: Heard
    """``text`` is the transcript; the sound is the original."""


class NotUnderstood(_Frozen):
    """Something was said, or only heard, that makes no entry; the sound is kept."""

    kind: Literal["not understood"] = "not understood"
    reason: str
    heard: Heard


class CommandHeard(_Frozen):
    """A control word: stand by, resume, say again, what is left..."""

    kind: Literal["command heard"] = "command heard"
    command: str
    heard: Heard


class WalkResumed(_Frozen):
    """The walk was taken up again after the program had ended."""

    kind: Literal["walk resumed"] = "walk resumed"
    operator: str


class WalkFinished(_Frozen):
    kind: Literal["walk finished"] = "walk finished"
    missing: tuple[str, ...]
    """Required points not covered."""
    heard: Heard | None = None


class SignedOff(_Frozen):
    """A person's signature over the record up to the event before this one."""

    kind: Literal["signed off"] = "signed off"
    by: str
    role: Literal["operator", "officer", "mechanic"]
    meaning: Literal["inspected by", "confirmed by", "repair certified by"]
    decision: Literal["none", "in service", "in service with restrictions", "out of service"]
    reason: str = ""
    head: str
    """Hash of the event before this one: everything up to it is what was signed."""


Event = Annotated[
    WalkStarted
    | StopEntered
    | PointNamed
    | EntryLogged
    | DoubtSettled
    | EntryCorrected
    | EntryConfirmed
    | EntryWithdrawn
    | RemarkLogged
    | NotUnderstood
    | CommandHeard
    | WalkResumed
    | WalkFinished
    | SignedOff,
    Field(discriminator="kind"),
]

EVENT: TypeAdapter[Event] = TypeAdapter(Event)
"""Reads and writes any event: ``EVENT.validate_python(data)``, ``EVENT.dump_python(e, mode="json")``."""
