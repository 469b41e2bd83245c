"""From checked tables to the frozen values the rest of voicelog uses."""

from __future__ import annotations

from pathlib import Path

from voicelog.sheet.checks import side_of, spoken
from voicelog.sheet.model import (
    Caution,
    Condition,
    DefectClass,
    Language,
    Lexicon,
    Limit,
    Measure,
    Point,
    Reading,
    Sheet,
    Stop,
    Unit,
)
from voicelog.sheet.schema import (
    CautionTable,
    LexiconFile,
    PointTable,
    ReadingTable,
    SheetFile,
    StopTable,
    UnitFile,
)
from voicelog.sheet.timed import build_timed

GENERAL = "general"
"""The aspect that can be spoken of at every point."""


def build_sheet(file: SheetFile, lexicon: Lexicon, sha256: str, path: Path) -> Sheet:
    """Return the sheet of checked tables; ``sha256`` is of the file's bytes."""
    return Sheet(
        id=file.sheet.id,
        title=file.sheet.title,
        edition=file.sheet.edition,
        gate=tuple(_caution(caution) for caution in file.sheet.cautions),
        stops=tuple(_stop(stop, lexicon) for stop in file.stop),
        lexicon=lexicon,
        sha256=sha256,
        path=str(path),
    )


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


def build_unit(file: UnitFile, path: Path) -> Unit:
    """Return the unit of checked tables."""
    unit = file.unit
    return Unit(
        id=unit.id,
        name=unit.name,
        station=unit.station,
        description=unit.description,
        identification=unit.identification,
        sheets=tuple(unit.sheets),
        path=str(path),
    )


def _stop(stop: StopTable, lexicon: Lexicon) -> Stop:
    return Stop(
        id=stop.id,
        name=stop.name,
        say=spoken(stop.name, stop.say),
        side=stop.side,
        gate=tuple(_caution(caution) for caution in stop.cautions),
        points=tuple(_point(point, stop, lexicon) for point in stop.point),
    )


def _caution(caution: CautionTable) -> Caution:
    return Caution(caution.text, caution.ask, tuple(caution.say or ()))


def _point(point: PointTable, stop: StopTable, lexicon: Lexicon) -> Point:
    aspects = list(dict.fromkeys(point.aspects))
    if GENERAL in lexicon.aspects and GENERAL not in aspects:
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
    )


def _reading(reading: ReadingTable) -> Reading:
    low, high = reading.range
    limit = reading.limit
    return Reading(
        id=reading.id,
        name=reading.name,
        say=spoken(reading.name, reading.say),
        unit=reading.unit,
        low=low,
        high=high,
        resolution=reading.resolution,
        limit=None if limit is None else Limit(limit.min, limit.max, limit.source, limit.basis),
        required=reading.required,
    )
