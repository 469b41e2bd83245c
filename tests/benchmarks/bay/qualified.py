"""Passes that are taken back, limited or doubted in the same breath, in words the sheet lacks.

None of them may be logged as sound without a question: the grammar can hold their pass and nothing of
what is said against it. Seeded. A test holds that none is in the grammar of its stop.
"""

from __future__ import annotations

import random
import tomllib
from pathlib import Path

from tests.benchmarks.bay.phrase_set import is_within
from tests.benchmarks.bay.said import Said
from tests.benchmarks.bay.values_in_words import ways
from voicelog.sheet.model import Point, Sheet

_PATTERNS = Path(__file__).parent / "qualified.toml"


def qualified(sheet: Sheet, seed: int = 1, points_each: int = 3) -> list[Said]:
    """Return every pattern with some points and sound words of theirs, shuffled, all different."""
    rng = random.Random(seed)
    with _PATTERNS.open("rb") as file:
        patterns: dict[str, list[str]] = tomllib.load(file)["said"]
    found = []
    for kind, texts in patterns.items():
        for text in texts:
            pairs = _readings(sheet, rng) if "VALUE" in text else _conditions(sheet, rng)
            for point, words in rng.sample(pairs, points_each):
                said = text.replace("POINT", point.full_name)
                for name, value in words.items():
                    said = said.replace(name, value)
                near = " ".join((point.full_name, *words.values()))
                found.append(Said(text=said, kind=kind, stop_id=point.stop_id, near=near))
    different = list({said.text: said for said in found}.values())
    rng.shuffle(different)
    return different


def _conditions(sheet: Sheet, rng: random.Random) -> list[tuple[Point, dict[str, str]]]:
    found = []
    for point in sheet.points.values():
        known = sheet.lexicon.conditions_of(point.aspects)
        word = rng.choice([w for c in known if c.polarity == "sound" for w in c.say])
        found.append((point, {"SOUND": word}))
    return found


def _readings(sheet: Sheet, rng: random.Random) -> list[tuple[Point, dict[str, str]]]:
    found = []
    for point in sheet.points.values():
        for reading in point.readings:
            steps = int((reading.high - reading.low) / reading.resolution)
            values = (reading.low + reading.resolution * n for n in range(1, steps + 1))
            value = rng.choice([v for v in values if is_within(v, reading)])
            found.append((point, {"READING": reading.name, "VALUE": ways(value, reading)[0]}))
    return found
