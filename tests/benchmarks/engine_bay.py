"""Phrases of the engine bay sheet in synthetic voices and engine noise: what would be logged.

    python -m tests.benchmarks.engine_bay --phrases 1500 --ratios 0 6 12 18 24 --rows bay.jsonl

Every phrase is made with its truth by tests/benchmarks/bay/phrase_set.py, spoken by a synthetic
voice, mixed with the noise of an idling engine, and heard by the product's own conductor: what is
counted is what was committed. Voices and ratios take turns, so that each phrase is heard once
unless --takes says more. Every voice here is synthetic.

The rows are written as they come; the same command goes on where a run was broken off, and
--from FILE only prints the tables of a run. --keep FOLDER writes the sound of every case listed.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections import Counter
from collections.abc import Callable, Hashable, Sequence

from tests.benchmarks.bay.listing import case_line, keep_sounds, matter
from tests.benchmarks.bay.phrase_set import phrases
from tests.benchmarks.bay.running import add_options, rows_of
from tests.benchmarks.bay.said import Case, Fact, Row, Said
from tests.benchmarks.bay.scoring import SLIPS, Outcome, Scored, score
from tests.benchmarks.bay.speakers import SPEAKERS, speakers_here
from tests.benchmarks.bay.tables import confusions, grouped, ratio_name, share, table
from voicelog.errors import VoicelogError
from voicelog.paths import shipped
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet

RATIOS = (0.0, 6.0, 12.0, 18.0, 24.0)
LEAST_RATIO_DB = 12.0
"""From here on, at most 2 % of what is in the grammar may be refused."""


KEYS: dict[str, Callable[[Scored], str]] = {
    "ratio": lambda s: ratio_name(s.row.case.ratio),
    "voice": lambda s: s.row.case.speaker,
    "kind": lambda s: s.row.case.said.kind,
}
OUTCOMES: tuple[Outcome, ...] = ("right", "asked", "refused", "wrong", "acted")


def cases(
    said: Sequence[Said],
    speakers: Sequence[str],
    ratios: Sequence[float],
    *,
    takes: int = 1,
    live: bool = False,
    name: str = "bay",
    seed: int = 1,
) -> list[Case]:
    """Return each phrase in ``takes`` pairs of voice and ratio.

    The pairs come in rounds, each round all of them in an order of its own: the first cases, any
    number of them, have every voice and every ratio about equally often.
    """
    rng = random.Random(seed)
    pairs = [(speaker, ratio) for speaker in speakers for ratio in ratios]
    deck: list[tuple[str, float]] = []
    found = []
    for _ in range(takes):
        for number, phrase in enumerate(said):
            if not deck:
                deck = rng.sample(pairs, len(pairs))
            speaker, ratio = deck.pop()
            case = Case(set=name, number=number, said=phrase, speaker=speaker, ratio=ratio, live=live)
            found.append(case)
    # Two takes of a phrase may have drawn the same pair.
    return list({case.id: case for case in found}.values())


def report(rows: Sequence[Row], sheet: Sheet) -> str:
    """Return the tables of a run."""
    scored = [score(row, sheet) for row in rows]
    parts = [f"{len(rows)} phrases heard, every voice synthetic"]
    for title, key in KEYS.items():
        groups = dict(sorted(grouped(scored, key).items(), key=lambda item: _order(item[0])))
        groups["all"] = scored
        parts.append(f"{_outcomes(title, groups)}\n\n{_slips(title, groups)}\n\n{_cardinal(title, groups)}")
    heard_well = [s for s in scored if s.row.case.ratio is None or s.row.case.ratio >= LEAST_RATIO_DB]
    refused = sum(s.outcome == "refused" for s in heard_well)
    parts.append(f"refused at {LEAST_RATIO_DB:g} dB and above: {share(refused, len(heard_well))}")
    parts.append(_asked(scored))
    mistaken = [pair for s in scored for pair in s.mistaken]
    points = [(_point(a, sheet), _point(b, sheet)) for a, b in mistaken if a.point_id != b.point_id]
    matters = [(matter(a), matter(b)) for a, b in mistaken if matter(a) != matter(b)]
    parts.append(f"points taken for others without asking\n{confusions(points)}")
    parts.append(f"conditions and values taken for others without asking\n{confusions(matters)}")
    wrong = [s for s in scored if s.outcome in ("wrong", "acted")]
    parts.append("every phrase taken wrongly\n" + "\n".join(case_line(s.row) for s in wrong))
    for title, found in (
        ("DEFECTS LOGGED AS SOUND WITHOUT A DOUBT (must be 0)", [s for s in scored if s.passed]),
        (
            "READINGS OUT OF LIMIT LOGGED WITHIN, WITHOUT A DOUBT (must be 0)",
            [s for s in scored if s.crossed],
        ),
        ("sound entries of what was not spoken of", [s for s in scored if s.unspoken]),
    ):
        parts.append(f"{title}: {len(found)}\n" + "\n".join(case_line(s.row) for s in found))
    return "\n\n".join(parts)


def _outcomes(title: str, groups: dict[Hashable, list[Scored]]) -> str:
    lines = []
    for name, found in groups.items():
        counts = Counter(s.outcome for s in found)
        lines.append((name, len(found), *(share(counts[o], len(found)) for o in OUTCOMES)))
    return table(lines, (title, "n", "taken, right", "asked", "refused", "taken, wrong", "acted"))


def _slips(title: str, groups: dict[Hashable, list[Scored]]) -> str:
    lines = []
    for name, found in groups.items():
        counts = Counter(slip for s in found for slip in s.slips)
        alarms = sum(s.false_alarms for s in found)
        lines.append((name, *(counts[slip] for slip in SLIPS), alarms, sum(len(s.unspoken) for s in found)))
    heads = ("point", "side", "condition", "value", "fact lost", "fact added")
    return table(lines, (title, *heads, "sound taken as defect", "sound, unspoken"))


def _cardinal(title: str, groups: dict[Hashable, list[Scored]]) -> str:
    lines = []
    for name, found in groups.items():
        truth = [fact for s in found for fact in s.row.case.said.facts if not fact.sound]
        readings = [fact for fact in truth if fact.reading_id is not None]
        passed, crossed = sum(len(s.passed) for s in found), sum(len(s.crossed) for s in found)
        defects = len(truth) - len(readings)
        lines.append((name, defects, share(passed, defects), len(readings), share(crossed, len(readings))))
    return table(
        lines, (title, "defects spoken", "logged as sound", "readings out of limit", "logged within")
    )


def _asked(scored: Sequence[Scored]) -> str:
    asked = [s for s in scored if s.asked]
    slots = Counter(slot for s in asked for slot in s.asked)
    truth = sum(s.asked_truth for s in asked)
    words = ", ".join(f"{slot} {n}" for slot, n in slots.most_common())
    return (
        f"slots asked about: {words or 'none'}; what was said is among the choices in {truth} of {len(asked)}"
    )


def _order(name: object) -> tuple[float, str]:
    text = str(name)
    number = text.removesuffix(" dB")
    return (float(number), "") if number != text else (0.0, text)


def _point(fact: Fact, sheet: Sheet) -> str:
    return sheet.points[fact.point_id].full_name


def main() -> None:
    """Hear, score and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--phrases", type=int, default=1500)
    parser.add_argument("--ratios", type=float, nargs="+", default=list(RATIOS), metavar="DB")
    parser.add_argument(
        "--voices", nargs="+", choices=list(SPEAKERS), metavar="VOICE", help="default: all here"
    )
    parser.add_argument("--takes", type=int, default=1, help="pairs of voice and ratio for each phrase")
    parser.add_argument("--endpointer", action="store_true", help="heard as a stream")
    add_options(parser)
    args = parser.parse_args()
    sheet = load_sheet(shipped("grammars", "engine_bay.toml"))
    said = phrases(sheet, args.phrases, args.seed)
    speakers = args.voices or speakers_here()
    name = f"bay{args.seed}" + ("-live" if args.endpointer else "")
    todo = cases(said, speakers, args.ratios, takes=args.takes, live=args.endpointer, name=name)
    try:
        rows = rows_of(args, todo[: args.sample])
    except VoicelogError as error:
        sys.exit(str(error))
    print(report(rows, sheet))
    scored = [score(row, sheet) for row in rows]
    bad = [s.row for s in scored if s.passed or s.crossed or s.unspoken or s.outcome in ("wrong", "acted")]
    if args.keep:
        keep_sounds(bad, args.keep, args.cache)
    sys.exit(1 if any(s.passed or s.crossed for s in scored) else 0)


if __name__ == "__main__":
    main()
