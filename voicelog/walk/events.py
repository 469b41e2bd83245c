"""The facts that make up a record, in the order they happened.

Append-only: a correction is a new event that names what it corrects, who and why. The state of
a walk is these events folded (:mod:`voicelog.walk.state`); the store keeps them as they are.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from voicelog.limits.judge import Judgement
from voicelog.meaning.facts import (
    Candidate,
    Claim,
    Doubt,
    EntryPolarity,
    Frozen,
    Heard,
    How,
    Judged,
    Sealed,
    Slot,
)
from voicelog.sheet.model import Extent
from voicelog.walk.carried_events import (
    CarriedDefect,
    CarriedRecheck,
    DefectAcknowledged,
    DefectsCarried,
    RecheckAsked,
)
from voicelog.walk.group_mark_events import GroupMarkAsked, GroupMarkConfirmed, GroupMarked, GroupMarkReopened
from voicelog.walk.remark_events import RemarkLogged, RemarkPointAsked, RemarkTranscribed
from voicelog.walk.sound_events import SoundBack, SoundLost, SoundMissed, StreamEnded
from voicelog.walk.timed_events import TimedTestCancelled, TimedTestMarked, TimedTestStarted, TimedTestStopped

__all__ = [
    "EVENT",
    "Candidate",
    "CarriedDefect",
    "CarriedRecheck",
    "CautionAffirmed",
    "CautionRefused",
    "Claim",
    "CommandHeard",
    "DefectAcknowledged",
    "DefectsCarried",
    "Doubt",
    "DoubtSettled",
    "EntryConfirmed",
    "EntryCorrected",
    "EntryLogged",
    "EntryPolarity",
    "EntryWithdrawn",
    "Event",
    "GroupMarkAsked",
    "GroupMarkConfirmed",
    "GroupMarkReopened",
    "GroupMarked",
    "Heard",
    "How",
    "Judgement",
    "NotUnderstood",
    "PointNamed",
    "QuestionAsked",
    "RecheckAsked",
    "RemarkLogged",
    "RemarkPointAsked",
    "RemarkTranscribed",
    "SignedOff",
    "Slot",
    "SoundBack",
    "SoundLost",
    "SoundMissed",
    "StopEntered",
    "StreamEnded",
    "TimedTestCancelled",
    "TimedTestMarked",
    "TimedTestStarted",
    "TimedTestStopped",
    "WalkFinished",
    "WalkHandedOver",
    "WalkResumed",
    "WalkStarted",
]


class WalkStarted(Sealed):
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
    source: str = ""
    """Where the sound came from: ``microphone``, ``keyboard`` or ``recording`` and its SHA-256."""
    extent: Extent = "daily"
    """Which of the sheet's points the walk was of."""
    limits_sha256: str = ""
    """Of the file of limits; empty where the sheet's readings are judged by none."""
    unit_sha256: str = ""
    """Of the unit's file; empty where the sheet is the same for every unit."""

    @property
    def edition_key(self) -> tuple[str, str, str, str]:
        """The SHA-256 of everything that the sheet was made from."""
        return (self.sheet_sha256, self.lexicon_sha256, self.limits_sha256, self.unit_sha256)


class StopEntered(Frozen):
    kind: Literal["stop entered"] = "stop entered"
    stop_id: str
    heard: Heard | None = None


class CautionAffirmed(Frozen):
    """A person said that a caution was seen to."""

    kind: Literal["caution affirmed"] = "caution affirmed"
    stop_id: str
    """Empty for a caution of the sheet itself."""
    number: int
    """Its place among the cautions of its stop, or of the sheet, from 1."""
    caution: str
    """Its sentence."""
    by: str
    heard: Heard


class CautionRefused(Frozen):
    """A person said that a caution was not seen to: the stop stays closed."""

    kind: Literal["caution refused"] = "caution refused"
    stop_id: str
    number: int
    caution: str
    by: str
    heard: Heard


class PointNamed(Frozen):
    """A point was named without saying anything of it: it is now the point at hand."""

    kind: Literal["point named"] = "point named"
    point_id: str
    heard: Heard


class EntryLogged(Frozen):
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
    by_name: bool = True
    """Whether the point was named; False where it was the point at hand."""
    held_at: str | None = None
    """The stop whose cautions were not affirmed when it was said; in doubt only until they are."""
    run_id: str | None = None
    """The run of the timed test that this is the result of."""
    computed_from: tuple[str, ...] = ()
    """The entries that this result was computed from; empty for what was said."""


