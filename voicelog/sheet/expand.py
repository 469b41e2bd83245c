"""A sheet written out for one unit: a point for each wheel end, a limit for each chamber.

Pure: tables in, tables out, with the faults met on the way. What comes out is a sheet like any
other, so that nothing after this knows of parts. Key paths of the written-out sheet lead back to
the file by :attr:`Expanded.written_at`.
"""

from __future__ import annotations

import string
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from voicelog.sheet.checks import Fault
from voicelog.sheet.computing import KINDS
from voicelog.sheet.limit_model import Limits
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.model import Unit
from voicelog.sheet.parts import CHOICES, SIDED, WORDS, Part, parts, plain_part, unit_attributes
from voicelog.sheet.problems import suggestion
from voicelog.sheet.resolve import with_limits
from voicelog.sheet.schema import PointTable, SheetFile, StopTable


@dataclass(frozen=True, slots=True)
class Expanded:
    """A sheet's tables, written out."""

    file: SheetFile
    faults: tuple[Fault, ...]
    """With key paths of the file."""
    places: dict[tuple[int, int], tuple[int, int]] = field(default_factory=dict)
    """(stop, point) as written out to (stop, point) in the file."""
    parts: dict[str, Part] = field(default_factory=dict)
    """By the id of the point that was written out for it."""
    bases: dict[str, str] = field(default_factory=dict)
    """The point's id in the file, by its id as written out."""

    def written_at(self, path: KeyPath) -> KeyPath:
        """Return where in the file a key path of the written-out sheet is written."""
        match path:
            case ("stop", int(i), "point", int(j), *rest):
                stop, point = self.places[i, j]
                return ("stop", stop, "point", point, *rest)
            case ("stop", int(i), *rest):
                stop = next((old[0] for new, old in self.places.items() if new[0] == i), i)
                return ("stop", stop, *rest)
            case _:
                return path


def needs_unit(file: SheetFile, limits: Limits | None) -> bool:
    """Return whether what the sheet asks, or judges by, depends on the unit."""
    return any(_depends(point, limits) for stop in file.stop for point in stop.point)


def needs_limits(file: SheetFile) -> bool:
    """Return whether the sheet's readings are judged, or computed, by tables of limits."""
    points = [point for stop in file.stop for point in stop.point]
    by_curve = any(c.kind == "state of charge" for p in points for c in p.computed)
    return by_curve or any(limit.table is not None for p in points for limit in p.limits)


def expand(file: SheetFile, unit: Unit | None, limits: Limits | None) -> Expanded:
    """Return the sheet written out for a unit; without one, each point once, with words to check it by."""
    found: list[Fault] = []
    result = Expanded(file, ())
    stops: list[StopTable] = []
    for i, stop in enumerate(file.stop):
        points: list[PointTable] = []
        for j, point in enumerate(stop.point):
            path: KeyPath = ("stop", i, "point", j)
            found += _check_templates(path, point)
            found += _check_where(path, point)
            for part, written in _written(path, point, stop, unit, found):
                result.places[len(stops), len(points)] = (i, j)
                result.bases[written.id] = point.id
                attributes = part.attributes if part is not None else {}
                if part is not None:
                    result.parts[written.id] = part
                elif unit is not None:
                    attributes = unit_attributes(unit)
                points.append(with_limits(path, written, attributes, unit, limits, found))
        if points or not stop.point or unit is None:
            if not points:
                result.places.setdefault((len(stops), 0), (i, 0))
            stops.append(stop.model_copy(update={"point": points}))
    out = file.model_copy(update={"stop": stops})
    distinct = tuple(dict.fromkeys(found))
    return Expanded(out, distinct, result.places, result.parts, result.bases)


def _depends(point: PointTable, limits: Limits | None) -> bool:
    if point.for_each is not None or point.where:
        return True
    tables = limits.tables if limits is not None else {}
    by = [(tables.get(limit.table or ""), limit.row) for limit in point.limits]
    if any(table is not None and set(table.by) - set(row) for table, row in by):
        return True
    kinds = [(KINDS[computed.kind], computed.inputs) for computed in point.computed]
    return any(kind.curve or (kind.constant and kind.constant not in given) for kind, given in kinds)


