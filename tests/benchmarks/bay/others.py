"""Sound that is not for the sheet: talk, counting, song, orders of drinks, and engines alone."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.bay.said import Case, Said
from tests.benchmarks.bay.songs import SONGS, words_of
from tests.benchmarks.bay.values_in_words import cardinal
from voicelog.errors import VoicelogError
from voicelog.sheet.model import Sheet

STREAM_S = 600.0
"""Engine noise heard as a stream comes in pieces so long; between them the endpointer begins anew."""
PIECE_S = (1.0, 5.0)
"""Shortest and longest piece of noise that is heard as if it were an utterance."""
QUESTIONS = (
    ("engine_front", ("lift cylinder dry",)),
    ("battery_box", ("wiring harness chafed",)),
    ("cab_tilt", ("brake hose quiet",)),
)
"""Where a walk can stand with a question open: which side was meant."""
_TALK = Path(__file__).parent / "talk.txt"


def talk() -> list[str]:
    """Return the sentences of talk.txt, in lower case without punctuation."""
    lines = _TALK.read_text().splitlines()
    kept = (line for line in lines if line and not line.startswith("#"))
    return ["".join(c for c in line.lower() if c.isalnum() or c in " '") for line in kept]


def counting() -> list[str]:
    """Return one to a hundred: each number alone, and ten at a time as people count."""
    numbers = [cardinal(n) for n in range(1, 101)]
    return [*numbers, *(" ".join(numbers[tens : tens + 10]) for tens in range(0, 100, 10))]


def situations(sheet: Sheet, seed: int) -> list[tuple[str, tuple[str, ...]]]:
    """Return where walks stand, to be taken in turn: at every stop, and with a question open.

    A question matters: an answer is only a word or two, and settles an entry.
    """
    fresh: list[tuple[str, tuple[str, ...]]] = [(stop.id, ()) for stop in sheet.stops]
    asked = [QUESTIONS[i % len(QUESTIONS)] for i in range(len(fresh) // 2)]
    found = [*fresh, *asked]
    random.Random(seed).shuffle(found)
    return found


def at_situations(texts: Sequence[str], kind: str, sheet: Sheet, seed: int) -> list[Said]:
    """Return the texts as said in one situation after another."""
    places = situations(sheet, seed)
    found = []
    for number, text in enumerate(texts):
        stop_id, before = places[number % len(places)]
        asked = ", question open" if before else ""
        found.append(Said(text=text, kind=f"{kind}{asked}", stop_id=stop_id, before=before))
    return found


def songs(sheet: Sheet, ratios: Sequence[float | None], seed: int) -> list[Case]:
    """Return every song in every ratio."""
    titles = [title for title in SONGS for _ in ratios]
    said = at_situations([words_of(title) for title in titles], "singing", sheet, seed)
    return [
        Case(set="song", number=n, said=s, source="song", speaker=title, ratio=ratios[n % len(ratios)])
        for n, (title, s) in enumerate(zip(titles, said, strict=True))
    ]


def orders(folder: Path, sheet: Sheet, ratios: Sequence[float | None], seed: int) -> list[Case]:
    """Return every spoken order of a folder of speech in every ratio, a stop for each.

    VoicelogError where the folder has none.
    """
    files = sorted((folder / "orders-dev").glob("*.flac"))
    if not files:
        raise VoicelogError(
            "there are no orders-dev/*.flac", where=str(folder), remedy="give the folder of the speech data"
        )
    labels = json.loads((folder / "orders-dev" / "labels.json").read_text())
    heard = _texts(labels)
    paths = [path for ratio in ratios for path in files]
    said = at_situations([heard.get(p.stem, p.stem) for p in paths], "human orders", sheet, seed)
    return [
        Case(set="order", number=n, said=s, source="file", speaker=str(path), ratio=ratios[n // len(files)])
        for n, (path, s) in enumerate(zip(paths, said, strict=True))
    ]


def _texts(labels: object) -> dict[str, str]:
    """Return what is ordered in each file: the values of its slots, in no order that was said."""
    if not isinstance(labels, dict):
        return {}
    return {str(stem): " ".join(slots.values()) for stem, slots in labels.items() if isinstance(slots, dict)}


def noise_pieces(sheet: Sheet, count: int, seed: int) -> list[Case]:
    """Return short pieces of engine noise, to be heard as if each were an utterance."""
    rng = random.Random(seed)
    said = at_situations([""] * count, "noise as an utterance", sheet, seed)
    return [
        Case(
            set=f"piece{seed}",
            number=n,
            said=s,
            source="noise",
            speaker="engine",
            seconds=round(rng.uniform(*PIECE_S), 2),
        )
        for n, s in enumerate(said)
    ]


def noise_streams(sheet: Sheet, minutes: float, seed: int) -> list[Case]:
    """Return so many minutes of engine noise, heard as a live walk hears it."""
    count = -(-int(minutes * 60) // int(STREAM_S))
    said = at_situations([""] * count, "noise, live", sheet, seed)
    left = minutes * 60
    found = []
    for n, s in enumerate(said):
        seconds = min(STREAM_S, left)
        left -= seconds
        found.append(
            Case(
                set=f"stream{seed}",
                number=n,
                said=s,
                source="noise",
                speaker="engine",
                seconds=seconds,
                live=True,
            )
        )
    return found
