"""Passes that are taken back, limited or doubted in the same breath, in words the sheet lacks.

None of them may be logged as sound without a question: the grammar can hold their pass and nothing of
what is said against it. Seeded. A test holds that none is in the grammar of its stop.
"""

from __future__ import annotations

import random
import tomllib
from pathlib import Path

from tests.benchmarks.bay.said import Said
from voicelog.sheet.model import Sheet

_PATTERNS = Path(__file__).parent / "qualified.toml"


def qualified(sheet: Sheet, seed: int = 1, points_each: int = 3) -> list[Said]:
    """Return every pattern with some points and sound words of theirs, shuffled, all different."""
    rng = random.Random(seed)
    with _PATTERNS.open("rb") as file:
        patterns: dict[str, list[str]] = tomllib.load(file)["said"]
    found = []
    for kind, texts in patterns.items():
        for text in texts:
            for point in rng.sample(list(sheet.points.values()), points_each):
                known = sheet.lexicon.conditions_of(point.aspects)
                word = rng.choice([w for c in known if c.polarity == "sound" for w in c.say])
                said = text.replace("POINT", point.full_name).replace("SOUND", word)
                near = f"{point.full_name} {word}"
                found.append(Said(text=said, kind=kind, stop_id=point.stop_id, near=near))
    different = list({said.text: said for said in found}.values())
    rng.shuffle(different)
    return different