def _written(
    path: KeyPath, point: PointTable, stop: StopTable, unit: Unit | None, found: list[Fault]
) -> Iterator[tuple[Part | None, PointTable]]:
    """Yield the point as it is said of each part; a point that is of no part once, as it is."""
    if point.for_each is None:
        if unit is None or _wanted(path, point, unit_attributes(unit), unit, found):
            yield None, point
        return
    if any(fault[0][: len(path)] == path and fault[3] == "error" for fault in found):
        return
    every = (plain_part(point.for_each, stop.side),) if unit is None else parts(unit, point.for_each)
    here = [p for p in every if point.for_each not in SIDED or stop.side in ("none", p.side) or unit is None]
    if not here:
        where = f" on its {stop.side}" if every else ""
        what = f'{unit.name if unit else "the unit"} has no {point.for_each}{where}: "{point.id}" is left out'
        remedy = "Write them in the unit's file if it has any."
        found.append(((*path, "for_each"), what, remedy, "warning"))
    for part in here:
        if unit is not None and not _wanted(path, point, part.attributes, unit, found):
            continue

        # Where a part has no such word, as a single tyre has no position, the template does without.
        def say(template: str, part: Part = part) -> str:
            return " ".join(template.format(**part.words).split())

        yield (
            part,
            point.model_copy(
                update={
                    "id": f"{point.id}_{part.suffix}",
                    "name": say(point.name),
                    "say": None if point.say is None else [say(phrase) for phrase in point.say],
                    "look_for": say(point.look_for),
                    "side": part.side if point.for_each in SIDED else point.side,
                }
            ),
        )


def _wanted(
    path: KeyPath, point: PointTable, attributes: Mapping[str, str], unit: Unit, found: list[Fault]
) -> bool:
    """Return whether a point is written for what has these attributes.

    A unit must say what it is, so that no point is left out because its file is silent; a part need not.
    """
    for key, value in point.where.items():
        if key in attributes:
            if attributes[key] != value:
                return False
            continue
        of_unit = CHOICES[None].get(key)
        what = f'{unit.name} does not say its {key}: "{point.id}" is left out'
        remedy = "Write it in the unit's file if it has one."
        if of_unit:
            what = f'{unit.name} does not say its {key}, which "{point.id}" depends on'
            remedy = f"Write it in the unit's file: {' or '.join(of_unit)}."
        found.append(((*path, "where", key), what, remedy, "error" if of_unit else "warning"))
        return False
    return True


def _check_where(path: KeyPath, point: PointTable) -> Iterator[Fault]:
    known = CHOICES[point.for_each]
    for key, value in point.where.items():
        if key not in known:
            what = f'a point cannot be written by "{key}" here'
            yield (*path, "where", key), what, suggestion(key, known), "error"
        elif value not in known[key]:
            what = f'unknown {key} "{value}"'
            yield (*path, "where", key), what, suggestion(value, known[key]), "error"


def _check_templates(path: KeyPath, point: PointTable) -> Iterator[Fault]:
    if point.for_each in SIDED and point.side is not None:
        what = f"the side of this point is that of each {point.for_each}"
        yield (*path, "side"), what, "Take the side out.", "error"
    known = WORDS[point.for_each] if point.for_each is not None else ()
    texts: list[tuple[KeyPath, str]] = [((*path, "name"), point.name), ((*path, "look_for"), point.look_for)]
    texts += [((*path, "say", k), phrase) for k, phrase in enumerate(point.say or ())]
    for at, text in texts:
        try:
            used = [name for _, name, _, _ in string.Formatter().parse(text) if name is not None]
        except ValueError:
            what = f'"{text}" has a brace without its other'
            yield at, what, "Write each word of the part in braces, such as {axle}.", "error"
            continue
        for name in used:
            if name not in known:
                what = f'"{{{name}}}" in "{text}" stands for nothing'
                yield at, what, _word_remedy(name, point, known), "error"


def _word_remedy(name: str, point: PointTable, known: tuple[str, ...]) -> str:
    if point.for_each is None:
        return 'Say what the point is written for, such as for_each = "wheel end", or take the braces out.'
    return suggestion(name, known, otherwise="The words of each are: " + ", ".join(known) + ".")
