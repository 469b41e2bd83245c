"""Fit the constants of voicelog.hearing.confidence on human speech, and show what they are worth.

    python -m tests.benchmarks.calibrate --speech ../shared/speech [--ratios 0 3 6 9 12 18 24]
                                         [--traces traces.jsonl] [--jobs 2]

Three kinds of utterance, mixed with the data's own noise at each ratio:

- orders against their grammar: right when every slot is exact;
- near misses, the same orders against the grammar without a value that was said (its drink, size,
  roast or number of shots): never right;
- orders against the engine bay sheet: never right.

The constants are fitted by maximum likelihood of being right, on one half of the speakers' files,
and judged on the other, both ways; then on all, which are the ones to ship. Traces are kept in
--traces as they come and not decoded again.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import re
import sys
import zlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from tests.benchmarks.hearing.dataset import Dataset, half, open_dataset, read_mono, sound
from tests.benchmarks.hearing.mixing import Samples
from voicelog.hearing.confidence import Confidence, share, signs
from voicelog.hearing.recogniser import Utterance
from voicelog.hearing.whisper import WhisperOptions, WhisperRecogniser
from voicelog.paths import shipped
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.jsgf import read_jsgf
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet import load_sheet

DROPPED = ("coffeeDrink", "size", "roast", "numberOfShots")
"""Rules a value of which is taken out of the grammar for a near miss."""
NEAR_WEIGHT, SHEET_WEIGHT = 0.07, 2.0
"""Against an order's 1. There are as many near misses as orders here, which is more than in life;
what is no phrase at all should be told from one without a doubt."""
RIDGE = 1e-3
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Trace:
    """What confidence is computed from, of one utterance."""

    file: str
    ratio: float
    kind: str
    """order, near miss or sheet."""
    right: bool
    against: tuple[float, ...]
    """See :func:`voicelog.hearing.confidence.signs`."""
    short: bool
    scores: tuple[float, ...]
    """Of the best phrases, in nats."""


@cache
def _recogniser() -> WhisperRecogniser:
    return WhisperRecogniser(options=WhisperOptions(threads=1))


@cache
def _data(speech: Path) -> tuple[Dataset, Samples]:
    data = open_dataset(speech, None, None, None)
    return data, read_mono(data.noise)


@cache
def _graph(speech: Path, kind: str, rule: str = "", value: str = "") -> PhraseGraph | None:
    """Return the graph to decode against; None when the value cannot be taken out."""
    if kind == "sheet":
        sheet = load_sheet(shipped("grammars", "engine_bay.toml"))
        return compile_grammar(sheet_grammar(sheet, sheet.stops[1].id))
    text = (speech / "orders.jsgf").read_text(encoding="utf-8")
    if kind == "near miss":
        found = re.search(rf"<{rule}>\s*=\s*([^;]*);", text)
        if found is None:
            return None
        items = [item.strip() for item in found[1].split("|")]
        if value not in items:
            return None
        kept = " | ".join(item for item in items if item != value)
        text = text[: found.start(1)] + kept + text[found.end(1) :]
    return compile_grammar(read_jsgf(text))


def _slots(graph: PhraseGraph, words: tuple[str, ...]) -> dict[str, str]:
    return {span.name: span.value for span in graph.parse(words)[0]}


def trace(job: tuple[Path, str, float, str]) -> Trace | None:
    """Decode one utterance; None when no near miss can be made of it."""
    speech, name, ratio, kind = job
    data, noise = _data(speech)
    labels = data.labels[name]
    graph = _graph(speech, kind)
    if kind == "near miss":
        said = [(rule, labels[rule]) for rule in DROPPED if rule in labels]
        rule, value = said[zlib.crc32(name.encode()) % len(said)]
        graph = _graph(speech, kind, rule, value)
    if graph is None:
        return None
    samples = (sound(data, name, ratio, noise) / 32768).astype(np.float32)
    traced = _recogniser().trace(Utterance(samples, 0.0), graph)
    if traced.best is None:
        return Trace(name, ratio, kind, False, (1e3, 1e3, 1e3, 1e2), True, (0.0,))
    slots = _slots(graph, traced.best.words)
    right = kind == "order" and all(slots.get(rule) == value for rule, value in labels.items())
    confidence = Confidence()
    return Trace(
        name,
        ratio,
        kind,
        right,
        signs(traced.best, traced.free_log_likelihood, confidence),
        len(traced.best.tokens) <= confidence.short_tokens,
        tuple(found.rank_score for found in traced.found[:16]),
    )


def traces(speech: Path, ratios: list[float], kept: Path | None, jobs: int) -> list[Trace]:
    """Return the traces of all utterances, from ``kept`` those that are already there."""
    known: dict[tuple[str, float, str], Trace] = {}
    for line in kept.read_text().splitlines() if kept and kept.exists() else ():
        row = json.loads(line)
        row["against"], row["scores"] = tuple(row["against"]), tuple(row["scores"])
        known[row["file"], row["ratio"], row["kind"]] = Trace(**row)
    names = sorted(_data(speech)[0].labels)
    wanted = [
        (speech, name, ratio, kind)
        for ratio in ratios
        for kind in ("order", "near miss", "sheet")
        for name in names
        if (name, ratio, kind) not in known
    ]
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for number, found in enumerate(pool.imap(trace, wanted, chunksize=4), 1):
            if number % 100 == 0:
                print(f"{number} of {len(wanted)}", file=sys.stderr)
            if found is None:
                continue
            known[found.file, found.ratio, found.kind] = found
            if kept:
                with kept.open("a") as out:
                    out.write(json.dumps(asdict(found)) + "\n")
    return list(known.values())


@dataclass(frozen=True, slots=True)
class Fit:
    """Offset, and the weights of the signs."""

    weights: Floats

    def posteriors(self, seen: list[Trace]) -> Floats:
        """Return the posterior of each best phrase."""
        base = Confidence()
        against = np.array([t.against for t in seen])
        odds = self.weights[0] + against @ self.weights[1:]
        short = np.array([t.short for t in seen])
        odds += base.short_weight * short * np.maximum(0.0, against[:, 3] - base.short_floor)
        first = np.array([share(list(t.scores), base.temperature)[0] for t in seen])
        inside: Floats = first / (1.0 + np.exp(np.clip(odds, -60, 60)))
        return inside


def fit(seen: list[Trace]) -> Fit:
    """Return the constants under which being right or not is likeliest."""
    right = np.array([t.right for t in seen])
    weight = np.array([{"order": 1.0, "near miss": NEAR_WEIGHT}.get(t.kind, SHEET_WEIGHT) for t in seen])
    spread = np.array([t.against for t in seen]).std(0)

    def loss(weights: Floats) -> float:
        p = np.clip(Fit(weights).posteriors(seen), 1e-7, 1 - 1e-7)
        lost = -np.where(right, np.log(p), np.log(1 - p))
        return float((weight * lost).mean() + RIDGE * ((weights[1:] * spread) ** 2).sum())

    return Fit(minimize(loss, np.zeros(1 + len(spread)), method="L-BFGS-B").x)


def calibration_error(posteriors: Floats, right: npt.NDArray[np.bool_], bins: int = 10) -> float:
    """Return the expected calibration error over bins of equal width (Naeini et al. 2015)."""
    place = np.minimum((posteriors * bins).astype(int), bins - 1)
    error = 0.0
    for number in range(bins):
        inside = place == number
        if inside.any():
            error += float(inside.mean() * abs(posteriors[inside].mean() - right[inside].mean()))
    return error


def _judged(name: str, found: Fit, seen: list[Trace]) -> Iterator[str]:
    p = found.posteriors(seen)
    right, kinds = np.array([t.right for t in seen]), np.array([t.kind for t in seen])
    ratios = np.array([t.ratio for t in seen])
    limit = 1.0 - Confidence().refuse_above
    orders = kinds == "order"
    error = calibration_error(p[orders], right[orders])
    yield f"{name}: N {len(seen)}, expected calibration error of orders {error:.3f}"
    for kind in ("order", "near miss", "sheet"):
        for ratio in sorted(set(ratios)):
            of = (kinds == kind) & (ratios == ratio)
            yield (
                f"  {kind:9} {ratio:4.0f} dB  N {int(of.sum()):3}  answered and right "
                f"{int((of & right & (p >= limit)).sum()):3}  answered and not right "
                f"{int((of & ~right & (p >= limit)).sum()):3}  of those at 0.80 or more "
                f"{int((of & ~right & (p >= 0.80)).sum()):2}, at 0.97 or more "
                f"{int((of & ~right & (p >= 0.97)).sum()):2}"
            )


def main() -> None:
    """Decode, fit, judge and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--speech", type=Path, required=True, help="folder of the open speech data")
    parser.add_argument("--ratios", type=float, nargs="+", default=[0, 3, 6, 9, 12, 18, 24])
    parser.add_argument("--traces", type=Path, help="keep what was decoded in this file")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    seen = traces(args.speech, args.ratios, args.traces, args.jobs)
    a, b = ([t for t in seen if half(t.file) == name] for name in "AB")
    print("\n".join(_judged("half A, fitted on B", fit(b), a)))
    print("\n".join(_judged("half B, fitted on A", fit(a), b)))
    whole = fit(seen)
    names = ("offset", "gap_weight", "weakest_weight", "evidence_weight", "token_weight")
    print("fitted on all:", ", ".join(f"{n} {w:.3f}" for n, w in zip(names, whole.weights, strict=True)))


if __name__ == "__main__":
    main()
