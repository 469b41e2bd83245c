"""What a computed value must satisfy: a kind, and the readings that it is made from. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from voicelog.sheet.computing import KINDS, Kind
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.problems import Severity, suggestion
from voicelog.sheet.quantities import parse_quantity
from voicelog.sheet.schema import ComputedTable, PointTable

Fault = tuple[KeyPath, str, str, Severity]


def check_computed(path: KeyPath, computed: ComputedTable, point: PointTable) -> Iterator[Fault]:
    """Yield the faults of a computed value of a point."""
    kind = KINDS[computed.kind]
    if len(computed.range) != 2 or computed.range[0] >= computed.range[1]:
        what = '"range" needs the lowest plausible value and then the highest'
        yield (*path, "range"), what, "Write two values, such as range = [0, 4].", "error"
    roles = [*kind.needs, *kind.may_have, *([kind.constant] if kind.constant else [])]
    for role in computed.inputs:
        if role not in roles:
            what = f'a computed {computed.kind} has no input "{role}"'
            yield (*path, "inputs", role), what, suggestion(role, roles), "error"
    yield from _check_readings(path, computed, kind, point)
    if kind.constant and kind.constant in computed.inputs:
        try:
            given = parse_quantity(computed.inputs[kind.constant])
        except ValueError:
            given = Fraction(0)
        if given <= 0:
            what = f'"{kind.constant}" is not a quantity above zero'
            yield (*path, "inputs", kind.constant), what, "Write a number, such as 18.", "error"


def _check_readings(path: KeyPath, computed: ComputedTable, kind: Kind, point: PointTable) -> Iterator[Fault]:
    readings = {reading.id: reading for reading in point.reading}
    for role, unit in (*kind.needs.items(), *kind.may_have.items()):
        name = str(computed.inputs.get(role, role))
        reading = readings.get(name)
        if reading is None:
            if role in kind.may_have and role not in computed.inputs:
                continue
            what = f'"{computed.name}" is computed from the reading "{name}", which "{point.name}" has not'
            at = (*path, "inputs", role) if role in computed.inputs else path
            otherwise = f'Add a [[stop.point.reading]] with id = "{name}".'
            yield at, what, suggestion(name, readings, otherwise=otherwise), "error"
        elif reading.unit != unit:
            what = f'"{computed.name}" needs "{name}" in {unit}, and it is in {reading.unit}'
            yield path, what, f'Write unit = "{unit}" for that reading.', "error"


def reading_of(computed: ComputedTable, role: str) -> str:
    """Return the id of the reading that has a role: the one named, or one called like the role."""
    return str(computed.inputs.get(role, role))
