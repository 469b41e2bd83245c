"""How far apart two phrases must sound for the recogniser to tell them apart.

    python -m tests.benchmarks.heard_apart --cases 300 --rows apart.jsonl

Pairs of phrases that sound more or less alike (tests/benchmarks/bay/sound_alikes.toml), one of them
spoken after "fan belt" by a synthetic voice in engine noise, and the recogniser given a graph of the
two alone. The share taken for the other is told by the pair's distance (voicelog.sounds). The
threshold of ``voicelog sheet check --sounds`` is set from it: every voice here is synthetic.
"""

from __future__ import annotations

import argparse
import json
import random
import tomllib
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from tests.benchmarks.bay.said import Case, Said
from tests.benchmarks.bay.sounds import sound_of
from tests.benchmarks.bay.speakers import speakers_here
from tests.benchmarks.bay.tables import share, table
from voicelog.hearing.recogniser import Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.expression import Grammar, phrases
from voicelog.sounds.distance import Ear

ALIKE = Path(__file__).parent / "bay" / "sound_alikes.toml"
EDGES = (0.0, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0, 2.5, 3.0, 99.0)
LEAD = "fan belt"


@dataclass(frozen=True, slots=True)
class Pair:
    """What is spoken, what it could be taken for, and the sounds between them."""

    said: str
    other: str
    apart: float


def pairs(seed: int) -> list[Pair]:
    """Return the pairs, each both ways, in an order of the seed."""
    with ALIKE.open("rb") as file:
        conditions: dict[str, list[str]] = tomllib.load(file)["conditions"]
    found = [(word, other) for word, others in conditions.items() for other in others]
    ear = Ear(phrase for pair in found for phrase in pair)
    measured = [(a, b, ear.apart(a, b)) for a, b in found]
    both = [Pair(*p, d) for a, b, d in measured if d is not None for p in ((a, b), (b, a))]
    return random.Random(seed).sample(both, len(both))


def main() -> None:
    """Hear the pairs and print the table; goes on from the rows file."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--ratio", type=float, default=12.0, metavar="DB")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rows", type=Path, required=True, metavar="FILE")
    parser.add_argument("--cache", type=Path, default=Path("/tmp/voicelog-bay"), metavar="FOLDER")
    args = parser.parse_args()
    rows = [json.loads(line) for line in args.rows.read_text().splitlines()] if args.rows.exists() else []
    speakers, recogniser = speakers_here(), WhisperRecogniser()
    with args.rows.open("a") as file:
        for number, pair in list(enumerate(pairs(args.seed)[: args.cases]))[len(rows) :]:
            said = Said(text=f"{LEAD} {pair.said}", kind="apart", stop_id="")
            speaker = speakers[number % len(speakers)]
            case = Case(set="apart", number=number, said=said, speaker=speaker, ratio=args.ratio)
            choices = phrases((f"{LEAD} {pair.said}", f"{LEAD} {pair.other}"))
            graph = compile_grammar(Grammar("two", {"phrase": choices}, ("phrase",)))
            best = recogniser.decode(Utterance(sound_of(case, args.cache), 0.0), graph).hypotheses
            taken = bool(best) and best[0].text != said.text
            rows.append({"said": pair.said, "other": pair.other, "taken": taken})
            file.write(json.dumps(rows[-1]) + "\n")
            file.flush()
    print(report(rows, args.ratio))


def report(rows: list[dict[str, object]], ratio: float) -> str:
    """Return the share taken for the other by distance."""
    lines = []
    ear = Ear(str(row[key]) for row in rows for key in ("said", "other"))
    apart = [(ear.apart(str(row["said"]), str(row["other"])) or 0.0, bool(row["taken"])) for row in rows]
    for low, high in pairwise(EDGES):
        here = [taken for distance, taken in apart if low <= distance < high]
        lines.append((f"{low:g} to {high:g}", len(here), share(sum(here), len(here))))
    head = ("sounds apart", "spoken", "taken for the other")
    return f"{len(rows)} phrases at {ratio:g} dB, every voice synthetic\n{table(lines, head)}"


if __name__ == "__main__":
    main()
