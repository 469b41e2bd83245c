"""What happens to a unit's defects, in the order it happened: append-only, one chain a unit.

Every event but the last kind says who did it and in which role. The record's own time is when it was
entered. For what is done at a desk that is when it happened; what came of a walk may be entered days
later, and bears its own time: see :func:`happened_at`. It names the walk and the entry it came from,
whose words and sound are the original. Names and words are kept as they were read at the time, so
that a defect can be read without its sheet.
"""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from voicelog.defects.removal_events import SoundRemoved, WalksRemoved
from voicelog.meaning.facts import Frozen, Sealed

Role = Literal["operator", "officer", "mechanic"]


class Done(Frozen):
    """What every event of one defect says: which, by whom and in which role."""

    defect_id: str
    by: str
    role: Role


class Act(Done, Sealed):
    """What a person does about a defect at a desk: sealed with their key where people are on record.

    What comes of a walk is not sealed here: the walk is.
    """

    people_head: str = ""
    """Hash of the last event of people when it was done; empty where it is not sealed."""


class Part(Frozen):
    """One part that was fitted."""

    name: str
    quantity: Fraction = Fraction(1)
    number: str = ""
    """The maker's part number; empty where none was given."""


class DefectHeard(Done):
    """A defect was found in a walk: for the first time, again, or in other words than before.

    A hearing is known by its walk and entry: a later event of the same two replaces what it said.
    """

    kind: Literal["defect heard"] = "defect heard"
    unit_id: str
    unit_name: str
    sheet_id: str
    point_id: str
    point: str
    """Its full name: ``left lift cylinder``."""
    matter: str
    """What of the point it is about: the aspect, or ``reading:`` and the reading's id."""
    matter_name: str
    """The same for people: ``leaks``, ``deflection``."""
    what: str
    """``dripping``; ``deflection 1 in``."""
    class_id: str | None = None
    class_name: str = ""
    """The class, or how a reading counts: ``above the limit``."""
    rank: int
    """1 is the least; a higher rank is worse."""
    walk: str
    entry_id: str
    said_at: datetime
    role: Role = "operator"
    clip: str | None = None
    """SHA-256 of the sound, kept in the walk."""
    came_back_from: str | None = None
    """The closed defect of the same matter, where this one is new and is not the first."""
    before_work: bool = False
    """It was said before the work of the shop that was recorded since, and entered only now: no sign
    that the repair did not hold."""


class HearingTakenBack(Done):
    """The entry behind a hearing no longer says this defect."""

    kind: Literal["hearing taken back"] = "hearing taken back"
    walk: str
    entry_id: str
    reason: str
    restores: str = ""
    """The state that this hearing alone had ended, as in :data:`voicelog.defects.life.State`: the
    defect is in it again. Empty where it goes on as it stands."""
    done_at: datetime | None = None


class SaidSound(Done):
    """A walk found sound what is held to be defective; it closes only what was certified before."""

    kind: Literal["said sound"] = "said sound"
    walk: str
    entry_id: str
    said_at: datetime
    what: str
    role: Role = "operator"


class SoundTakenBack(Done):
    """The entry that said sound no longer says so."""

    kind: Literal["sound taken back"] = "sound taken back"
    walk: str
    entry_id: str
    reason: str
    done_at: datetime | None = None


class DefectConfirmed(Act):
    kind: Literal["defect confirmed"] = "defect confirmed"
    role: Role = "officer"
    reason: str = ""
    walk: str = ""
    entry_id: str = ""
    """Where it came of a review: the entry that was confirmed, settled or corrected."""
    done_at: datetime | None = None
    """Where it came of a review: when the officer did it."""


class DefectDeferred(Act):
    kind: Literal["defect deferred"] = "defect deferred"
    until: date
    role: Role = "officer"
    reason: str


class SentToShop(Act):
    kind: Literal["sent to the shop"] = "sent to the shop"
    reason: str = ""


class DefectRepaired(Act):
    """The work record: what was found, what was fitted, how long it took."""

    kind: Literal["defect repaired"] = "defect repaired"
    role: Role = "mechanic"
    findings: str
    parts: tuple[Part, ...] = ()
    minutes: int = 0


