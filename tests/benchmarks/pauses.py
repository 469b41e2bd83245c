"""How often a pause cuts an order of several parts, and how long the end of one is waited for.

    python -m tests.benchmarks.pauses --data ../shared/speech [--utterances 60] [--ratios 12 6]

Human orders (some nine seconds, with the pauses people make), each with noise before and after it,
go through the endpointer three times: with a short pause whatever was said, with an ordinary one,
and with the judge that knows the grammar. Prints how many orders came out as one utterance, how
many of those that did not were cut, and the pause after which the last utterance was given. The
posterior stands in for the walk's own judgement: an order is no check sheet.
"""

from __future__ import annotations

import argparse
import statistics
from collections.abc import Callable
from pathlib import Path

import numpy as np
from tabulate import tabulate

from tests.benchmarks.hearing.dataset import Dataset, chosen, open_dataset, read_mono
from tests.benchmarks.hearing.mixing import Samples as Wide
from tests.benchmarks.hearing.mixing import scaled_noise, stretch_of
from voicelog.hearing.audio import Block
from voicelog.hearing.endpoint import CHUNK, Endpointer, EndpointOptions
from voicelog.hearing.recogniser import RATE, Ending, Samples, Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.meaning.interpret import DEFAULT
from voicelog.phrases.graph import PhraseGraph, compile_grammar
from voicelog.phrases.jsgf import load_jsgf

BEFORE_S, AFTER_S = 1.5, 2.5
ORDINARY = EndpointOptions()
SHORT = EndpointOptions(pause_s=ORDINARY.whole_pause_s, end_quiet_s=0.2)
Judge = Callable[[Utterance], Ending]


def in_noise(data: Dataset, stem: str, ratio: float | None, noise: Wide) -> Samples:
    """Return the order with quiet or noise around it, mono at 16 kHz."""
    speech = read_mono(data.files[stem])
    quiet = [np.zeros(round(s * RATE), np.float32) for s in (BEFORE_S, AFTER_S)]
    padded = np.concatenate([quiet[0], speech, quiet[1]])
    if ratio is not None:
        padded = padded + scaled_noise(padded, stretch_of(noise, len(padded), stem), ratio)
        padded = padded / (2 * np.abs(padded).max())
    return np.asarray(padded, np.float32)


def judging(recogniser: WhisperRecogniser, graph: PhraseGraph) -> Judge:
    """Return a judge of orders."""

    def judge(utterance: Utterance) -> Ending:
        decoding = recogniser.decode(utterance, graph)
        if decoding.unfinished:
            return "unfinished"
        sure = decoding.best is not None and decoding.best.posterior >= DEFAULT.defect
        return "whole" if sure else "unsure"

    return judge


def given(stream: Samples, endpointer: Endpointer) -> tuple[int, float]:
    """Return how many utterances a stream gives, and how long after its end the last was given, in s."""
    count, waited = 0, 0.0
    for begin in range(0, len(stream), CHUNK):
        block = Block(stream[begin : begin + CHUNK], begin / RATE)
        for utterance in endpointer.accept(block):
            count += 1
            speech_end_s = utterance.end_s - ORDINARY.post_roll_s
            waited = (begin + CHUNK) / RATE - speech_end_s
    return count, waited


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--utterances", type=int, default=60)
    parser.add_argument("--ratios", type=float, nargs="*", default=[12.0, 6.0], help="dB, beside clean")
    arguments = parser.parse_args()
    data = open_dataset(arguments.data, None, None, None)
    noise = read_mono(data.noise)
    recogniser = WhisperRecogniser()
    judge = judging(recogniser, compile_grammar(load_jsgf(data.grammar)))
    ways: dict[str, tuple[EndpointOptions, Judge | None]] = {
        f"short pause, {SHORT.pause_s} s": (SHORT, None),
        f"ordinary pause, {ORDINARY.pause_s} s": (ORDINARY, None),
        "by what was said": (ORDINARY, judge),
    }
    rows = []
    stems = chosen(sorted(data.files), arguments.utterances, 0)
    for ratio in (None, *arguments.ratios):
        streams = [in_noise(data, stem, ratio, noise) for stem in stems]
        for name, (options, asked) in ways.items():
            results = [given(stream, Endpointer(options, asked)) for stream in streams]
            whole = [waited for count, waited in results if count == 1]
            rows.append(
                (
                    "clean" if ratio is None else f"{ratio:g} dB",
                    name,
                    f"{len(whole)} of {len(streams)}",
                    sum(count > 1 for count, _ in results),
                    f"{statistics.median(whole):.2f}" if whole else "",
                )
            )
            print(f"{rows[-1]}", flush=True)
    print(tabulate(rows, headers=("noise", "an utterance ends after", "whole", "cut", "waited, s")))


if __name__ == "__main__":
    main()
