"""Check sheets, lexicon and units as the rest of voicelog sees them: plain frozen values.

Read from TOML and validated by :mod:`voicelog.sheet.load`. Quantities are
:class:`fractions.Fraction` in the reading's own unit, so that nothing is rounded across a limit.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from voicelog.sheet.unit_model import AirSystem, Axle, Battery, Belt, OwnLimit, Steering, TyreLoads

Polarity = Literal["sound", "defect"]
Side = Literal["left", "right", "none"]
TimedKind = Literal["loss", "build-up", "duration"]
Basis = Literal["published", "maker", "local policy", "common practice"]
Extent = Literal["daily", "weekly", "monthly"]
"""How much a walk takes in: a weekly one has the daily points too, a monthly one has them all."""


@dataclass(frozen=True, slots=True)
class DefectClass:
    """A class of defect, worst last within its aspect, such as the three fluid-leak classes."""

    id: str
    name: str
    meaning: str
    source: str
    rank: int
    """1 is the least; a higher rank is worse."""


@dataclass(frozen=True, slots=True)
class Condition:
    """A trade word about a point, and every way it is said."""

    id: str
    name: str
    aspect: str
    """What it speaks of: leak, fastening, damage..."""
    polarity: Polarity
    class_id: str | None
    """A :class:`DefectClass`; None for sound conditions."""
    say: tuple[str, ...]
    """Spoken phrases, lower case; the first is the one read back."""


@dataclass(frozen=True, slots=True)
class Measure:
    """A unit of measurement and how it is said."""

    unit: str
    """The unit's name in pint's default registry, such as ``inch`` or ``psi``."""
    symbol: str
    say: tuple[str, ...]
    """Spoken forms, singular first: ``inch``, ``inches``."""


@dataclass(frozen=True, slots=True)
class Language:
    """What is said between the trade's words. Without ways to say it, a thing is not said."""

    name: str
    """``English``, ``Korean``."""
    commands: dict[str, tuple[str, ...]]
    """Control word (its English name) to the ways it is said."""
    correction: tuple[str, ...]
    """Said before what replaces the last entry."""
    is_: tuple[str, ...]
    """Between a point and its condition."""
    at: tuple[str, ...]
    """Between a reading and its value."""
    on: tuple[str, ...]
    """Between a condition and the point it is said of, where the condition comes first."""
    the: tuple[str, ...]
    and_: tuple[str, ...]
    go_to: tuple[str, ...]
    """Before a stop's name."""
    one: tuple[str, ...]
    """After a side that is said alone: ``the left one``."""
    start: tuple[str, ...] = ()
    """Before the name of a timed test."""
    mark: tuple[str, ...] = ()
    """Before a reading while a timed test runs."""
    stop: tuple[str, ...] = ()
    """Before the reading or the name that ends a timed test."""


@dataclass(frozen=True, slots=True)
class Lexicon:
    """The trade's condition words, shared by all sheets."""

    aspects: dict[str, str]
    """Aspect id to its name."""
    classes: dict[str, DefectClass]
    conditions: dict[str, Condition]
    measures: dict[str, Measure]
    """By unit name."""
    sides: dict[str, tuple[str, ...]]
    """``left`` and ``right`` to the ways they are said, the first read back."""
    sha256: str
    language: Language | None = None
    """None for English."""

    def conditions_of(self, aspects: tuple[str, ...]) -> tuple[Condition, ...]:
        """Return the conditions of the named aspects, in lexicon order."""
        return tuple(c for c in self.conditions.values() if c.aspect in aspects)


@dataclass(frozen=True, slots=True)
class Limit:
    """What a reading is judged against. A value equal to a bound is within it."""

    minimum: Fraction | None
    maximum: Fraction | None
    source: str
    """Where the figure comes from, with its edition; never empty."""
    basis: Basis
    own: bool = False
    """Whether it is the unit's own, in the place of the sheet's."""
    replaces: Limit | None = None
    """The sheet's limit, where this one is the unit's own; None where the sheet has none."""

    @property
    def looser(self) -> bool:
        """Whether it lets through what the limit that it replaces does not."""
        other = self.replaces
        if other is None:
            return False
        below = other.minimum is not None and (self.minimum is None or self.minimum < other.minimum)
        above = other.maximum is not None and (self.maximum is None or self.maximum > other.maximum)
        return below or above


