"""What a well-formed sheet must still satisfy before a walk can rest on it.

Pure: tables in, faults out. A fault is a key path, what is wrong, what to write, and whether
it stops the sheet from being used.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from fractions import Fraction

from voicelog.sheet.computed_checks import check_computed
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.model import Language, Lexicon, Side
from voicelog.sheet.problems import Severity, nearest, suggestion
from voicelog.sheet.quantities import show
from voicelog.sheet.schema import LimitTable, PointTable, ReadingTable, SheetFile, StopTable
from voicelog.sheet.spoken import phrase_fault
from voicelog.sheet.timed import check_timed
from voicelog.sheet.units import known_unit

Fault = tuple[KeyPath, str, str, Severity]

_ID = re.compile(r"[a-z0-9_]+")
_STEPS = tuple(Fraction(1, n) for n in (1, 2, 4, 8, 10, 16, 20, 32, 100))


def spoken(name: str, say: list[str] | None) -> tuple[str, ...]:
    """Return the ways something is said: its name first, then ``say`` without repeats."""
    return tuple(dict.fromkeys([name, *(say or ())]))


def check(file: SheetFile, lexicon: Lexicon | None) -> Iterator[Fault]:
    """Yield every fault of a sheet; without a lexicon, those that can be seen without one."""
    yield from check_id(("sheet", "id"), file.sheet.id)
    if not any(stop.point for stop in file.stop):
        yield (
            ("sheet",),
            "the sheet is empty: it has no point to inspect",
            "Add a [[stop]] and under it a [[stop.point]].",
            "error",
        )
        return
    yield from _unique(((("stop", i, "id"), stop.id) for i, stop in enumerate(file.stop)), "stop")
    ids: list[tuple[KeyPath, str]] = [
        (("stop", i, "point", j, "id"), point.id)
        for i, stop in enumerate(file.stop)
        for j, point in enumerate(stop.point)
    ]
    yield from _unique(ids, "point")
    language = lexicon.language if lexicon is not None else None
    for i, stop in enumerate(file.stop):
        yield from _check_stop(("stop", i), stop, language)
        for j, point in enumerate(stop.point):
            yield from _check_point(("stop", i, "point", j), point, side_of(point, stop), lexicon)
    yield from _test_names(file)
    yield from _stop_names(file)
    yield from _point_names(file)


def side_of(point: PointTable, stop: StopTable) -> Side:
    """Return the side of a point: its own, or else its stop's."""
    return stop.side if point.side is None else point.side


def check_id(path: KeyPath, name: str) -> Iterator[Fault]:
    """Yield a fault when ``name`` cannot be an id, which also goes into file names and reports."""
    if not _ID.fullmatch(name):
        what = f'"{name}" cannot be an id'
        better = "_".join(re.findall(r"[a-z0-9]+", name.lower())) or "fan_belt"
        remedy = f'Use lower-case letters, digits and underscores: "{better}".'
        yield path, what, remedy, "error"


def check_phrases(
    path: KeyPath, name: str | None, say: list[str] | None, language: Language | None = None
) -> Iterator[Fault]:
    """Yield the faults of a name and its further spoken forms."""
    if name is not None:
        found = phrase_fault(name, language)
        if found:
            yield ((*path, "name"), *found, "error")
    if say is not None and not say:
        what = '"say" is empty: there is no way to say it'
        yield ((*path, "say"), what, 'Write at least one phrase, such as say = ["fan belt"].', "error")
    for index, phrase in enumerate(say or ()):
        found = phrase_fault(phrase, language)
        if found:
            yield ((*path, "say", index), *found, "error")


def _unique(ids: Iterable[tuple[KeyPath, str]], noun: str) -> Iterator[Fault]:
    seen: set[str] = set()
    for path, name in ids:
        yield from check_id(path, name)
        if name in seen:
            what = f'the {noun} id "{name}" is used twice'
            yield path, what, f'Give this {noun} an id of its own, such as "{name}_2".', "error"
        seen.add(name)


def _check_stop(path: KeyPath, stop: StopTable, language: Language | None) -> Iterator[Fault]:
    yield from check_phrases(path, stop.name, stop.say, language)
    if not stop.point:
        what = f'the stop "{stop.name}" has no point to inspect'
        yield path, what, "Add a [[stop.point]] under it, or take the stop out.", "error"
    if not stop.cautions:
        what = f'the stop "{stop.name}" has no caution'
        remedy = "Add cautions = [...] that say what can hurt a person here."
        yield path, what, remedy, "warning"


