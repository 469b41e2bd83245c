"""What a unit is made of, as far as sheets and limits ask: axles, wheel ends, tyres, batteries, belts.

Lengths are in inches and pressures in pounds per square inch, exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

AxlePosition = Literal["front", "rear"]
ChamberKind = Literal["clamp", "bolt", "rotochamber"]
StrokeClass = Literal["standard", "long", "three inch"]
TyrePosition = Literal["inner", "outer"]
Fitted = Literal["single", "dual"]
Chemistry = Literal["flooded", "AGM", "gel"]
Assist = Literal["power", "manual"]
AirSystem = Literal["dual", "single", "none"]
WheelSide = Literal["left", "right"]
OwnBasis = Literal["maker", "local policy"]


@dataclass(frozen=True, slots=True)
class Chamber:
    """A service brake chamber."""

    kind: ChamberKind
    type: str
    """As it is stamped: ``30``, ``16``; of a bolt chamber its letter."""
    stroke: StrokeClass
    """A chamber without a long-stroke mark is a standard one."""


@dataclass(frozen=True, slots=True)
class Tyre:
    """One tyre and the pressure of its placard, cold."""

    size: str
    pressure: Fraction
    position: TyrePosition | None
    """None for a single tyre."""


@dataclass(frozen=True, slots=True)
class WheelEnd:
    """One end of an axle."""

    side: WheelSide
    chamber: Chamber | None
    """None without air brakes."""
    tyres: tuple[Tyre, ...]
    weight: Fraction | None = None
    """Pounds that this end carries, the unit ready for service; None where it was not weighed."""


@dataclass(frozen=True, slots=True)
class TyreLoads:
    """What one tyre carries at each cold pressure, by its maker's load table."""

    size: str
    fitted: Fitted
    loads: tuple[tuple[Fraction, Fraction], ...]
    """(psi, pounds), rising."""
    source: str


@dataclass(frozen=True, slots=True)
class Axle:
    """One axle; the first of a unit is its foremost."""

    position: AxlePosition
    wheel_ends: tuple[WheelEnd, ...]


@dataclass(frozen=True, slots=True)
class Battery:
    """One twelve-volt lead-acid battery."""

    name: str
    chemistry: Chemistry


@dataclass(frozen=True, slots=True)
class Belt:
    """One drive belt."""

    name: str
    span: Fraction | None
    """Length of the free span at which deflection is measured."""


@dataclass(frozen=True, slots=True)
class Steering:
    """The steering wheel."""

    wheel_diameter: Fraction
    assist: Assist


@dataclass(frozen=True, slots=True)
class OwnLimit:
    """A limit of this unit that takes the place of the sheet's, as its maker or local policy has it."""

    sheet: str
    point: str
    """A point's id as the sheet writes it, or as it is once written for each part."""
    reading: str
    minimum: Fraction | None
    maximum: Fraction | None
    source: str
    basis: OwnBasis
    line: int
    """Where it stands in the unit's file."""