@dataclass(frozen=True, slots=True)
class Reading:
    """A value that is measured at a point."""

    id: str
    name: str
    say: tuple[str, ...]
    unit: str
    low: Fraction
    high: Fraction
    """The plausible range: anything in it can be said, inside the limit or not."""
    resolution: Fraction
    limit: Limit | None
    required: bool


ComputedKind = Literal[
    "stroke",
    "belt deflection",
    "state of charge",
    "steering angle",
    "share of placard",
    "share of tyre load",
    "consumption per hour",
    "consumption per mile",
]


MAY_BE_MISSING = ("temperature",)
"""Roles of readings that a computed value can do without."""


@dataclass(frozen=True, slots=True)
class Computed:
    """A value that is computed from readings of the same point; never said."""

    kind: ComputedKind
    reading: Reading
    """How the result is named, judged and shown."""
    inputs: tuple[tuple[str, str], ...]
    """(role, reading id), such as ``("applied", "applied")``; one that may be missing comes last."""
    constant: Fraction | None = None
    """What the unit or the sheet gives: the belt's span, the wheel's diameter, the placard's pressure, the
    load on the tyre."""
    curve: tuple[tuple[Fraction, Fraction], ...] = ()
    """(volts, percent) at :attr:`curve_at`, for the state of charge; (psi, pounds) for the tyre's load."""
    curve_at: Fraction = Fraction(0)
    per_degree: Fraction = Fraction(0)
    """Volts for each degree Fahrenheit above :attr:`curve_at`."""
    basis: str = ""
    """Where the curve comes from; empty where there is none."""

    @property
    def needed(self) -> tuple[str, ...]:
        """The ids of the readings that it cannot do without."""
        return tuple(reading_id for role, reading_id in self.inputs if role not in MAY_BE_MISSING)


@dataclass(frozen=True, slots=True)
class TimedTest:
    """A value that is computed from readings and the time between them, or from a time alone."""

    kind: TimedKind
    reading_id: str | None
    """The point's reading that is taken twice; None for a duration."""
    span: tuple[Fraction, Fraction] | None
    """For a build-up: the stated values, in the reading's unit, that its time is scaled to."""
    planned: Fraction | None
    """How long it is meant to take, in seconds."""
    tell: tuple[Fraction, ...]
    """When the clock is told, in seconds after the start; in order."""
    by_reading: bool
    """Whether the reading alone, without "mark" or "stop", is taken while the test runs."""
    result: Reading
    """What comes of it: its id, name and ways to say it are the test's own."""

    @property
    def id(self) -> str:
        """The id, unique among the readings and tests of its point."""
        return self.result.id

    @property
    def name(self) -> str:
        """The name as it is read back: ``static loss``."""
        return self.result.name


@dataclass(frozen=True, slots=True)
class Point:
    """One thing inspected at a stop."""

    id: str
    """Unique in the sheet."""
    name: str
    """Without its side: ``lift cylinder``."""
    say: tuple[str, ...]
    """Ways to name it, without its side; ``name`` first."""
    side: Side
    look_for: str
    aspects: tuple[str, ...]
    """The lexicon's aspects whose conditions can be said of it."""
    readings: tuple[Reading, ...]
    required: bool
    """Must be covered before the sheet counts as complete."""
    stop_id: str
    extent: Extent = "daily"
    """The least walk that takes it in."""
    computed: tuple[Computed, ...] = ()
    """Values computed from its readings."""
    timed: tuple[TimedTest, ...] = ()

    @property
    def full_name(self) -> str:
        """The name with its side, as it is read back: ``left lift cylinder``."""
        return self.name if self.side == "none" else f"{self.side} {self.name}"

    def reading(self, reading_id: str) -> Reading:
        """Return a reading of this point, said or computed; KeyError when it has no such reading."""
        for reading in self.measured:
            if reading.id == reading_id:
                return reading
        raise KeyError(reading_id)

    @property
    def measured(self) -> tuple[Reading, ...]:
        """The readings, which are said, and the results, computed or timed, which never are."""
        computed = (result.reading for result in self.computed)
        return (*self.readings, *computed, *(test.result for test in self.timed))

    def timed_test(self, timed_id: str) -> TimedTest:
        """Return a timed test of this point; KeyError when it has no such test."""
        for test in self.timed:
            if test.id == timed_id:
                return test
        raise KeyError(timed_id)


