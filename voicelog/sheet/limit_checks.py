"""What a well-formed file of limits must still satisfy before a reading is judged by it.

Pure: tables in, faults out.
"""

from __future__ import annotations

from collections.abc import Iterator

from voicelog.sheet.limit_schema import CurveTable, LimitsFile, RowsTable
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.problems import Severity, suggestion
from voicelog.sheet.quantities import show
from voicelog.sheet.units import known_unit

Fault = tuple[KeyPath, str, str, Severity]


def check(file: LimitsFile) -> Iterator[Fault]:
    """Yield every fault of a file of limits."""
    taken: set[str] = set()
    for i, table in enumerate(file.table):
        if table.name in taken:
            what = f'two tables are both called "{table.name}"'
            yield ("table", i, "name"), what, "Give each table a name of its own.", "error"
        taken.add(table.name)
        yield from _check_table(("table", i), table)
    of: set[str] = set()
    for i, curve in enumerate(file.curve):
        if curve.chemistry in of:
            what = f"there are two curves of {curve.chemistry} batteries"
            yield ("curve", i, "chemistry"), what, "Keep one of them.", "error"
        of.add(curve.chemistry)
        yield from _check_curve(("curve", i), curve)


def _check_table(path: KeyPath, table: RowsTable) -> Iterator[Fault]:
    if not table.source.strip():
        what = f'the table "{table.name}" has no source'
        yield (*path, "source"), what, "Name the document that the figures are of.", "error"
    if not known_unit(table.unit):
        what = f'unknown unit of measure "{table.unit}"'
        yield (*path, "unit"), what, 'Write a unit by its full name, such as "inch" or "psi".', "error"
    if not table.row:
        what = f'the table "{table.name}" has no row'
        yield path, what, "Add a [[table.row]] under it.", "error"
    seen: dict[tuple[tuple[str, str], ...], int] = {}
    for j, row in enumerate(table.row):
        at = (*path, "row", j)
        for key in row.for_:
            if key not in table.by:
                what = f'the row has the key "{key}", which the table is not by'
                yield (*at, "for"), what, suggestion(key, table.by, otherwise="Take it out."), "error"
        if missing := [key for key in table.by if key not in row.for_]:
            what = f"the row does not say its {missing[0]}"
            yield (*at, "for"), what, f'Add {missing[0]} = "..." to "for".', "error"
        if row.min is None and row.max is None:
            what = "the row has neither min nor max"
            yield at, what, 'Write one or both, such as max = "1 3/4".', "error"
        elif row.min is not None and row.max is not None and row.min > row.max:
            what = f"the row's min {show(row.min)} is above its max {show(row.max)}"
            yield at, what, "Swap the two values.", "error"
        if row.known == "seen" and not row.read_in.strip():
            what = 'the figure is marked "seen" and does not say where it was read'
            yield at, what, 'Add read_in = "...", or write known = "from memory".', "error"
        keys = tuple(sorted(row.for_.items()))
        if keys in seen:
            what = f"two rows of this table are of the same: this one and row {seen[keys] + 1}"
            yield at, what, "Keep one of them.", "error"
        seen.setdefault(keys, j)


def _check_curve(path: KeyPath, curve: CurveTable) -> Iterator[Fault]:
    at = (*path, "points")
    if len(curve.points) < 2 or any(len(point) != 2 for point in curve.points):
        what = "a curve needs two points or more, each a voltage and its percentage"
        yield at, what, 'Write points = [["12.65", 100], ["12.45", 75]].', "error"
        return
    falling = all(
        a[0] > b[0] and a[1] > b[1] for a, b in zip(curve.points, curve.points[1:], strict=False)
    )  # fmt: skip
    if not falling:
        what = "the points of a curve must fall, voltage and percentage both"
        yield at, what, "Write the fullest charge first, each voltage once.", "error"
