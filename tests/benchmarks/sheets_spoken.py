"""The shipped sheets spoken to the recogniser: what would be logged, sheet by sheet.

    python -m tests.benchmarks.sheets_spoken --points 12 --rows spoken.jsonl

Every point of a sheet is said once in order and once with a defect, and every reading once within
its limit and once past it, each by a synthetic voice, in turn without noise and at 12 dB of engine
noise. Each phrase is heard by the product's own conductor at the point's stop; what is counted is
what was committed. --points takes a sample of each sheet's points, the same for the same seed.

The rows are written as they come; the same command goes on where a run was broken off.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

from tests.benchmarks.bay.listening import Listener
from tests.benchmarks.bay.listing import case_line
from tests.benchmarks.bay.phrase_set import condition_fact, reading_fact
from tests.benchmarks.bay.running import read_rows
from tests.benchmarks.bay.said import Case, Row, Said
from tests.benchmarks.bay.scoring import Outcome, Scored, score
from tests.benchmarks.bay.sounds import sound_of
from tests.benchmarks.bay.speakers import speakers_here
from tests.benchmarks.bay.tables import share, table
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.loading import sheets_of
from voicelog.paths import shipped
from voicelog.phrases.numbers import values
from voicelog.phrases.quantities import say_quantity
from voicelog.sheet import load_unit
from voicelog.sheet.model import Point, Polarity, Reading, Sheet

RATIOS = (None, 12.0)
"""Decibels, in turn; None is without noise."""

OUTCOMES: tuple[Outcome, ...] = ("right", "asked", "refused", "wrong", "acted")


def sheets_here() -> dict[str, Sheet]:
    """Return the shipped sheets by id, written out for the demonstration unit."""
    return {sheet.id: sheet for sheet in sheets_of(load_unit(shipped("samples", "engine_61.toml")))}


def phrases(sheet: Sheet, points: int | None, seed: int) -> Iterator[Said]:
    """Yield what is said of ``points`` points of a sheet, in its order."""
    rng = random.Random(seed)
    chosen = list(sheet.points.values())
    if points is not None and points < len(chosen):
        kept = set(rng.sample(range(len(chosen)), points))
        chosen = [point for number, point in enumerate(chosen) if number in kept]
    for point in chosen:
        for polarity in ("sound", "defect"):
            yield _condition(point, polarity, sheet, rng)
        for reading in point.readings:
            yield from _reading(point, reading, sheet, rng)


def _condition(point: Point, polarity: Polarity, sheet: Sheet, rng: random.Random) -> Said:
    known = [c for c in sheet.lexicon.conditions_of(point.aspects) if c.polarity == polarity]
    condition = rng.choice(known)
    text = f"{point.full_name} {rng.choice(condition.say)}"
    return Said(text=text, kind=polarity, stop_id=point.stop_id, facts=(condition_fact(point, condition),))


def _reading(point: Point, reading: Reading, sheet: Sheet, rng: random.Random) -> Iterator[Said]:
    found: dict[bool, list[Fraction]] = {True: [], False: []}
    for value in values(reading.low, reading.high, reading.resolution):
        found[reading_fact(point, reading, value).sound].append(value)
    for within, kind in ((True, "within"), (False, "past its limit")):
        if found[within]:
            value = rng.choice(found[within])
            said = say_quantity(value, reading, sheet.lexicon.measures.get(reading.unit))
            text = f"{point.full_name} {reading.name} {said}"
            fact = reading_fact(point, reading, value)
            yield Said(text=text, kind=kind, stop_id=point.stop_id, facts=(fact,))


def cases(sheet: Sheet, points: int | None, seed: int) -> list[Case]:
    """Return each phrase with a voice and a ratio, which take turns."""
    speakers = speakers_here()
    found = []
    for number, said in enumerate(phrases(sheet, points, seed)):
        speaker, ratio = speakers[number % len(speakers)], RATIOS[number // len(speakers) % len(RATIOS)]
        found.append(Case(set=sheet.id, number=number, said=said, speaker=speaker, ratio=ratio))
    return found


def report(scored: dict[str, list[Scored]]) -> str:
    """Return the table, and every case that went wrong."""
    lines = []
    for name, found in {**scored, "all": [s for group in scored.values() for s in group]}.items():
        counts = Counter(s.outcome for s in found)
        truth = [fact for s in found for fact in s.row.case.said.facts if not fact.sound]
        bad = sum(len(s.passed) + len(s.crossed) for s in found)
        lines.append((name, len(found), *(share(counts[o], len(found)) for o in OUTCOMES), len(truth), bad))
    head = ("sheet", "phrases", *OUTCOMES, "defects", "logged as sound")
    wrong = [case_line(s.row) for group in scored.values() for s in group if s.outcome in ("wrong", "acted")]
    return "\n\n".join((table(lines, head), "taken wrongly\n" + ("\n".join(wrong) or "none")))


def hear(sheet: Sheet, todo: Sequence[Case], known: dict[str, Row], args: argparse.Namespace) -> list[Row]:
    """Return the rows of a sheet's cases, hearing those that are not known."""
    left = [case for case in todo if case.id not in known or known[case.id].case != case]
    if left:
        with Listener(args.recogniser, sheet) as listener, args.rows.open("a") as file:
            for case in left:
                known[case.id] = listener.hear(case, sound_of(case, args.cache))
                file.write(known[case.id].model_dump_json() + "\n")
                file.flush()
    return [known[case.id] for case in todo]


def main() -> None:
    """Hear, score and print; exit code 1 where a defect was logged as sound without a doubt."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    sheets = sheets_here()
    parser.add_argument("--sheets", nargs="+", choices=list(sheets), default=list(sheets), metavar="ID")
    parser.add_argument("--points", type=int, metavar="N", help="of each sheet; default: all")
    parser.add_argument("--seed", type=int, default=1, help="another seed says other words")
    parser.add_argument("--rows", type=Path, required=True, metavar="FILE", help="where the JSON rows go")
    parser.add_argument("--cache", type=Path, default=Path("/tmp/voicelog-bay"), metavar="FOLDER")
    args = parser.parse_args()
    args.recogniser = WhisperRecogniser()
    known = {row.case.id: row for row in read_rows(args.rows)} if args.rows.exists() else {}
    scored = {}
    for name in args.sheets:
        rows = hear(sheets[name], cases(sheets[name], args.points, args.seed), known, args)
        scored[name] = [score(row, sheets[name]) for row in rows]
    print(report(scored))
    sys.exit(1 if any(s.passed or s.crossed for group in scored.values() for s in group) else 0)


if __name__ == "__main__":
    main()
