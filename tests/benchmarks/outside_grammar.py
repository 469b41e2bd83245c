"""What is not in the sheet's grammar: whether any of it makes an entry.

    python -m tests.benchmarks.outside_grammar --speech FOLDER --rows outside.jsonl

Sets (choose with --sets): ``near`` phrases one word off what can be said, ``qualified`` passes that are
limited or doubted in the same breath and defects that the sheet has no words for, ``talk`` other people's
talk and radio traffic, ``counting``, ``singing``, ``orders`` people ordering drinks (recorded human
speech, --speech FOLDER, in its own kitchen noise), ``pieces`` of engine noise given to the recogniser
as if each were an utterance, ``stream`` engine noise through the endpointer as in a live walk. All
but ``orders`` is synthetic.

A third of the talk, counting, songs, orders and noise is heard while a question is open, when a
word or two would settle it. ``passed`` is the worst: a sound entry, or a question answered.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.benchmarks.bay.listing import case_line, keep_sounds
from tests.benchmarks.bay.near_misses import near_misses
from tests.benchmarks.bay.others import (
    at_situations,
    counting,
    noise_pieces,
    noise_streams,
    orders,
    songs,
    talk,
)
from tests.benchmarks.bay.phonemes import with_distances
from tests.benchmarks.bay.qualified import qualified
from tests.benchmarks.bay.running import add_options, rows_of
from tests.benchmarks.bay.said import Case, Row
from tests.benchmarks.bay.scoring import REFUSALS, refusal
from tests.benchmarks.bay.speakers import speakers_here
from tests.benchmarks.bay.tables import grouped, ratio_name, share, table
from tests.benchmarks.engine_bay import RATIOS, cases
from voicelog.errors import VoicelogError
from voicelog.paths import shipped
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet

SETS = ("near", "qualified", "talk", "counting", "singing", "orders", "pieces", "stream")
KEYS: dict[str, Callable[[Row], str]] = {
    "kind": lambda row: row.case.said.kind,
    "ratio": lambda row: ratio_name(row.case.ratio),
    "voice": lambda row: row.case.speaker if row.case.source == "voice" else "",
    "phonemes apart": lambda row: _apart(row.case),
}


def all_cases(args: argparse.Namespace, sheet: Sheet) -> dict[str, list[Case]]:
    """Return the cases of each set that was asked for. VoicelogError where a set has no data."""
    seed: int = args.seed
    speakers = speakers_here()
    found: dict[str, list[Case]] = {}
    for name in args.sets:
        match name:
            case "near":
                said = with_distances(near_misses(sheet, seed))
                found[name] = cases(said, speakers, args.ratios, takes=args.takes, name=f"near{seed}")
            case "qualified":
                found[name] = cases(
                    qualified(sheet, seed), speakers, args.ratios, takes=args.takes, name=name
                )
            case "talk" | "counting":
                texts = at_situations(talk() if name == "talk" else counting(), name, sheet, seed)
                found[name] = cases(texts, speakers, args.ratios, takes=args.takes, name=name)
            case "singing":
                found[name] = songs(sheet, args.ratios, seed)
            case "orders" if args.speech is None:
                print("orders: left out; give their folder with --speech", file=sys.stderr)
            case "orders":
                found[name] = orders(args.speech, sheet, (None, *args.ratios), seed)
            case "pieces":
                found[name] = noise_pieces(sheet, args.pieces, seed)
            case "stream":
                found[name] = noise_streams(sheet, args.minutes, seed)
    return found


def report(rows: Sequence[Row]) -> str:
    """Return the tables of a run."""
    parts = [f"{len(rows)} heard; all but human orders is synthetic"]
    for name, found in grouped(rows, lambda row: row.case.set.rstrip("0123456789")).items():
        parts.append(f"== {name}: {len(found)}, {sum(r.audio_s for r in found) / 60:.1f} min of sound")
        if name == "stream":
            parts.append(f"utterances that the endpointer made of it: {sum(r.utterances for r in found)}")
        for title, key in KEYS.items():
            groups = grouped(found, key)
            if len(groups) > 1 or title == "kind":
                parts.append(_table(title, {**dict(sorted(groups.items(), key=str)), "all": found}))
        same = [row for row in found if row.case.said.apart == 0]
        if same:
            parts.append(f"pronounced exactly as a phrase of the sheet, by espeak-ng: {len(same)}")
    for outcome in ("passed", "taken as a defect", "acted"):
        listed = [row for row in rows if refusal(row) == outcome]
        parts.append(f"{outcome.upper()}: {len(listed)}\n" + "\n".join(case_line(row) for row in listed))
    return "\n\n".join(parts)


def _table(title: str, groups: dict[object, list[Row]]) -> str:
    lines = []
    for name, found in groups.items():
        counts = Counter(refusal(row) for row in found)
        held = counts["refused"] + counts["asked"]
        shares = share(held, len(found)), share(counts["passed"], len(found))
        lines.append((name, len(found), *(counts[r] for r in REFUSALS), *shares))
    return table(lines, (title, "n", *REFUSALS, "refused or asked", "passed"))


def _apart(case: Case) -> str:
    apart = case.said.apart
    return "" if apart is None else str(apart) if apart < 4 else "4 or more"


def main() -> None:
    """Hear, score and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", nargs="+", choices=SETS, default=list(SETS))
    parser.add_argument("--ratios", type=float, nargs="+", default=list(RATIOS), metavar="DB")
    parser.add_argument("--takes", type=int, default=1, help="pairs of voice and ratio for each phrase")
    parser.add_argument("--speech", type=Path, metavar="FOLDER", help="of the recorded orders")
    parser.add_argument("--pieces", type=int, default=1000, help="pieces of noise")
    parser.add_argument("--minutes", type=float, default=60.0, help="of noise as a stream")
    add_options(parser, sample="hear only the first N cases of each set")
    args = parser.parse_args()
    sheet = load_sheet(shipped("grammars", "engine_bay.toml"))
    noise_file = args.speech / "kitchen-noise.flac" if args.speech else None
    try:
        sets = {} if args.source else all_cases(args, sheet)
        todo = [case for found in sets.values() for case in found[: args.sample]]
        rows = rows_of(args, todo, noise_file)
    except VoicelogError as error:
        sys.exit(str(error))
    print(report(rows))
    if args.keep:
        listed = [row for row in rows if refusal(row) not in ("refused", "asked")]
        keep_sounds(listed, args.keep, args.cache, noise_file)
    sys.exit(1 if any(refusal(row) == "passed" for row in rows) else 0)


if __name__ == "__main__":
    main()
