"""How well read-back is understood beside an engine, voice by voice.

The listener is the engine's own free dictation (Whisper tiny.en), which was not made for synthetic
voices in noise and hears far worse than a person: the figures rank the voices, and say nothing of
how much an operator understands.

    python -m tests.benchmarks.read_back --ratios 60,24,18
"""

from __future__ import annotations

import argparse
import re

import jiwer
import numpy as np

from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from tests.benchmarks.voices import available_voices, speak
from voicelog.hearing.engines import Engines, make_recogniser
from voicelog.hearing.recogniser import RATE, Samples, Utterance

PHRASES = (
    "left lift cylinder dripping",
    "fan belt deflection one half inch, above the limit",
    "coolant hose loose, dry or cracked?",
    "front battery voltage twelve point six volts",
    "never feel for a leak with a hand",
    "shafts can turn if anyone cranks the engine",
    "drag link tight or loose?",
    "right front, eight points open",
    "standing by",
    "secondary air tank fifty five pounds, below the limit",
)
_FIGURES = {"12.6": "twelve point six", "1/2": "one half", "55": "fifty five", "8 ": "eight "}
"""How Whisper writes the numbers of these phrases."""


def main() -> None:
    """Print the share of words misheard, by voice and ratio."""
    parser = argparse.ArgumentParser(description="Rank voices by how well read-back is understood in noise.")
    parser.add_argument("--ratios", default="60,24,18", help="signal-to-noise ratios in dB")
    ratios = [float(ratio) for ratio in parser.parse_args().ratios.split(",")]
    recogniser = make_recogniser(Engines())
    print("voice", *(f"{ratio:g} dB" for ratio in ratios), sep="\t")
    for voice in available_voices():
        if voice.startswith("ko"):
            continue
        spoken = [_with_silence(speak(phrase, voice)) for phrase in PHRASES]
        rates = []
        for ratio in ratios:
            heard = [
                recogniser.dictate(Utterance(mix(samples, _noise(samples, seed), ratio), 0.0))
                for seed, samples in enumerate(spoken)
            ]
            rates.append(jiwer.wer([_words(p) for p in PHRASES], [_words(h) for h in heard]))
        print(voice, *(f"{rate:.2f}" for rate in rates), sep="\t", flush=True)


def _with_silence(samples: Samples) -> Samples:
    silence = np.zeros(round(0.3 * RATE), np.float32)
    return np.concatenate([silence, samples, silence])


def _noise(samples: Samples, seed: int) -> Samples:
    return engine_bay_noise(len(samples) / RATE + 0.1, seed, impacts=False)


def _words(text: str) -> str:
    for figures, words in _FIGURES.items():
        text = text.replace(figures, words)
    return " ".join(re.findall(r"[a-z]+", text.lower()))


if __name__ == "__main__":
    main()
