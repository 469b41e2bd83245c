"""From checked tables to the frozen values the rest of voicelog uses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from voicelog.sheet.checks import side_of, spoken
from voicelog.sheet.computed_checks import reading_of
from voicelog.sheet.computing import KINDS
from voicelog.sheet.limit_build import limit_of
from voicelog.sheet.limit_model import Limits
from voicelog.sheet.model import (
    Caution,
    Computed,
    Condition,
    DefectClass,
    Language,
    Lexicon,
    Measure,
    Point,
    Reading,
    Sheet,
    Stop,
    Unit,
)
from voicelog.sheet.parts import Part, tyre_loads, unit_attributes
from voicelog.sheet.quantities import parse_quantity
from voicelog.sheet.schema import (
    CautionTable,
    ComputedTable,
    LexiconFile,
    PointTable,
    ReadingTable,
    SheetFile,
    StopTable,
)
from voicelog.sheet.timed import RESULT_RESOLUTION, build_timed

GENERAL = "general"
"""The aspect that can be spoken of at every point."""


def build_sheet(
    file: SheetFile,
    lexicon: Lexicon,
    sha256: str,
    path: Path,
    *,
    limits: Limits | None = None,
    unit: Unit | None = None,
    parts: Mapping[str, Part] | None = None,
    sources: tuple[tuple[str, str], ...] = (),
) -> Sheet:
    """Return the sheet of checked tables; ``sha256`` is of the file's bytes.

    ``limits`` and ``unit`` are those it was written out with; ``parts`` what each point is of;
    ``sources`` the files it was made from.
    """
    made = _Making(lexicon, limits, unit, parts or {})
    return Sheet(
        id=file.sheet.id,
        title=file.sheet.title,
        edition=file.sheet.edition,
        gate=tuple(_caution(caution) for caution in file.sheet.cautions),
        stops=tuple(_stop(stop, made) for stop in file.stop),
        lexicon=lexicon,
        sha256=sha256,
        path=str(path),
        limits_sha256=limits.sha256 if limits is not None else "",
        unit_sha256=unit.sha256 if unit is not None else "",
        sources=sources,
    )


@dataclass(frozen=True, slots=True)
class _Making:
    """What the points of a sheet are made with."""

    lexicon: Lexicon
    limits: Limits | None
    unit: Unit | None
    parts: Mapping[str, Part]

    def attributes(self, point_id: str) -> Mapping[str, str]:
        part = self.parts.get(point_id)
        if part is not None:
            return part.attributes
        return unit_attributes(self.unit) if self.unit is not None else {}


def build_lexicon(file: LexiconFile, sha256: str) -> Lexicon:
    """Return the lexicon of checked tables; ``sha256`` is of the file's bytes."""
    return Lexicon(
        aspects={row.id: row.name for row in file.aspect},
        classes={
            row.id: DefectClass(row.id, row.name, row.meaning, row.source, row.rank) for row in file.class_
        },
        conditions={
            row.id: Condition(
                id=row.id,
                name=row.name or row.say[0],
                aspect=row.aspect,
                polarity=row.polarity,
                class_id=row.class_id,
                say=tuple(row.say),
            )
            for row in file.condition
        },
        measures={row.unit: Measure(row.unit, row.symbol, tuple(row.say)) for row in file.measure},
        sides={row.id: tuple(row.say) for row in file.side},
        sha256=sha256,
        language=build_language(file),
    )


def build_language(file: LexiconFile) -> Language | None:
    """Return the language of a lexicon that names one; None for English."""
    small = file.language
    if small is None:
        return None
    said = {row.id: tuple(row.say) for row in file.command}
    return Language(
        name=small.name,
        correction=said.pop("correction", ()),
        start=said.pop("start", ()),
        mark=said.pop("mark", ()),
        stop=said.pop("stop", ()),
        commands=said,
        is_=tuple(small.is_),
        at=tuple(small.at),
        on=tuple(small.on),
        the=tuple(small.the),
        and_=tuple(small.and_),
        go_to=tuple(small.go_to),
        one=tuple(small.one),
    )


def _stop(stop: StopTable, made: _Making) -> Stop:
    return Stop(
        id=stop.id,
        name=stop.name,
        say=spoken(stop.name, stop.say),
        side=stop.side,
        gate=tuple(_caution(caution) for caution in stop.cautions),
        points=tuple(_point(point, stop, made) for point in stop.point),
    )


def _caution(caution: CautionTable) -> Caution:
    return Caution(caution.text, caution.ask, tuple(caution.say or ()))


def _point(point: PointTable, stop: StopTable, made: _Making) -> Point:
    aspects = list(dict.fromkeys(point.aspects))
    if GENERAL in made.lexicon.aspects and GENERAL not in aspects:
        aspects.append(GENERAL)
    return Point(
        id=point.id,
        name=point.name,
        say=spoken(point.name, point.say),
        side=side_of(point, stop),
        look_for=point.look_for,
        aspects=tuple(aspects),
        readings=tuple(_reading(reading) for reading in point.reading),
        required=point.required,
        stop_id=stop.id,
        extent=point.extent,
        timed=tuple(build_timed(test, point) for test in point.timed),
        computed=tuple(_computed(c, point, made) for c in point.computed),
    )


def _computed(computed: ComputedTable, point: PointTable, made: _Making) -> Computed:
    kind = KINDS[computed.kind]
    attributes = made.attributes(point.id)
    readings = {reading.id: reading for reading in point.reading}
    roles = [(role, reading_of(computed, role)) for role in (*kind.needs, *kind.may_have)]
    inputs = tuple((role, name) for role, name in roles if name in readings)
    given = computed.inputs.get(kind.constant, attributes.get(kind.constant)) if kind.constant else None
    by_chemistry = kind.curve == "chemistry" and made.limits is not None
    curve = made.limits.curve(attributes.get("chemistry", "")) if by_chemistry and made.limits else None
    loads = tyre_loads(made.unit, attributes) if kind.curve == "tyre load" else None
    low, high = computed.range
    same_unit = readings[inputs[0][1]].unit == kind.unit
    return Computed(
        kind=computed.kind,
        reading=Reading(
            id=computed.id,
            name=computed.name,
            say=(computed.name,),
            unit=kind.unit,
            low=low,
            high=high,
            resolution=readings[inputs[0][1]].resolution if same_unit else RESULT_RESOLUTION,
            limit=limit_of(computed.limit),
            required=computed.required,
        ),
        inputs=inputs,
        constant=parse_quantity(given) if given is not None else None,
        curve=curve.points if curve is not None else loads.loads if loads is not None else (),
        curve_at=curve.at if curve is not None else Fraction(0),
        per_degree=curve.per_degree if curve is not None else Fraction(0),
        basis=curve.cited if curve is not None else loads.source if loads is not None else "",
    )


def _reading(reading: ReadingTable) -> Reading:
    low, high = reading.range
    return Reading(
        id=reading.id,
        name=reading.name,
        say=spoken(reading.name, reading.say),
        unit=reading.unit,
        low=low,
        high=high,
        resolution=reading.resolution,
        limit=limit_of(reading.limit),
        required=reading.required,
    )
