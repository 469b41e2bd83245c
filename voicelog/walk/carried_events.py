"""What is carried over from earlier walks, as facts of the record. See :mod:`voicelog.walk.events`."""

from __future__ import annotations

from typing import Literal

from voicelog.meaning.facts import Frozen, Heard, Judged


class CarriedDefect(Frozen):
    """A defect of an earlier walk, as it stood when this walk began."""

    defect_id: str
    point_id: str
    point: str
    """Its full name."""
    matter: str
    """The aspect it is about, or ``reading:`` and the reading's id."""
    what: str
    """``dripping``."""
    class_name: str
    state: str
    """As in :data:`voicelog.defects.life.State`."""
    stood: str
    """How it stood, in words: ``deferred until 2026-12-04``, ``repair certified``."""
    since: str
    """The day it was first heard, as year-month-day."""
    look_again: bool = False
    """The shop has worked on it: its point must be looked at in this walk."""
    here: bool = True
    """It is of a point of this sheet; otherwise of another sheet of the unit, or of a point that this
    one has no more."""


class CarriedRecheck(Frozen):
    """A point that the officer wants looked at again."""

    point_id: str
    by: str
    reason: str


class DefectsCarried(Frozen):
    """What is open or repaired of earlier walks, read out before this one opens, in this order.

    It stands again where the walk is taken up or over and the unit's defects have changed meanwhile.
    """

    kind: Literal["defects carried"] = "defects carried"
    defects: tuple[CarriedDefect, ...] = ()
    rechecks: tuple[CarriedRecheck, ...] = ()
    added: tuple[str, ...] = ()
    """Points that are to be looked at again, and that a walk of this extent would not ask for."""


class DefectAcknowledged(Frozen):
    """The operator was read a carried defect, and says so.

    It counts for that person alone: who takes the walk up or over is read it anew.
    """

    kind: Literal["defect acknowledged"] = "defect acknowledged"
    defect_id: str
    by: str
    heard: Heard
    state: str = ""
    """How it stood when it was read out; empty in older records, where it stood as it was carried."""


class RecheckAsked(Judged):
    """The officer wants a point looked at again; until then it is open."""

    kind: Literal["recheck asked"] = "recheck asked"
    point_id: str
