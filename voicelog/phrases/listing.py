"""What can be said at a stop, as lines for a person to read."""

from __future__ import annotations

from collections.abc import Iterator

from voicelog.errors import SheetError
from voicelog.phrases.commands import language_of
from voicelog.phrases.numbers import say_value
from voicelog.sheet.model import Point, Reading, Sheet, Stop


def chosen_stop(sheet: Sheet, stop_id: str | None) -> Stop:
    """Return the stop of that id, or the first. Raises :class:`SheetError` for an unknown id."""
    if stop_id is None:
        return sheet.stops[0]
    for stop in sheet.stops:
        if stop.id == stop_id:
            return stop
    raise SheetError(
        f"there is no stop {stop_id}",
        where=sheet.path,
        remedy="choose one of: " + ", ".join(s.id for s in sheet.stops),
    )


def phrase_lines(sheet: Sheet, stop_id: str | None = None) -> Iterator[str]:
    """Yield the lines: per stop its points, the conditions and values that can be said of each."""
    stops = sheet.stops if stop_id is None else (chosen_stop(sheet, stop_id),)
    language = language_of(sheet.lexicon)
    lead = f"{language.go_to[0]} " if language.go_to else ""
    for stop in stops:
        yield f"{stop.name}  ({lead}{' / '.join(stop.say)})"
        for point in stop.points:
            yield from _point_lines(point, sheet)
        yield ""
    yield "any time"
    for said in language.commands.values():
        yield f"  {' / '.join(said)}"
    if language.correction:
        yield f"  {' / '.join(language.correction)} ... what it should have been"


def _point_lines(point: Point, sheet: Sheet) -> Iterator[str]:
    side = "" if point.side == "none" else f"[{' / '.join(sheet.lexicon.sides[point.side])}] "
    yield f"  {side}{' / '.join(point.say)}"
    for polarity in ("sound", "defect"):
        said = [
            p for c in sheet.lexicon.conditions_of(point.aspects) if c.polarity == polarity for p in c.say
        ]
        yield f"    {polarity}: {', '.join(said)}"
    for reading in point.readings:
        yield f"    {' / '.join(reading.say)}: {_range(reading, sheet)}"
    language = language_of(sheet.lexicon)
    for test in point.timed:
        marks = (f"{language.mark[0]} ...",) if test.reading_id is not None and language.mark else ()
        forms = (*(f"{word} {test.name}" for word in (*language.start[:1], *language.stop[:1])), *marks)
        yield f"    timed, {test.kind}: {', '.join(forms)}"


def _range(reading: Reading, sheet: Sheet) -> str:
    measure = sheet.lexicon.measures.get(reading.unit)
    unit = measure.say[min(1, len(measure.say) - 1)] if measure else reading.unit
    low, high = (say_value(v, reading.resolution) for v in (reading.low, reading.high))
    return f"{low} to {high} {unit}, in steps of {say_value(reading.resolution, reading.resolution)}"
