"""Pairs of phrases that can be said at one stop and sound alike.

Pure: a sheet and an :class:`~voicelog.sounds.distance.Ear` in, pairs out. What can be said at a stop
is a condition of its points, a name of any point of the sheet, and the control words.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, product
from typing import Literal

from voicelog.phrases.commands import language_of
from voicelog.phrases.numbers import say_value, values
from voicelog.sheet.model import Condition, Reading, Sheet, Stop
from voicelog.sounds.distance import Ear

THRESHOLD = 1.3
"""Sounds apart below which two phrases count as confusable.

Set from ``tests/benchmarks/heard_apart.py``: one of two phrases was spoken by a synthetic voice at
12 dB of engine noise. The recogniser, given the two, took the other one in 35 of 226 cases nearer than
this, and in 7 of 174 further apart.
"""

Kind = Literal["polarity", "side", "command", "point", "value"]

GRAVE: tuple[Kind, ...] = ("polarity", "side")
"""What must not be confusable: a defect with a pass, left with right."""

_MOST_VALUES = 300
"""Of a reading with more values than this, those nearest its limit are compared."""

_MOST_OF_A_LIMIT = 3
"""Pairs of values that are told for one limit: the nearest."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two phrases that sound alike and mean different things."""

    kind: Kind
    one: str
    """The sound condition where one is sound."""
    other: str
    apart: float
    """Sounds between them, see :mod:`voicelog.sounds.distance`."""
    meanings: tuple[str, str]
    """What each stands for, for a person to read."""
    stops: tuple[str, ...]
    """Names of the stops where both can be said, for values of the readings; empty for anywhere."""
    instead: tuple[str, str, str] | None = None
    """``(phrase, replacement, what it stands for)``: one of the two, and what to say for it."""


def ear_for(sheet: Sheet) -> Ear:
    """Return an ear that knows every phrase of the sheet, its lexicon and the control words."""
    return Ear(all_phrases(sheet))


def all_phrases(sheet: Sheet) -> tuple[str, ...]:
    """Return every phrase that is compared, without repeats."""
    points = [p for point in sheet.points.values() for p in point.say]
    conditions = [p for condition in _conditions(sheet) for p in condition.say]
    sides = [p for said in sheet.lexicon.sides.values() for p in said]
    commands = [p for p, _ in _commands(sheet)]
    numbers = [p for reading in _scales(sheet) for said in _parted(reading) for p in said]
    return tuple(dict.fromkeys((*points, *conditions, *sides, *commands, *numbers)))


def confusable(sheet: Sheet, ear: Ear, threshold: float = THRESHOLD) -> tuple[Pair, ...]:
    """Return the pairs nearer than ``threshold``: grave kinds first, the nearest first in each."""
    found = [
        *_polarities(sheet, ear, threshold),
        *_sides(sheet, ear, threshold),
        *_commands_taken(sheet, ear, threshold),
        *_points(sheet, ear, threshold),
        *_values(sheet, ear, threshold),
    ]
    order: tuple[Kind, ...] = ("polarity", "side", "command", "point", "value")
    return tuple(sorted(found, key=lambda p: (order.index(p.kind), p.apart, p.one, p.other)))


def _near(ear: Ear, one: str, other: str, threshold: float) -> float | None:
    apart = ear.apart(one, other)
    return apart if apart is not None and apart < threshold else None


def _conditions(sheet: Sheet) -> tuple[Condition, ...]:
    aspects = {aspect for point in sheet.points.values() for aspect in point.aspects}
    return sheet.lexicon.conditions_of(tuple(aspects))


def _here(stop: Stop, sheet: Sheet) -> tuple[Condition, ...]:
    return sheet.lexicon.conditions_of(tuple({a for point in stop.points for a in point.aspects}))


def _polarities(sheet: Sheet, ear: Ear, threshold: float) -> Iterator[Pair]:
    where: dict[tuple[str, str], list[str]] = {}
    meant: dict[str, Condition] = {}
    small = language_of(sheet.lexicon).is_
    for stop in sheet.stops:
        here = _here(stop, sheet)
        meant.update({phrase: c for c in here for phrase in c.say})
        sound = [phrase for c in here if c.polarity == "sound" for phrase in c.say]
        defect = [phrase for c in here if c.polarity == "defect" for phrase in c.say]
        for pair in product(sound, defect):
            where.setdefault(pair, []).append(stop.name)
    for (one, other), stops in where.items():
        apart = min((d for d in _distances(one, other, ear, small) if d < threshold), default=None)
        if apart is not None:
            meanings = _meaning(meant[one], sheet), _meaning(meant[other], sheet)
            instead = _replacement(one, meant[one], sheet, ear, threshold) or _replacement(
                other, meant[other], sheet, ear, threshold
            )
            yield Pair("polarity", one, other, apart, meanings, tuple(stops), instead)


def _distances(one: str, other: str, ear: Ear, small: tuple[str, ...]) -> Iterator[float]:
    """Yield the distances between two conditions, also where a small word is said before one of them.

    "Looks" may be said before any condition: so "looks good" is as near to "bad" as "good" is.
    """
    for a, b in product(_without(one, small), _without(other, small)):
        if (apart := ear.apart(a, b)) is not None:
            yield apart


