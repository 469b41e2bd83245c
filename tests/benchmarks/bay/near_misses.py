"""Phrases that are nearly what the sheet lets one say, and must not be taken for it.

Seeded, and all different. None of them is in the grammar of its stop; a test holds that. Those
that a person could not tell apart either are known by their distance in phonemes
(:mod:`tests.benchmarks.bay.phonemes`).
"""

from __future__ import annotations

import random
import tomllib
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

from tests.benchmarks.bay.said import Said
from tests.benchmarks.bay.values_in_words import cardinal, ways
from voicelog.sheet.model import Condition, Point, Sheet

FOREIGN_POINTS = (
    "ladder rack", "deck gun", "hose bed", "mirror bracket", "light bar", "siren speaker", "seat belt",
    "door handle", "wiper blade", "generator", "winch cable", "pump panel", "foam tank", "tail light",
    "air horn", "spark plug", "carburetor", "front tire", "rear axle", "fuel cap", "steering wheel",
    "brake pedal", "clutch pedal", "oil pan", "valve cover", "timing belt", "glow plug", "mud flap",
    "leaf spring", "shock absorber", "wheel bearing", "parking brake", "horn button", "dome light",
    "pump primer valve", "suction hose", "relief valve", "ground ladder", "rescue saw", "spare wheel",
)  # fmt: skip
"""Things of a fire engine that the engine bay sheet does not have."""
FOREIGN_WORDS = (
    "purple", "expensive", "famous", "delicious", "tomorrow", "for sale", "seventeen", "on fire", "upstairs",
    "wonderful", "asleep", "in the truck", "at the station", "made of steel", "very old", "under warranty",
    "painted red", "on order", "my favorite", "not mine", "being washed", "out of stock", "a bit odd",
)  # fmt: skip
WRONG_UNITS = (
    "gallons",
    "miles",
    "degrees",
    "minutes",
    "feet",
    "amps",
    "percent",
    "ounces",
    "rpm",
    "seconds",
)
NO_SIDES = ("rear", "middle", "outer", "upper left", "back", "inner", "far", "near side", "center", "bottom")
_TABLES = Path(__file__).parent / "sound_alikes.toml"


def near_misses(sheet: Sheet, seed: int = 1) -> list[Said]:
    """Return every near miss, in a shuffled order; without the distance in phonemes."""
    rng = random.Random(seed)
    with _TABLES.open("rb") as file:
        tables = tomllib.load(file)
    found = [
        *_foreign_points(sheet, rng),
        *_no_such_side(sheet, rng),
        *_wrong_units(sheet, rng),
        *_implausible(sheet, rng),
        *_like_conditions(sheet, rng, tables["conditions"]),
        *_like_points(sheet, rng, tables["points"]),
        *_denials(sheet, rng, tables["denials"]["said"]),
        *_not_of_that_point(sheet, rng),
        *_foreign_words(sheet, rng),
    ]
    different = list({said.text: said for said in found}.values())
    rng.shuffle(different)
    return different


def _foreign_points(sheet: Sheet, rng: random.Random) -> Iterator[Said]:
    for name in FOREIGN_POINTS:
        point, condition = _any_fact(sheet, rng)
        say = rng.choice(condition.say)
        yield _said("a point the sheet lacks", f"{name} {say}", f"{point.full_name} {say}", point)


def _no_such_side(sheet: Sheet, rng: random.Random) -> Iterator[Said]:
    for point in sheet.points.values():
        if point.side == "none" and "general" in point.aspects and rng.random() < 0.4:
            say = rng.choice(_condition(sheet, rng, point.aspects).say)
            # "Front", "primary" and the like are parts of names; "left" is of none of these.
            text = f"{rng.choice(('left', 'right', 'left hand', 'officer side'))} {point.name} {say}"
            yield _said("no such side", text, f"{point.full_name} {say}", point)
    sided = [p for p in sheet.points.values() if p.side != "none"]
    for side in (*NO_SIDES, *NO_SIDES):
        point = rng.choice(sided)
        say = rng.choice(_condition(sheet, rng, point.aspects).say)
        yield _said("no such side", f"{side} {point.name} {say}", f"{point.full_name} {say}", point)