def _check_point(path: KeyPath, point: PointTable, side: Side, lexicon: Lexicon | None) -> Iterator[Fault]:
    language = lexicon.language if lexicon is not None else None
    yield from check_phrases(path, point.name, point.say, language)
    for phrase in spoken(point.name, point.say):
        first, _, rest = phrase.partition(" ")
        if side != "none" and first in ("left", "right") and rest:
            where = "name" if phrase == point.name else "say"
            what = f'"{phrase}" has its side in its name, and so would have to be said with the side twice'
            yield (*path, where), what, f'Write "{rest}"; the side is set by side = "{side}".', "error"
    readings: list[tuple[KeyPath, str]] = [
        ((*path, "reading", k, "id"), r.id) for k, r in enumerate(point.reading)
    ]
    readings += [((*path, "computed", k, "id"), c.id) for k, c in enumerate(point.computed)]
    yield from _unique(readings, "reading")
    for k, computed in enumerate(point.computed):
        yield from check_computed((*path, "computed", k), computed, point)
        if computed.limit is not None and len(computed.range) == 2:
            yield from check_limit((*path, "computed", k, "limit"), computed.limit, *computed.range)
    if lexicon is not None:
        yield from _check_aspects(path, point, lexicon)
    taken: dict[str, str] = {}
    for k, reading in enumerate(point.reading):
        at = (*path, "reading", k)
        yield from _check_reading(at, reading, lexicon)
        for phrase in spoken(reading.name, reading.say):
            other = taken.setdefault(phrase, reading.id)
            if other != reading.id:
                what = f'two readings of "{point.name}" are both called "{phrase}"'
                yield at, what, "Give each reading words of its own.", "error"
    yield from _check_timed(path, point, language)


def _check_timed(path: KeyPath, point: PointTable, language: Language | None) -> Iterator[Fault]:
    ids = [((*path, "reading", k, "id"), r.id) for k, r in enumerate(point.reading)]
    ids += [((*path, "timed", k, "id"), test.id) for k, test in enumerate(point.timed)]
    if point.timed:
        yield from _unique(ids, "reading or timed test")
    for k, test in enumerate(point.timed):
        at = (*path, "timed", k)
        yield from check_phrases(at, test.name, test.say, language)
        yield from check_timed(at, test, point)
        if language is not None and not (language.start and language.stop):
            what = f"there is no way to start and stop a timed test in {language.name}"
            remedy = 'Add [[command]] tables with id = "start" and id = "stop" to the lexicon.'
            yield at, what, remedy, "warning"
        if test.limit is not None:
            yield from check_limit((*at, "limit"), test.limit)


def _check_aspects(path: KeyPath, point: PointTable, lexicon: Lexicon) -> Iterator[Fault]:
    for index, aspect in enumerate(point.aspects):
        if aspect not in lexicon.aspects:
            what = f'unknown aspect "{aspect}"'
            yield (*path, "aspects", index), what, suggestion(aspect, lexicon.aspects), "error"
    known = [aspect for aspect in (*point.aspects, "general") if aspect in lexicon.aspects]
    conditions = {phrase: c for c in lexicon.conditions_of(tuple(known)) for phrase in c.say}
    for phrase in spoken(point.name, point.say):
        if phrase in conditions:
            what = f'"{phrase}" names this point and is also a condition of it'
            yield path, what, "Choose another name for the point.", "error"


def _check_reading(path: KeyPath, reading: ReadingTable, lexicon: Lexicon | None) -> Iterator[Fault]:
    language = lexicon.language if lexicon is not None else None
    yield from check_phrases(path, reading.name, reading.say, language)
    if language is not None:
        what = f"values can only be said in English, and the lexicon is in {language.name}"
        yield path, what, "Take the reading out, or use an English lexicon.", "error"
    if lexicon is not None and reading.unit not in lexicon.measures:
        yield (*path, "unit"), *_unit_fault(reading.unit, lexicon), "error"
    if len(reading.range) != 2:
        what = f'"range" has {len(reading.range)} values; it needs the lowest and the highest'
        yield (*path, "range"), what, 'Write two values, such as range = [0, "1 1/2"].', "error"
        return
    low, high = reading.range
    if low >= high:
        what = f"the range starts at {show(low)}, which is not below its end, {show(high)}"
        yield (*path, "range"), what, "Write the lowest plausible value first, then the highest.", "error"
        return
    if reading.resolution <= 0:
        what = f"the resolution {show(reading.resolution)} is not above zero"
        yield (*path, "resolution"), what, 'Write the step between values, such as "1/8".', "error"
    elif ((high - low) / reading.resolution).denominator != 1:
        step = show(reading.resolution)
        what = f"the resolution {step} does not divide the range {show(low)} to {show(high)}"
        yield (*path, "resolution"), what, _step_remedy(low, high, reading.resolution), "error"
    if reading.limit is not None:
        yield from check_limit((*path, "limit"), reading.limit, low, high)


def _unit_fault(unit: str, lexicon: Lexicon) -> tuple[str, str]:
    near = nearest(unit, lexicon.measures)
    if near is None:
        near = next((m.unit for m in lexicon.measures.values() if unit in (m.symbol, *m.say)), None)
    if near is not None:
        return f'unknown unit of measure "{unit}"', f'Did you mean "{near}"?'
    if known_unit(unit):
        what = f'the lexicon does not say how the unit "{unit}" is spoken'
        return what, f'Add a [[measure]] with unit = "{unit}" to the lexicon.'
    return f'unknown unit of measure "{unit}"', "Write one of: " + ", ".join(lexicon.measures) + "."