def _without(phrase: str, small: tuple[str, ...]) -> Iterator[str]:
    yield phrase
    first, _, rest = phrase.partition(" ")
    if rest and first in small:
        yield rest


def _meaning(condition: Condition, sheet: Sheet) -> str:
    return f"{condition.polarity}, {sheet.lexicon.aspects[condition.aspect]}"


def _replacement(
    phrase: str, condition: Condition, sheet: Sheet, ear: Ear, threshold: float
) -> tuple[str, str, str] | None:
    """Return another way to say the same that is near nothing of the opposite polarity, if there is one.

    The same condition first, then another of its aspect, polarity and class.
    """
    lexicon, small = sheet.lexicon, language_of(sheet.lexicon).is_
    against = [p for c in _conditions(sheet) if c.polarity != condition.polarity for p in c.say]
    alike = [c for c in lexicon.conditions_of((condition.aspect,)) if c is not condition]
    kin = [c for c in alike if (c.polarity, c.class_id) == (condition.polarity, condition.class_id)]
    for candidate in (condition, *kin):
        for said in candidate.say:
            near = [d for p in against for d in _distances(said, p, ear, small) if d < threshold]
            if said != phrase and ear.pronunciations.ways(said) and not near:
                return phrase, said, candidate.name
    return None


def _sides(sheet: Sheet, ear: Ear, threshold: float) -> Iterator[Pair]:
    if {"left", "right"} <= {point.side for point in sheet.points.values()}:
        for one, other in product(sheet.lexicon.sides["left"], sheet.lexicon.sides["right"]):
            if (apart := _near(ear, one, other, threshold)) is not None:
                yield Pair("side", one, other, apart, ("left", "right"), ())


def _commands(sheet: Sheet) -> tuple[tuple[str, str], ...]:
    language = language_of(sheet.lexicon)
    said = [(phrase, name) for name, ways in language.commands.items() for phrase in ways]
    return (*said, *((phrase, "correction") for phrase in language.correction if phrase not in dict(said)))


def _commands_taken(sheet: Sheet, ear: Ear, threshold: float) -> Iterator[Pair]:
    said = _commands(sheet)
    conditions = [(phrase, _meaning(c, sheet)) for c in _conditions(sheet) for phrase in c.say]
    names = [(phrase, "a point") for p in sheet.points.values() for phrase in p.say]
    against = dict.fromkeys((*conditions, *names))
    for (one, command), (other, meaning) in product(said, against):
        if (apart := _near(ear, one, other, threshold)) is not None:
            yield Pair("command", one, other, apart, (f"control word {command}", meaning), ())
    for (one, a), (other, b) in combinations(said, 2):
        if a != b and (apart := _near(ear, one, other, threshold)) is not None:
            yield Pair("command", one, other, apart, (f"control word {a}", f"control word {b}"), ())


def _points(sheet: Sheet, ear: Ear, threshold: float) -> Iterator[Pair]:
    """Yield names of different points; those of one name and two sides are told apart by the side."""
    named: dict[str, dict[str, str]] = {}
    for point in sheet.points.values():
        for phrase in point.say:
            named.setdefault(phrase, {})[point.name] = sheet.stop(point.stop_id).name
    for (one, ones), (other, others) in combinations(named.items(), 2):
        if not set(ones) & set(others) and (apart := _near(ear, one, other, threshold)) is not None:
            stops = tuple(sorted({*ones.values(), *others.values()}))
            yield Pair("point", one, other, apart, (next(iter(ones)), next(iter(others))), stops)


def _scales(sheet: Sheet) -> dict[Reading, tuple[str, ...]]:
    """Return the readings with a limit, those of one scale and limit once, with their points' names."""
    first: dict[tuple[object, ...], Reading] = {}
    named: dict[Reading, list[str]] = {}
    for point in sheet.points.values():
        for r in point.readings:
            if r.limit is not None:
                key = (r.low, r.high, r.resolution, r.limit.minimum, r.limit.maximum)
                named.setdefault(first.setdefault(key, r), []).append(f"{point.full_name} {r.name}")
    return {reading: tuple(dict.fromkeys(names)) for reading, names in named.items()}


def _parted(reading: Reading) -> tuple[list[str], list[str]]:
    """Return values as they are read back: those within the limit, and those past it."""
    assert reading.limit is not None
    low, high = reading.limit.minimum, reading.limit.maximum
    found = values(reading.low, reading.high, reading.resolution)
    bounds = [bound for bound in (low, high) if bound is not None]
    nearest = sorted(found, key=lambda v: min(abs(v - bound) for bound in bounds))[:_MOST_VALUES]
    parted: tuple[list[str], list[str]] = ([], [])
    for value in sorted(nearest):
        within = (low is None or value >= low) and (high is None or value <= high)
        parted[0 if within else 1].append(say_value(value, reading.resolution))
    return parted


def _values(sheet: Sheet, ear: Ear, threshold: float) -> Iterator[Pair]:
    """Yield the nearest values on the two sides of each limit. Numbers cannot be renamed."""
    for reading, names in _scales(sheet).items():
        near = [
            (apart, a, b)
            for a, b in product(*_parted(reading))
            if (apart := _near(ear, a, b, threshold)) is not None
        ]
        for apart, a, b in sorted(near)[:_MOST_OF_A_LIMIT]:
            yield Pair("value", a, b, apart, ("within the limit", "past it"), names)