def _wrong_units(sheet: Sheet, rng: random.Random) -> Iterator[Said]:
    for point in sheet.points.values():
        for reading in point.readings:
            for unit in rng.sample(WRONG_UNITS, 3):
                steps = int((reading.high - reading.low) / reading.resolution)
                value = reading.low + reading.resolution * rng.randint(1, steps)
                said = ways(value, reading)[0]
                number = said.removesuffix(" " + said.split(" ")[-1]).removesuffix(" inches of")
                text = f"{point.full_name} {reading.name} {number} {unit}"
                near = f"{point.full_name} {reading.name} {said}"
                yield _said("a unit that does not fit", text, near, point)


def _implausible(sheet: Sheet, rng: random.Random) -> Iterator[Said]:
    for point in sheet.points.values():
        for reading in point.readings:
            beyond = int(reading.high) + rng.randint(5, 60)
            said = ways(Fraction(beyond), reading)[0]
            near = f"{point.full_name} {reading.name} {ways(reading.high, reading)[0]}"
            yield _said("an impossible value", f"{point.full_name} {reading.name} {said}", near, point)
            negative = f"{point.full_name} {reading.name} minus {cardinal(rng.randint(1, 9))}"
            yield _said("an impossible value", negative, near, point)


def _like_conditions(sheet: Sheet, rng: random.Random, table: dict[str, list[str]]) -> Iterator[Said]:
    for say, others in table.items():
        takes = [
            p
            for p in sheet.points.values()
            # "Dirty" may sound like "thirty", which is no near miss where a value can be said.
            if not p.readings and any(say in c.say for c in sheet.lexicon.conditions_of(p.aspects))
        ]
        known = {phrase for c in sheet.lexicon.conditions.values() for phrase in c.say}
        # Not every word of the lexicon can be said of a point of this sheet.
        for other in [o for o in others if o not in known] if takes else ():
            point = rng.choice(takes)
            text, near = f"{point.full_name} {other}", f"{point.full_name} {say}"
            yield _said("sounds like a condition", text, near, point)


def _like_points(sheet: Sheet, rng: random.Random, table: dict[str, list[str]]) -> Iterator[Said]:
    for name, others in table.items():
        points = [p for p in sheet.points.values() if name in p.say]
        for other in others:
            point = rng.choice(points)
            say = rng.choice(_condition(sheet, rng, point.aspects).say)
            side = "" if point.side == "none" else f"{point.side} "
            yield _said("sounds like a point", f"{side}{other} {say}", f"{side}{name} {say}", point)


def _denials(sheet: Sheet, rng: random.Random, said: list[str]) -> Iterator[Said]:
    for pattern in said:
        for _ in range(2):
            point = rng.choice(list(sheet.points.values()))
            known = sheet.lexicon.conditions_of(point.aspects)
            words = [w for c in known if c.polarity == "sound" for w in c.say if " " not in w]
            word = rng.choice(words)
            text = f"{point.full_name} {pattern.replace('SOUND', word)}"
            yield _said("a sound word denied or doubted", text, f"{point.full_name} {word}", point)


def _not_of_that_point(sheet: Sheet, rng: random.Random) -> Iterator[Said]:
    for point in sheet.points.values():
        if rng.random() < 0.6:
            others = tuple(a for a in sheet.lexicon.aspects if a not in point.aspects)
            condition = _condition(sheet, rng, others)
            taken = {say for c in sheet.lexicon.conditions_of(point.aspects) for say in c.say}
            say = rng.choice([say for say in condition.say if say not in taken])
            near = f"{point.full_name} {_condition(sheet, rng, point.aspects).say[0]}"
            yield _said("not said of that point", f"{point.full_name} {say}", near, point)


def _foreign_words(sheet: Sheet, rng: random.Random) -> Iterator[Said]:
    for word in FOREIGN_WORDS:
        point, condition = _any_fact(sheet, rng)
        text = f"{point.full_name} {word}"
        yield _said("not a condition", text, f"{point.full_name} {condition.say[0]}", point)


def _any_fact(sheet: Sheet, rng: random.Random) -> tuple[Point, Condition]:
    point = rng.choice(list(sheet.points.values()))
    return point, _condition(sheet, rng, point.aspects)


def _condition(sheet: Sheet, rng: random.Random, aspects: tuple[str, ...]) -> Condition:
    """Return a condition of one of the aspects, sound as often as defective: a pass is what counts."""
    polarity = rng.choice(("sound", "defect"))
    known = sheet.lexicon.conditions_of(aspects)
    return rng.choice([c for c in known if c.polarity == polarity])


def _said(kind: str, text: str, near: str, point: Point) -> Said:
    return Said(text=text, kind=kind, stop_id=point.stop_id, near=near)
