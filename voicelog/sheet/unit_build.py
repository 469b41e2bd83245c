"""From a unit's checked tables to the frozen value that the rest of voicelog uses; and the checks."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from pathlib import Path

from voicelog.sheet.checks import Fault, check_id
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.model import Unit
from voicelog.sheet.quantities import show
from voicelog.sheet.spoken import phrase_fault
from voicelog.sheet.unit_model import (
    Axle,
    Battery,
    Belt,
    Chamber,
    OwnLimit,
    Steering,
    Tyre,
    TyreLoads,
    WheelEnd,
)
from voicelog.sheet.unit_schema import AxleTable, TyreLoadTable, UnitFile, WheelEndTable


def build_unit(file: UnitFile, path: Path, sha256: str, line: Callable[[KeyPath], int]) -> Unit:
    """Return the unit of checked tables; ``sha256`` is of the file's bytes, ``line`` its lines."""
    unit = file.unit
    steering = unit.steering
    return Unit(
        id=unit.id,
        name=unit.name,
        station=unit.station,
        description=unit.description,
        identification=unit.identification,
        sheets=tuple(unit.sheets),
        path=str(path),
        air_system=unit.air_system,
        steering=None if steering is None else Steering(steering.wheel_diameter, steering.assist),
        axles=tuple(Axle(a.position, tuple(_wheel_end(end) for end in a.wheel_end)) for a in unit.axle),
        batteries=tuple(Battery(b.name, b.chemistry) for b in unit.battery),
        belts=tuple(Belt(b.name, b.span) for b in unit.belt),
        tyre_loads=tuple(
            TyreLoads(t.size, t.fitted, tuple((psi, pounds) for psi, pounds in t.loads), t.source)
            for t in unit.tyre_load
        ),
        limits=tuple(
            OwnLimit(
                own.sheet, own.point, own.reading, own.min, own.max, own.source, own.basis,
                line(("unit", "limit", i)),
            )
            for i, own in enumerate(unit.limit)
        ),
        sha256=sha256,
    )  # fmt: skip


def check_unit_file(file: UnitFile) -> Iterator[Fault]:
    """Yield every fault of a unit's file."""
    unit = file.unit
    if not unit.sheets:
        remedy = 'Name the sheets that apply to it, such as sheets = ["engine_bay"].'
        yield ("unit", "sheets"), "the unit has no sheet", remedy, "error"
    yield from check_id(("unit", "id"), unit.id)
    if not unit.name.strip():
        yield ("unit", "name"), "the unit has no name", "Write how it is spoken of.", "error"
    if unit.steering is not None and unit.steering.wheel_diameter <= 0:
        what = f"the steering wheel's diameter {show(unit.steering.wheel_diameter)} is not above zero"
        yield ("unit", "steering", "wheel_diameter"), what, "Write it in inches, such as 20.", "error"
    for i, axle in enumerate(unit.axle):
        yield from _check_axle(("unit", "axle", i), axle)
    for table, names in (
        ("battery", [b.name for b in unit.battery]),
        ("belt", [b.name for b in unit.belt]),
    ):
        yield from _check_names(table, names)
    for i, belt in enumerate(unit.belt):
        if belt.span is not None and belt.span <= 0:
            what = f"the belt's span {show(belt.span)} is not above zero"
            yield ("unit", "belt", i, "span"), what, "Write it in inches, such as 18.", "error"
    yield from _check_tyre_loads(unit.tyre_load)
    for i, own in enumerate(unit.limit):
        if own.min is None and own.max is None:
            what = "the unit's own limit has neither min nor max"
            yield ("unit", "limit", i), what, 'Write one or both, such as max = "1 1/2".', "error"
        if not own.source.strip():
            what = "the unit's own limit has no source"
            yield ("unit", "limit", i, "source"), what, "Name the manual or policy it is of.", "error"


def _wheel_end(end: WheelEndTable) -> WheelEnd:
    chamber = end.chamber
    return WheelEnd(
        end.side,
        None if chamber is None else Chamber(chamber.kind, chamber.type, chamber.stroke),
        tuple(Tyre(tyre.size, tyre.pressure, tyre.position) for tyre in end.tyres),
        end.weight,
    )


def _check_axle(path: KeyPath, axle: AxleTable) -> Iterator[Fault]:
    sides: set[str] = set()
    for j, end in enumerate(axle.wheel_end):
        at = (*path, "wheel_end", j)
        if end.side in sides:
            what = f"the axle has two {end.side} wheel ends"
            yield (*at, "side"), what, "Write one left and one right.", "error"
        sides.add(end.side)
        if end.weight is not None and end.weight <= 0:
            what = f"the wheel end's weight {show(end.weight)} is not above zero"
            yield (*at, "weight"), what, "Write the pounds that this end carries, or leave it out.", "error"
        positions = [tyre.position for tyre in end.tyres]
        dual = len(positions) > 1
        if dual != (positions.count(None) == 0 and bool(positions)) or len(set(positions)) != len(positions):
            what = (
                f"the {end.side} wheel end's tyres cannot be told apart"
                if dual
                else "a single tyre has no position"
            )
            remedy = 'Of two tyres one is position = "inner" and one "outer"; a single one has no position.'
            yield (*at, "tyres"), what, remedy, "error"
        for k, tyre in enumerate(end.tyres):
            if tyre.pressure <= 0:
                what = f"the tyre's pressure {show(tyre.pressure)} is not above zero"
                yield (*at, "tyres", k, "pressure"), what, "Write the placard's, in psi, cold.", "error"


def _check_tyre_loads(tables: list[TyreLoadTable]) -> Iterator[Fault]:
    of: set[tuple[str, str]] = set()
    for i, table in enumerate(tables):
        at: KeyPath = ("unit", "tyre_load", i)
        if (table.size, table.fitted) in of:
            what = f"there are two load tables of {table.size}, {table.fitted}"
            yield at, what, "Keep one of them.", "error"
        of.add((table.size, table.fitted))
        if not table.source.strip():
            what = "the load table has no source"
            yield (*at, "source"), what, "Name the tire maker's document and its edition.", "error"
        rows = table.loads
        if len(rows) < 2 or any(len(row) != 2 or min(row) <= 0 for row in rows):
            what = "a load table needs two rows or more, each a pressure and what the tire carries at it"
            yield (*at, "loads"), what, "Write psi and pounds: loads = [[90, 5000], [100, 5400]].", "error"
        elif any(a[0] >= b[0] or a[1] >= b[1] for a, b in itertools.pairwise(rows)):
            what = "the rows of a load table must rise, pressure and load both"
            yield (*at, "loads"), what, "Write the lowest pressure first, each once.", "error"


def _check_names(table: str, names: list[str]) -> Iterator[Fault]:
    for i, name in enumerate(names):
        path = ("unit", table, i, "name")
        if fault := phrase_fault(name):
            yield (path, *fault, "error")
        if name in names[:i]:
            what = f'two of the unit\'s {table} tables are both called "{name}"'
            yield path, what, "Give each a name of its own.", "error"
