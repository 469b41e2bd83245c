"""Whether a sheet of 2,000 points costs more than one of 50: compiling its graph, and decoding.

    python -m tests.benchmarks.large_sheet [--points 50 2000] [--lines 30]

Both sheets are made up: rows of numbered fittings with the lexicon's own conditions. The same lines
of the recorded walk's voices are decoded against each, in turn, so that what else the machine does
falls on both alike. Prints seconds to compile, seconds a line (median), the ratio, and nodes.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from pathlib import Path

import numpy as np
from num2words import num2words

from tests.benchmarks.voices import available_voices, speak
from voicelog.hearing.recogniser import RATE, Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.paths import shipped
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet

PLACES = ("upper", "lower", "front", "rear", "inner", "outer", "main", "spare", "long", "short")
KINDS = ("fuel", "oil", "air", "water", "brake", "steering", "cooling", "heating", "drain", "return")
PARTS = ("hose", "line", "bracket", "clamp", "valve", "fitting", "mount", "pipe", "bolt", "cover")
ASPECTS = (
    '["leak", "damage"]', '["fastening"]', '["fastening", "damage"]', '["leak", "fastening"]',
)  # fmt: skip
"""Not more kinds of point than a real sheet has."""


def large_sheet(points: int, folder: Path) -> Sheet:
    """Return a sheet with so many points, ten to a stop."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "lexicon.toml").write_text(
        shipped("grammars", "lexicon.toml").read_text(encoding="utf-8"), encoding="utf-8"
    )
    names = [f"{place} {kind} {part}" for part in PARTS for kind in KINDS for place in PLACES]
    sides = ("left", "right")
    lines = [
        "[sheet]",
        'id = "large"',
        'title = "Large"',
        'edition = "1"',
        'lexicon = "lexicon.toml"',
        'cautions = ["Chock the wheels."]',
    ]
    for number in range(points):
        if number % 10 == 0:
            stop = number // 10
            spelt = num2words(stop).replace("-", " ").replace(" and ", " ")
            spelt = num2words(stop).replace("-", " ").replace(" and ", " ")
            lines += [
                "[[stop]]",
                f'id = "stop_{stop}"',
                f'name = "stop {spelt}"',
                f'side = "{sides[number // 10 % 2]}"',
            ]
        name = names[number // 20 * 10 + number % 10]
        lines += [
            "[[stop.point]]",
            f'id = "point_{number}"',
            f'name = "{name}"',
            f"aspects = {ASPECTS[number % 4]}",
        ]
    path = folder / f"sheet_{points}.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return load_sheet(path)


def compiled(sheet: Sheet) -> tuple[PhraseGraph, float]:
    """Return the graph of the sheet's first stop, and the seconds it took."""
    started = time.perf_counter()
    graph = compile_grammar(sheet_grammar(sheet, sheet.stops[0].id))
    return graph, time.perf_counter() - started


def main() -> None:
    """Compile, decode and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--points", type=int, nargs=2, default=(50, 2000))
    parser.add_argument("--lines", type=int, default=30)
    args = parser.parse_args()
    recogniser = WhisperRecogniser()
    with tempfile.TemporaryDirectory() as folder:
        sheets = [large_sheet(points, Path(folder)) for points in args.points]
    graphs = []
    for points, sheet in zip(args.points, sheets, strict=True):
        graph, seconds = compiled(sheet)
        graphs.append(graph)
        print(f"{points:5} points: compiled in {seconds:.3f} s, {graph.size} nodes")
    voices = available_voices()
    small = list(sheets[0].points.values())
    times: list[list[float]] = [[], []]
    right = [0, 0]
    for line in range(args.lines):
        point = small[line % len(small)]
        said = f"{point.side} {point.name} " + ("dry", "tight", "cracked", "loose")[line % 4]
        if not graphs[0].accepts(tuple(said.split())):
            said = f"{point.side} {point.name} missing"
        spoken = speak(said, voices[line % len(voices)])
        quiet = np.zeros(int(0.3 * RATE), np.float32)
        utterance = Utterance(np.concatenate([quiet, spoken, quiet]).astype(np.float32), 0.0)
        for place, graph in enumerate(graphs):
            decoding = recogniser.decode(utterance, graph)
            times[place].append(decoding.decode_s)
            right[place] += bool(decoding.hypotheses) and decoding.hypotheses[0].text == said
    medians = [statistics.median(t) for t in times]
    for points, median, words in zip(args.points, medians, right, strict=True):
        print(f"{points:5} points: {median:.3f} s a line (median of {args.lines}), {words} word for word")
    print(f"ratio {medians[1] / medians[0]:.2f}")


if __name__ == "__main__":
    main()