class NoRepairNeeded(Act):
    kind: Literal["no repair needed"] = "no repair needed"
    role: Role = "mechanic"
    findings: str
    minutes: int = 0


class RepairCertified(Act):
    """A person's signature that the defect was repaired, or that no repair is needed.

    It is over the unit's defects up to the event before it, and over the sound of this defect.
    """

    kind: Literal["repair certified"] = "repair certified"
    role: Role = "mechanic"
    certifies: Literal["repaired", "no repair needed"]
    reason: str = ""
    meaning: Literal["repair certified by"] = "repair certified by"
    head: str = ""
    """Hash of the unit's event of defects before this one."""
    clips_sha256: str = ""
    """Over the canonical list of the SHA-256 of every sound clip of this defect before this event."""
    seals_sha256: str = ""
    """Over the canonical list of the seals over the unit's events of defects before this one."""


class DefectRead(Done):
    """The operator of a later walk acknowledged the defect as it stood."""

    kind: Literal["defect acknowledged"] = "defect acknowledged"
    walk: str
    role: Role = "operator"
    state: str
    """Its state when it was read out, as in :data:`voicelog.defects.life.State`."""
    read_at: datetime


class DefectClosed(Act):
    kind: Literal["defect closed"] = "defect closed"
    reason: str
    walk: str = ""
    entry_id: str = ""
    """Where a walk closed it: the entry that found the point sound after the repair."""
    done_at: datetime | None = None
    """Where a walk closed it: when that was said."""


class DefectReopened(Act):
    kind: Literal["defect reopened"] = "defect reopened"
    reason: str


class PointToRecheck(Frozen):
    """An officer asks that a point be looked at again in the next walk."""

    kind: Literal["point to recheck"] = "point to recheck"
    unit_id: str
    sheet_id: str
    point_id: str
    point: str
    walk: str
    by: str
    role: Role = "officer"
    reason: str


class PointRechecked(Frozen):
    kind: Literal["point rechecked"] = "point rechecked"
    sheet_id: str
    point_id: str
    walk: str
    entry_id: str
    by: str
    role: Role = "operator"


class DefectsEntered(Frozen):
    """What a walk says of its unit's defects was entered, as far as the walk had gone.

    It stands after what came of it, also where nothing did, and ties the walk's events to this chain.
    """

    kind: Literal["defects entered"] = "defects entered"
    walk: str
    events: int
    """How many events the walk had."""
    head: str
    """Hash of the last of them."""


DefectEvent = Annotated[
    DefectHeard
    | HearingTakenBack
    | SaidSound
    | SoundTakenBack
    | DefectConfirmed
    | DefectDeferred
    | SentToShop
    | DefectRepaired
    | NoRepairNeeded
    | RepairCertified
    | DefectRead
    | DefectClosed
    | DefectReopened
    | PointToRecheck
    | PointRechecked
    | DefectsEntered
    | WalksRemoved
    | SoundRemoved,
    Field(discriminator="kind"),
]

OfADefect = (
    DefectHeard
    | HearingTakenBack
    | SaidSound
    | SoundTakenBack
    | DefectConfirmed
    | DefectDeferred
    | SentToShop
    | DefectRepaired
    | NoRepairNeeded
    | RepairCertified
    | DefectRead
    | DefectClosed
    | DefectReopened
)
"""The events that are about one defect."""


def happened_at(entered_at: datetime, event: OfADefect) -> datetime:
    """Return when something happened: what came of a walk, when it was said or done there.

    ``entered_at`` is when the event was entered in the unit's record, which is when everything else
    happened, and what an older record has of the rest.
    """
    match event:
        case DefectHeard(said_at=at) | SaidSound(said_at=at) | DefectRead(read_at=at):
            return at
        case HearingTakenBack() | SoundTakenBack() | DefectConfirmed() | DefectClosed():
            return event.done_at or entered_at
        case _:
            return entered_at


DEFECT_EVENT: TypeAdapter[DefectEvent] = TypeAdapter(DefectEvent)
"""Reads and writes any of them, as :data:`voicelog.walk.events.EVENT` does a walk's."""
