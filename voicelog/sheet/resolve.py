"""The limits of a point as they are for one unit: rows of published tables, and the unit's own.

Pure. Adds to a list the faults it meets, with key paths of the sheet's file.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TypeVar

from voicelog.sheet.checks import Fault
from voicelog.sheet.computing import KINDS
from voicelog.sheet.limit_model import LimitRows, Limits
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.model import Unit
from voicelog.sheet.parts import tyre_loads
from voicelog.sheet.problems import Problem, suggestion
from voicelog.sheet.schema import (
    ComputedTable,
    LimitTable,
    PointTable,
    ReadingTable,
    ResolvedLimit,
    SheetFile,
    TimedTable,
)
from voicelog.sheet.timed import result_unit
from voicelog.sheet.unit_model import OwnLimit

_Measured = TypeVar("_Measured", ReadingTable, ComputedTable, TimedTable)


def with_limits(
    path: KeyPath,
    point: PointTable,
    attributes: Mapping[str, str],
    unit: Unit | None,
    limits: Limits | None,
    found: list[Fault],
) -> PointTable:
    """Return the point with every limit that names a table put in figures.

    Without a unit, a limit whose row only a unit can choose is left out.
    """
    readings = [
        _resolved(m, (*path, "reading", k, "limit"), attributes, unit, limits, found)
        for k, m in enumerate(point.reading)
    ]
    computed = [
        _resolved(m, (*path, "computed", k, "limit"), attributes, unit, limits, found)
        for k, m in enumerate(point.computed)
        if _given(m, attributes, unit)
    ]
    timed = [
        _resolved(m, (*path, "timed", k, "limit"), attributes, unit, limits, found)
        for k, m in enumerate(point.timed)
    ]
    written = point.model_copy(update={"reading": readings, "computed": computed, "timed": timed})
    found += _other_units(path, point, limits)
    return written


def _given(computed: ComputedTable, attributes: Mapping[str, str], unit: Unit | None) -> bool:
    """Return whether a unit gives what a computed value needs, for the kinds that do without it."""
    kind = KINDS[computed.kind]
    if unit is None or not kind.where_given:
        return True
    return kind.constant in attributes and tyre_loads(unit, attributes) is not None


def _other_units(path: KeyPath, point: PointTable, limits: Limits | None) -> Iterator[Fault]:
    """Yield a fault for each limit whose table is in another unit than what it is to judge."""
    every = [("reading", k, r.limit, r.unit) for k, r in enumerate(point.reading)]
    every += [("timed", k, t.limit, result_unit(t, point)) for k, t in enumerate(point.timed)]
    every += [("computed", k, c.limit, KINDS[c.kind].unit) for k, c in enumerate(point.computed)]
    tables = limits.tables if limits is not None else {}
    for kind, k, limit, unit in every:
        table = tables.get(limit.table or "") if limit is not None else None
        if table is not None and unit and unit != table.unit:
            what = f'the table "{table.name}" is in {table.unit}, and what it would judge in {unit}'
            remedy = f"Name a table in {unit}, or measure in {table.unit}."
            yield (*path, kind, k, "limit", "table"), what, remedy, "error"


def _resolved(
    measured: _Measured,
    path: KeyPath,
    attributes: Mapping[str, str],
    unit: Unit | None,
    limits: Limits | None,
    found: list[Fault],
) -> _Measured:
    limit = measured.limit
    if limit is None or limit.table is None:
        return measured
    fault, put = _row(limit, path, attributes, unit, limits)
    if fault is not None:
        found.append(fault)
    return measured.model_copy(update={"limit": put})


def _row(
    limit: LimitTable, path: KeyPath, attributes: Mapping[str, str], unit: Unit | None, limits: Limits | None
) -> tuple[Fault | None, ResolvedLimit | None]:
    known = limits.tables if limits is not None else {}
    table = known.get(limit.table or "")
    if table is None:
        what = f'there is no table of limits "{limit.table}"'
        return ((*path, "table"), what, suggestion(limit.table or "", known), "error"), None
    if written := [key for key in ("min", "max", "source", "basis") if getattr(limit, key) not in (None, "")]:
        what = f'the limit names a table and gives its own "{written[0]}" too'
        return ((*path, written[0]), what, "Keep one or the other.", "error"), None
    for key in limit.row:
        if key not in table.by:
            what = f'the table "{table.name}" is not by "{key}"'
            remedy = suggestion(key, table.by, otherwise="Take it out; it has one row.")
            return ((*path, "row", key), what, remedy, "error"), None
    given = {**attributes, **limit.row}
    if limit.unless is not None:
        other = known.get(limit.unless)
        if other is None:
            what = f'there is no table of limits "{limit.unless}"'
            return ((*path, "unless"), what, suggestion(limit.unless, known), "error"), None
        if other.row(given) is not None:
            return None, None
    row = table.row(given)
    if row is None and limit.or_none and set(table.by) <= set(given):
        return None, None
    if row is None:
        missing = [key for key in table.by if key not in attributes and key not in limit.row]
        if unit is None and missing:
            return None, None
        return (path, *_no_row(table, attributes, limit.row, missing, unit), "error"), None
    put = ResolvedLimit(min=row.minimum, max=row.maximum, source=table.cited(row), basis=table.basis)
    return None, put


def _no_row(
    table: LimitRows,
    attributes: Mapping[str, str],
    fixed: Mapping[str, str],
    missing: list[str],
    unit: Unit | None,
) -> tuple[str, str]:
    name = unit.name if unit is not None else "the unit"
    if missing:
        what = (
            f'the table "{table.name}" is by {", ".join(table.by)}, and {name} does not say its {missing[0]}'
        )
        return what, "Write it in the unit's file, or name the row: row = { " + f'{missing[0]} = "..." }}.'
    given = {**attributes, **fixed}
    asked = ", ".join(f"{key} {given[key]}" for key in table.by)
    known = "; ".join(" ".join(value for _, value in row.keys) for row in table.rows)
    what = f'the table "{table.name}" has no row for {asked}'
    return what, f"Put the unit's file right; the rows are: {known}. Or give its own limit there."


def with_own_limits(
    file: SheetFile, unit: Unit, bases: Mapping[str, str]
) -> tuple[SheetFile, tuple[Problem, ...]]:
    """Return a written-out sheet with the unit's own limits in the place of the sheet's.

    ``bases`` are the points' ids as the sheet's file has them. An own limit that lets through
    more than the sheet's does is a warning; one of nothing on the sheet is an error.
    """
    problems: list[Problem] = []
    for own in unit.limits:
        if own.sheet != file.sheet.id:
            continue
        file, count = _put(file, own, bases, unit, problems)
        if not count:
            problems.append(_of_nothing(file, own, bases, unit))
    return file, tuple(dict.fromkeys(problems))


def _put(
    file: SheetFile, own: OwnLimit, bases: Mapping[str, str], unit: Unit, problems: list[Problem]
) -> tuple[SheetFile, int]:
    count = 0
    stops = []
    for stop in file.stop:
        points = []
        for point in stop.point:
            if own.point in (point.id, bases.get(point.id)):
                count += _ids(point).count(own.reading)
                readings = [_own(m, own, unit, problems) for m in point.reading]
                computed = [_own(m, own, unit, problems) for m in point.computed]
                timed = [_own(m, own, unit, problems) for m in point.timed]
                point = point.model_copy(update={"reading": readings, "computed": computed, "timed": timed})
            points.append(point)
        stops.append(stop.model_copy(update={"point": points}))
    return file.model_copy(update={"stop": stops}), count


def _own(measured: _Measured, own: OwnLimit, unit: Unit, problems: list[Problem]) -> _Measured:
    if measured.id != own.reading:
        return measured
    sheet = measured.limit
    low = own.minimum if own.minimum is not None or sheet is None else sheet.min
    high = own.maximum if own.maximum is not None or sheet is None else sheet.max
    put = ResolvedLimit(min=low, max=high, source=own.source, basis=own.basis, own=True, replaces=sheet)
    if sheet is not None and _looser(put, sheet):
        what = f"{unit.name}'s own limit of {own.point} {own.reading} is looser than the one it replaces"
        remedy = f"Correct it, unless {own.source} says so. What it replaces: {sheet.source}."
        problems.append(Problem(unit.path, own.line, what, remedy, "warning"))
    return measured.model_copy(update={"limit": put})


def _looser(own: LimitTable, sheet: LimitTable) -> bool:
    below = sheet.min is not None and (own.min is None or own.min < sheet.min)
    above = sheet.max is not None and (own.max is None or own.max > sheet.max)
    return below or above


def _ids(point: PointTable) -> list[str]:
    """Return the ids of everything that is measured at a point."""
    return [*(r.id for r in point.reading), *(c.id for c in point.computed), *(t.id for t in point.timed)]


def _of_nothing(file: SheetFile, own: OwnLimit, bases: Mapping[str, str], unit: Unit) -> Problem:
    points = [p for stop in file.stop for p in stop.point if own.point in (p.id, bases.get(p.id))]
    if points:
        readings = _ids(points[0])
        what = f'the point "{own.point}" of the sheet {own.sheet} has no reading "{own.reading}"'
        remedy = suggestion(own.reading, readings, otherwise="Take it out: the point has no such reading.")
        return Problem(unit.path, own.line, what, remedy)
    known = list(dict.fromkeys(bases.values()))
    what = f'the sheet {own.sheet} has no point "{own.point}"'
    remedy = suggestion(own.point, known, otherwise="Write the id of one of the sheet's points.")
    return Problem(unit.path, own.line, what, remedy)