class QuestionAsked(Frozen):
    """The question of an open doubt was asked once more."""

    kind: Literal["question asked"] = "question asked"
    entry_id: str
    heard: Heard | None = None


class DoubtSettled(Judged):
    """A person said what was meant; ``claim`` now stands."""

    kind: Literal["doubt settled"] = "doubt settled"
    entry_id: str
    claim: Claim
    heard: Heard | None = None


class EntryCorrected(Judged):
    """The officer replaced what an entry says."""

    kind: Literal["entry corrected"] = "entry corrected"
    entry_id: str
    claim: Claim


class EntryConfirmed(Judged):
    """The officer has looked at the entry and lets it stand."""

    kind: Literal["entry confirmed"] = "entry confirmed"
    entry_id: str
    reason: str = ""


class EntryWithdrawn(Judged):
    """The entry no longer counts; its point is open again unless another entry covers it."""

    kind: Literal["entry withdrawn"] = "entry withdrawn"
    entry_id: str
    heard: Heard | None = None


class NotUnderstood(Frozen):
    """Something was said, or only heard, that makes no entry; the sound is kept."""

    kind: Literal["not understood"] = "not understood"
    reason: str
    heard: Heard


class CommandHeard(Frozen):
    """A control word: stand by, resume, say again, what is left..."""

    kind: Literal["command heard"] = "command heard"
    command: str
    point_id: str | None = None
    """For a remark: the point that it was said to be on."""
    heard: Heard


class WalkResumed(Sealed):
    """The walk was taken up again after the program had ended."""

    kind: Literal["walk resumed"] = "walk resumed"
    operator: str
    standing_by: bool = False
    """Whether it stood by before, and still does."""


class WalkHandedOver(Sealed):
    """The walk goes on in another person's hands: what comes after it is theirs.

    All cautions are asked again: who takes over has not seen to them.
    """

    kind: Literal["walk handed over"] = "walk handed over"
    operator: str
    """Who has it now."""
    before: str


class WalkFinished(Sealed):
    kind: Literal["walk finished"] = "walk finished"
    missing: tuple[str, ...]
    """Required points not covered."""
    heard: Heard | None = None


class SignedOff(Sealed):
    """A person's signature over the record up to the event before this one.

    Without a key it is only named. The fields after ``head`` are then empty too, the last three aside.
    """

    kind: Literal["signed off"] = "signed off"
    by: str
    role: Literal["operator", "officer", "mechanic"]
    meaning: Literal["inspected by", "confirmed by", "repair certified by"]
    decision: Literal["none", "in service", "in service with restrictions", "out of service"]
    reason: str = ""
    head: str
    """Hash of the event before this one: everything up to it is what was signed."""
    clips_sha256: str = ""
    """Over the canonical list of the SHA-256 of every sound clip that the walk names."""
    seals_sha256: str = ""
    """Over the canonical list of the walk's seals before this one."""
    people_head: str = ""
    """Hash of the last event of people when it was signed."""
    defects_head: str = ""
    """Hash of the last event of the unit's defects when it was signed; 64 zeros where there was none."""
    policy_sha256: str = ""
    """Of the local policy that the decision was held against."""
    overridden: tuple[str, ...] = ()
    """What of the policy was set aside, in words."""
    override_reason: str = ""
    """Why; never empty where something was set aside."""


Event = Annotated[
    WalkStarted
    | StopEntered
    | CautionAffirmed
    | CautionRefused
    | PointNamed
    | EntryLogged
    | QuestionAsked
    | DoubtSettled
    | EntryCorrected
    | EntryConfirmed
    | EntryWithdrawn
    | RemarkLogged
    | RemarkPointAsked
    | RemarkTranscribed
    | NotUnderstood
    | CommandHeard
    | DefectsCarried
    | DefectAcknowledged
    | RecheckAsked
    | GroupMarkAsked
    | GroupMarked
    | GroupMarkConfirmed
    | GroupMarkReopened
    | TimedTestStarted
    | TimedTestMarked
    | TimedTestStopped
    | TimedTestCancelled
    | WalkResumed
    | WalkHandedOver
    | WalkFinished
    | SoundLost
    | SoundBack
    | SoundMissed
    | StreamEnded
    | SignedOff,
    Field(discriminator="kind"),
]

EVENT: TypeAdapter[Event] = TypeAdapter(Event)
"""Reads and writes any event: ``EVENT.validate_python(data)``, ``EVENT.dump_python(e, mode="json")``."""
