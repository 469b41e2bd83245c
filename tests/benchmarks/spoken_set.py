"""Phrases of a check sheet to speak, and near misses that must not be taken for them.

Seeded: the same seed gives the same phrases. Near misses differ from a phrase in one word: a
point that the sheet lacks, a side that does not exist, a unit that does not fit.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from voicelog.phrases.numbers import spoken_forms, values
from voicelog.phrases.quantities import say_quantity
from voicelog.sheet.model import Point, Sheet

FOREIGN_PARTS = (
    "ladder rack", "deck gun", "hose bed", "mirror bracket", "light bar", "siren speaker", "seat belt",
    "door handle", "wiper blade", "generator", "winch cable", "pump panel", "foam tank", "tail light",
)  # fmt: skip
"""Things of a fire engine that an engine bay sheet does not have."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """A phrase to speak, and where the operator stands."""

    text: str
    stop_id: str
    in_grammar: bool


def phrases(sheet: Sheet, count: int, seed: int) -> list[Spoken]:
    """Return phrases as people report: point and condition, two facts, a reading, or both."""
    rng = random.Random(seed)
    points = [p for p in sheet.points.values()]
    found = []
    for _ in range(count):
        point = rng.choice(points)
        kind = rng.random()
        if point.readings and kind < 0.5:
            text = f"{_name(point, rng)} {_reading(point, sheet, rng)}"
        elif kind < 0.75:
            text = f"{_name(point, rng)} {_condition(point, sheet, rng)}"
        elif kind < 0.9:
            text = f"{_name(point, rng)} {_condition(point, sheet, rng)} and {_condition(point, sheet, rng)}"
        else:
            text = f"{_condition(point, sheet, rng)} on the {_name(point, rng)}"
        found.append(Spoken(text, point.stop_id, True))
    return found


def near_misses(sheet: Sheet, count: int, seed: int) -> list[Spoken]:
    """Return phrases one word off what can be said."""
    rng = random.Random(seed)
    points = list(sheet.points.values())
    found: list[Spoken] = []
    while len(found) < count:
        point = rng.choice(points)
        kind = rng.randrange(4)
        if kind == 0:
            text = f"{rng.choice(FOREIGN_PARTS)} {_condition(point, sheet, rng)}"
        elif kind == 1 and point.side != "none":
            text = f"{rng.choice(('rear', 'middle', 'outer'))} {point.name} {_condition(point, sheet, rng)}"
        elif kind == 2 and point.readings:
            reading = rng.choice(point.readings)
            number = spoken_forms(
                rng.choice(values(reading.low, reading.high, reading.resolution)), reading.resolution
            )[0]
            unit = rng.choice(("gallons", "miles", "degrees", "pounds", "minutes"))
            text = f"{point.full_name} {reading.name} {number} {unit}"
        elif kind == 3:
            said = rng.choice(("purple", "expensive", "famous", "delicious", "tomorrow", "for sale"))
            text = f"{point.full_name} {said}"
        else:
            continue
        found.append(Spoken(text, point.stop_id, False))
    return found


def _name(point: Point, rng: random.Random) -> str:
    name = rng.choice(point.say)
    return (
        name if point.side == "none" else rng.choice((f"{point.side} {name}", f"{name} on the {point.side}"))
    )


def _condition(point: Point, sheet: Sheet, rng: random.Random) -> str:
    return rng.choice(rng.choice(sheet.lexicon.conditions_of(point.aspects)).say)


def _reading(point: Point, sheet: Sheet, rng: random.Random) -> str:
    reading = rng.choice(point.readings)
    value = rng.choice(values(reading.low, reading.high, reading.resolution))
    return f"{reading.name} {say_quantity(value, reading, sheet.lexicon.measures.get(reading.unit))}"
