"""Fit the constants of voicelog.hearing.confidence, and show how well they part right from wrong.

    python -m tests.benchmarks.calibrate [--phrases 180] [--near 90] [--speech FOLDER]

Speaks phrases of the engine bay sheet and near misses in synthetic voices and engine-bay noise
(20, 12 and 6 dB); with --speech also decodes human orders, which are not for the sheet. An answer
is right when it is word for word what was said. Prints the fitted constants and, per kind, the
share refused. Synthetic voices only fill in: human speech of this trade is not to be had here.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from tests.benchmarks.spoken_set import near_misses, phrases
from tests.benchmarks.voices import available_voices, speak
from voicelog.hearing.audio import read_samples
from voicelog.hearing.recogniser import RATE, Samples, Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.paths import shipped
from voicelog.phrases.graph import PhraseGraph, compile_grammar
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet import load_sheet

RATIOS = (20.0, 12.0, 6.0)
VOICES = ("slt", "rms", "awb", "kal16", "en-us")
Matrix = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Case:
    """One utterance, what was said, and where."""

    samples: Samples
    text: str
    stop_id: str
    kind: str


@dataclass(frozen=True, slots=True)
class Seen:
    """What was measured of it."""

    kind: str
    right: bool
    gap: float
    weakest: float


def cases(count: int, near: int, speech: Path | None) -> Iterator[Case]:
    """Yield the utterances to decode; the same arguments give the same ones."""
    sheet = load_sheet(shipped("grammars", "engine_bay.toml"))
    voices = [voice for voice in VOICES if voice in available_voices()]
    noise = engine_bay_noise(60, 5)
    said = [*phrases(sheet, count, 11), *near_misses(sheet, near, 12)]
    for number, spoken in enumerate(said):
        voice = speak(spoken.text, voices[number % len(voices)])
        samples = np.concatenate([np.zeros(int(0.3 * RATE)), voice, np.zeros(int(0.2 * RATE))])
        start = number * 7919 % (len(noise) - len(samples))
        mixed = mix(
            samples.astype(np.float32),
            noise[start : start + len(samples)],
            RATIOS[number % len(RATIOS)],
        )
        kind = "in the grammar" if spoken.in_grammar else "near miss"
        yield Case(mixed.astype(np.float32), spoken.text, spoken.stop_id, kind)
    for path in sorted(speech.glob("orders-dev/*.flac"))[:40] if speech else ():
        yield Case(read_samples(path), path.stem, "left_front", "human, not for us")


def measure(found: Iterator[Case]) -> list[Seen]:
    """Decode every case and return what confidence is computed from."""
    sheet = load_sheet(shipped("grammars", "engine_bay.toml"))
    recogniser = WhisperRecogniser()
    graphs: dict[str, PhraseGraph] = {}
    seen = []
    for case in found:
        if case.stop_id not in graphs:
            graphs = {case.stop_id: compile_grammar(sheet_grammar(sheet, case.stop_id))}
        traced = recogniser.trace(Utterance(case.samples, 0.0), graphs[case.stop_id])
        if traced.best is None:
            seen.append(Seen(case.kind, False, np.inf, -np.inf))
            continue
        right = case.kind == "in the grammar" and " ".join(traced.best.words) == case.text
        gap = max(0.0, traced.free_log_likelihood - traced.best.log_likelihood)
        seen.append(Seen(case.kind, right, gap, traced.best.weakest_word))
    return seen


def logistic(features: Matrix, target: Matrix, ridge: float = 1e-3) -> Matrix:
    """Return the weights of a logistic regression by Newton's method."""
    weights = np.zeros(features.shape[1])
    for _ in range(50):
        p = 1 / (1 + np.exp(-features @ weights))
        gradient = features.T @ (p - target) + ridge * weights
        curvature = (features * (p * (1 - p))[:, None]).T @ features + ridge * np.eye(len(weights))
        weights -= np.linalg.solve(curvature, gradient)
    return weights


def main() -> None:
    """Measure, fit and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--phrases", type=int, default=180)
    parser.add_argument("--near", type=int, default=90)
    parser.add_argument("--speech", type=Path, help="folder of the open speech-to-intent data")
    args = parser.parse_args()
    seen = measure(cases(args.phrases, args.near, args.speech))
    followed = [s for s in seen if np.isfinite(s.gap)]
    features = np.array([[1.0, s.gap, -s.weakest] for s in followed])
    weights = logistic(features, np.array([0.0 if s.right else 1.0 for s in followed]))
    print(
        f"offset {weights[0]:.2f}, gap_weight {weights[1]:.3f}, "
        f"weakest_weight {weights[2]:.3f}  (n {len(seen)})"
    )
    outside = 1 / (1 + np.exp(-features @ weights))
    for kind in sorted({(s.kind, s.right) for s in seen}):
        chosen = np.array([(s.kind, s.right) == kind for s in followed])
        lost = sum((s.kind, s.right) == kind for s in seen) - int(chosen.sum())
        refused = lost + int((outside[chosen] >= 0.5).sum())
        print(
            f"{kind[0]:18} {'right' if kind[1] else 'not right':9} "
            f"n {lost + int(chosen.sum()):4}  refused {refused}"
        )


if __name__ == "__main__":
    main()