@dataclass(frozen=True, slots=True)
class Caution:
    """What can hurt a person, and what they say to show that it was seen to."""

    text: str
    """A full sentence, shown and read out."""
    ask: str = ""
    """The question that is asked after it: ``wheels chocked?``. Empty: whether it is affirmed."""
    say: tuple[str, ...] = ()
    """Ways to affirm it, beside "affirmative"; the first is read back."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A place on the walk where the operator stands."""

    id: str
    name: str
    say: tuple[str, ...]
    side: Side
    gate: tuple[Caution, ...]
    """Its cautions, each to be affirmed before work at this stop begins."""
    points: tuple[Point, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """Its cautions as full sentences, as they are shown."""
        return tuple(caution.text for caution in self.gate)


@dataclass(frozen=True)
class Sheet:
    """What is inspected on a unit, in walking order."""

    id: str
    title: str
    edition: str
    gate: tuple[Caution, ...]
    """Its own cautions, each to be affirmed before the first stop."""
    stops: tuple[Stop, ...]
    lexicon: Lexicon
    sha256: str
    """Of the file's bytes: which edition a record was made with."""
    path: str
    extent: Extent = "monthly"
    """The walk that these points are of; a whole sheet has those of a monthly one."""
    whole: Sheet | None = field(default=None, compare=False, repr=False)
    """The sheet with the points of every walk; None where this is it."""
    limits_sha256: str = ""
    """Of the file of limits that readings are judged by; empty where none is."""
    unit_sha256: str = ""
    """Of the file of the unit that it is written out for; empty where it is the same for every unit."""
    sources: tuple[tuple[str, str], ...] = ()
    """(SHA-256, path) of every file that it was made from."""

    @property
    def edition_key(self) -> tuple[str, str, str, str]:
        """The SHA-256 of everything that it was made from: which edition a walk was made with."""
        return (self.sha256, self.lexicon.sha256, self.limits_sha256, self.unit_sha256)

    @property
    def cautions(self) -> tuple[str, ...]:
        """Its own cautions as full sentences, as they are shown."""
        return tuple(caution.text for caution in self.gate)

    @functools.cached_property
    def points(self) -> dict[str, Point]:
        """All points by id, in walking order."""
        return {point.id: point for stop in self.stops for point in stop.points}

    def stop(self, stop_id: str) -> Stop:
        """Return a stop; KeyError when the sheet has no such stop."""
        for stop in self.stops:
            if stop.id == stop_id:
                return stop
        raise KeyError(stop_id)


@dataclass(frozen=True, slots=True)
class Unit:
    """One vehicle, with its identity."""

    id: str
    name: str
    """As it is spoken of: ``Engine 61``."""
    station: str
    description: str
    identification: str
    """Serial or registration mark, as the owner writes it."""
    sheets: tuple[str, ...]
    """Ids of the sheets that apply."""
    path: str
    air_system: AirSystem | None = None
    steering: Steering | None = None
    axles: tuple[Axle, ...] = ()
    """From the front."""
    batteries: tuple[Battery, ...] = ()
    belts: tuple[Belt, ...] = ()
    tyre_loads: tuple[TyreLoads, ...] = ()
    limits: tuple[OwnLimit, ...] = ()
    sha256: str = ""
    """Of the file's bytes."""