def _step_remedy(low: Fraction, high: Fraction, given: Fraction) -> str:
    fitting = [step for step in _STEPS if ((high - low) / step).denominator == 1]
    if not fitting:
        return "Write a step that goes into the range a whole number of times."
    best = min(fitting, key=lambda step: abs(step - given))
    return f'Write a step that goes into the range a whole number of times, such as "{show(best)}".'


def check_limit(
    path: KeyPath, limit: LimitTable, low: Fraction | None = None, high: Fraction | None = None
) -> Iterator[Fault]:
    """Yield the faults of a limit; without a range, as for a computed value, those that need none."""
    if limit.min is None and limit.max is None:
        yield path, "the limit has neither min nor max", 'Write one or both, such as max = "3/4".', "error"
    if not limit.source.strip():
        what = "the limit has no source"
        yield path, what, 'Say where the figure comes from, with its edition: source = "...".', "error"
    if limit.basis is None:
        what = '"basis" is missing from [stop.point.reading.limit]'
        yield path, what, 'Add a line: basis = "common practice".', "error"
    if limit.min is not None and limit.max is not None and limit.min > limit.max:
        what = f"the limit's min {show(limit.min)} is above its max {show(limit.max)}"
        yield path, what, "Swap the two values.", "error"
    if low is None or high is None:
        return
    span = f"the plausible range {show(low)} to {show(high)}"
    for key, bound in (("min", limit.min), ("max", limit.max)):
        if bound is None:
            continue
        if not low <= bound <= high:
            what = f"the limit's {key} {show(bound)} lies outside {span}"
            yield (*path, key), what, "Widen the range or correct the limit.", "error"
        elif (key == "min" and bound == low) or (key == "max" and bound == high):
            what = f"the limit's {key} {show(bound)} is the end of {span}, so no value past it can be said"
            yield (*path, key), what, "Widen the range: a value past the limit must be sayable.", "error"


def _test_names(file: SheetFile) -> Iterator[Fault]:
    taken: dict[str, tuple[KeyPath, PointTable]] = {}
    for i, stop in enumerate(file.stop):
        for j, point in enumerate(stop.point):
            for k, test in enumerate(point.timed):
                path: KeyPath = ("stop", i, "point", j, "timed", k)
                for phrase in spoken(test.name, test.say):
                    at, other = taken.setdefault(phrase, (path, point))
                    if at != path and not _apart(other, point):
                        what = f'two timed tests are both called "{phrase}"'
                        remedy = "Give each test words of its own; its side belongs into its name."
                        yield path, what, remedy, "error"


def _stop_names(file: SheetFile) -> Iterator[Fault]:
    taken: dict[str, tuple[int, str]] = {}
    for i, stop in enumerate(file.stop):
        for phrase in spoken(stop.name, stop.say):
            other, name = taken.setdefault(phrase, (i, stop.name))
            if other != i:
                what = f'two stops are both called "{phrase}": this one and "{name}"'
                yield ("stop", i), what, "Give each stop words of its own.", "error"
    for i, stop in enumerate(file.stop):
        for j, point in enumerate(stop.point):
            for phrase in spoken(point.name, point.say):
                if phrase in taken:
                    what = f'"{phrase}" names both a point and the stop "{taken[phrase][1]}"'
                    yield ("stop", i, "point", j), what, "Choose another name for the point.", "error"


def _point_names(file: SheetFile) -> Iterator[Fault]:
    """Yield clashes: an error at one stop, a warning between stops."""
    elsewhere: dict[tuple[Side, str], str] = {}
    for i, stop in enumerate(file.stop):
        here: dict[str, dict[Side, PointTable]] = {}
        for j, point in enumerate(stop.point):
            path = ("stop", i, "point", j)
            side = side_of(point, stop)
            for phrase in spoken(point.name, point.say):
                others = here.setdefault(phrase, {})
                clash = _clashing(others, side)
                if clash is not None and _apart(clash, point):
                    clash = None
                if clash is not None:
                    both = f'"{clash.id}" and "{point.id}"'
                    what = f'two points of this stop can both be meant by "{phrase}": {both}'
                    yield path, what, "Give one of them other words, or another side.", "error"
                others.setdefault(side, point)
                other = elsewhere.get((side, phrase))
                if other is not None and clash is None:
                    what = f'"{phrase}" also names "{other}" at an earlier stop'
                    yield path, what, "Give one of them other words if both can be meant at once.", "warning"
        for phrase, sides in here.items():
            for side, point in sides.items():
                elsewhere.setdefault((side, phrase), point.id)


def _apart(one: PointTable, other: PointTable) -> bool:
    """Return whether no unit has both points: they are written where it is one thing, and another."""
    return any(other.where.get(key, value) != value for key, value in one.where.items())


def _clashing(others: dict[Side, PointTable], side: Side) -> PointTable | None:
    """Return the point that the same words may mean: of the same side, or one without a side."""
    if side == "none":
        return next(iter(others.values()), None)
    return others.get(side) or others.get("none")
