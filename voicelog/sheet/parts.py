"""The parts of a unit that a point can be written for, each with its words and what it is.

``for_each = "wheel end"`` writes a point out once for each wheel end; its templates may use the
part's words, and a limit's row is chosen by what the part is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import get_args

from num2words import num2words

from voicelog.sheet.model import Side, Unit
from voicelog.sheet.quantities import show
from voicelog.sheet.schema import ForEach
from voicelog.sheet.unit_model import (
    AirSystem,
    Assist,
    Axle,
    AxlePosition,
    ChamberKind,
    Chemistry,
    Fitted,
    StrokeClass,
    Tyre,
    TyreLoads,
    WheelEnd,
)

WORDS: Mapping[ForEach, tuple[str, ...]] = {
    "axle": ("axle",),
    "wheel end": ("axle", "side"),
    "tyre": ("axle", "side", "position"),
    "battery": ("battery",),
    "belt": ("belt",),
}
"""The words that the templates of a point may use."""

_OF_UNIT: Mapping[str, tuple[str, ...]] = {
    "air_system": get_args(AirSystem),
    "assist": get_args(Assist),
}
_OF_AXLE = {**_OF_UNIT, "axle_position": get_args(AxlePosition)}
_OF_END = {**_OF_AXLE, "chamber": get_args(ChamberKind), "stroke": get_args(StrokeClass)}
CHOICES: Mapping[ForEach | None, Mapping[str, tuple[str, ...]]] = {
    None: _OF_UNIT,
    "axle": _OF_AXLE,
    "wheel end": _OF_END,
    "tyre": {**_OF_END, "fitted": get_args(Fitted)},
    "battery": {**_OF_UNIT, "chemistry": get_args(Chemistry)},
    "belt": _OF_UNIT,
}
"""What ``where`` may ask, by what a point is written for: ``where = { fitted = "dual" }``."""

SIDED: tuple[ForEach, ...] = ("wheel end", "tyre")
"""Parts that have a side: at a stop with a side, only those of that side are written out."""

_PLAIN = {"axle": "one", "side": "left", "position": "outer", "battery": "front", "belt": "fan"}


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a unit."""

    suffix: str
    """Added to the point's id: ``axle_2_left``."""
    words: Mapping[str, str]
    """By their name in templates: ``{"axle": "two", "side": "left"}``."""
    side: Side
    attributes: Mapping[str, str]
    """What it is, and what its unit is: ``{"chamber_type": "30", "stroke": "long"}``."""


def unit_attributes(unit: Unit) -> dict[str, str]:
    """Return what a unit as a whole is, as far as limits ask."""
    found: dict[str, str] = {"air_system": unit.air_system or ""}
    if unit.steering is not None:
        found["assist"] = unit.steering.assist
        found["wheel_diameter"] = show(unit.steering.wheel_diameter)
    return {key: value for key, value in found.items() if value}


def parts(unit: Unit, for_each: ForEach) -> tuple[Part, ...]:
    """Return the parts of a kind, from the front, left before right."""
    whole = unit_attributes(unit)
    return tuple(
        Part(part.suffix, part.words, part.side, {**whole, **part.attributes})
        for part in _parts(unit, for_each)
    )


def tyre_loads(unit: Unit | None, attributes: Mapping[str, str]) -> TyreLoads | None:
    """Return the load table of a tyre of a unit; None where the unit's file has none for its size."""
    of = (attributes.get("tyre_size"), attributes.get("fitted"))
    every = unit.tyre_loads if unit is not None else ()
    return next((loads for loads in every if (loads.size, loads.fitted) == of), None)


def plain_part(for_each: ForEach, side: Side) -> Part:
    """Return a part at a stop of this side, with words that can be said, to check a sheet without a unit."""
    return Part(f"any_{side}", {word: _PLAIN[word] for word in WORDS[for_each]}, side, {})


def _parts(unit: Unit, for_each: ForEach) -> Iterator[Part]:
    match for_each:
        case "battery":
            for battery in unit.batteries:
                words = {"battery": battery.name}
                yield Part(f"battery_{_id(battery.name)}", words, "none", {"chemistry": battery.chemistry})
        case "belt":
            for belt in unit.belts:
                span = {} if belt.span is None else {"span": show(belt.span)}
                yield Part(f"belt_{_id(belt.name)}", {"belt": belt.name}, "none", span)
        case _:
            for number, axle in enumerate(unit.axles, 1):
                yield from _of_axle(number, axle, for_each)


def _of_axle(number: int, axle: Axle, for_each: ForEach) -> Iterator[Part]:
    words = {"axle": str(num2words(number))}
    attributes = {"axle_position": axle.position}
    if for_each == "axle":
        yield Part(f"axle_{number}", words, "none", attributes)
        return
    for end in sorted(axle.wheel_ends, key=lambda end: end.side):
        suffix = f"axle_{number}_{end.side}"
        at_end = {**attributes, **_chamber(end)}
        if for_each == "wheel end":
            yield Part(suffix, {**words, "side": end.side}, end.side, at_end)
            continue
        for tyre in end.tyres:
            position = tyre.position or ""
            yield Part(
                f"{suffix}_{position}".rstrip("_"),
                {**words, "side": end.side, "position": position},
                end.side,
                {**at_end, **_tyre(tyre, end)},
            )


def _chamber(end: WheelEnd) -> dict[str, str]:
    chamber = end.chamber
    if chamber is None:
        return {}
    return {"chamber": chamber.kind, "chamber_type": chamber.type, "stroke": chamber.stroke}


def _tyre(tyre: Tyre, end: WheelEnd) -> dict[str, str]:
    found = {
        "tyre_size": tyre.size,
        "tyre_pressure": show(tyre.pressure),
        "fitted": "single" if tyre.position is None else "dual",
    }
    # Duals share the load of their wheel end evenly, as makers' tables for duals take it.
    return found if end.weight is None else {**found, "tyre_load": show(end.weight / len(end.tyres))}


def _id(name: str) -> str:
    return name.replace(" ", "_")
