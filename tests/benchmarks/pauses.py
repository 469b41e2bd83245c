"""How often a pause cuts an order of several parts, and how long the end of one is waited for.

    python -m tests.benchmarks.pauses --data ../shared/speech [--utterances 60] [--ratios 12 6]

Human orders (some nine seconds, with the pauses people make), each with noise before and after it,
go through the endpointer three times: with a short pause whatever was said, with an ordinary one,
and with the judge that knows the grammar. Prints how many orders came out as one utterance, how many
were cut in two, how many lost their beginning or end, in how many streams the noise by itself opened
an utterance, and the pause after which the order was given. Where somebody speaks is told by the
power of the clean recording. The posterior stands in for the walk's own judgement: an order is no
check sheet.
"""

from __future__ import annotations

import argparse
import statistics
from collections.abc import Callable
from dataclasses import dataclass
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
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.jsgf import load_jsgf

BEFORE_S, AFTER_S = 1.5, 2.5
ORDINARY = EndpointOptions()
SHORT = EndpointOptions(pause_s=ORDINARY.whole_pause_s, end_quiet_s=0.2)
POWER = 320
"""Samples (20 ms) over which power is taken."""
SLACK_S = 0.05
COLUMNS = (
    "noise",
    "an utterance ends after",
    "whole",
    "cut in two",
    "beginning or end lost",
    "noise alone",
    "waited, s",
)
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


@dataclass(frozen=True, slots=True)
class Given:
    """What the endpointer made of one stream."""

    parts: int
    """Utterances that have some of the order."""
    noises: int
    """Utterances that have none of it."""
    lost: bool
    """Whether the order's beginning or end is in none."""
    waited_s: float
    """From the end of what the last part has of speech until it was given."""


def spoken(speech: Wide) -> tuple[float, float]:
    """Return where somebody speaks in a clean recording, in seconds: within 30 dB of its loudest."""
    power = np.convolve(speech**2, np.ones(POWER) / POWER, "same")
    loud = np.flatnonzero(power > 1e-3 * power.max())
    return float(loud[0]) / RATE, float(loud[-1]) / RATE


def given(stream: Samples, speech: tuple[float, float], endpointer: Endpointer) -> Given:
    """Return what a stream gives, in which somebody speaks from ``speech[0]`` to ``speech[1]`` s."""
    parts: list[Utterance] = []
    noises, waited = 0, 0.0
    for begin in range(0, len(stream), CHUNK):
        for utterance in endpointer.accept(Block(stream[begin : begin + CHUNK], begin / RATE)):
            if utterance.end_s <= speech[0] or utterance.start_s >= speech[1]:
                noises += 1
                continue
            parts.append(utterance)
            waited = (begin + CHUNK) / RATE - (utterance.end_s - ORDINARY.post_roll_s)
    lost = not parts or parts[0].start_s > speech[0] + SLACK_S or parts[-1].end_s < speech[1] - SLACK_S
    return Given(len(parts), noises, lost, waited)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--utterances", type=int, default=60)
    parser.add_argument("--ratios", type=float, nargs="*", default=[12.0, 6.0], help="dB, beside clean")
    parser.add_argument(
        "--without-judge", action="store_true", help="leave out the recogniser, which takes long"
    )
    arguments = parser.parse_args()
    data = open_dataset(arguments.data, None, None, None)
    noise = read_mono(data.noise)
    ways: dict[str, tuple[EndpointOptions, Judge | None]] = {
        f"short pause, {SHORT.pause_s} s": (SHORT, None),
        f"ordinary pause, {ORDINARY.pause_s} s": (ORDINARY, None),
    }
    if not arguments.without_judge:
        judge = judging(WhisperRecogniser(), compile_grammar(load_jsgf(data.grammar)))
        ways["by what was said"] = (ORDINARY, judge)
    rows = []
    stems = chosen(sorted(data.files), arguments.utterances, 0)
    spans = [spoken(read_mono(data.files[stem])) for stem in stems]
    where = [(BEFORE_S + begin_s, BEFORE_S + end_s) for begin_s, end_s in spans]
    for ratio in (None, *arguments.ratios):
        streams = [
            (in_noise(data, stem, ratio, noise), heard) for stem, heard in zip(stems, where, strict=True)
        ]
        for name, (options, asked) in ways.items():
            results = [given(*stream, Endpointer(options, asked)) for stream in streams]
            whole = [result.waited_s for result in results if result.parts == 1 and not result.lost]
            rows.append(
                (
                    "clean" if ratio is None else f"{ratio:g} dB",
                    name,
                    f"{len(whole)} of {len(streams)}",
                    sum(result.parts > 1 for result in results),
                    sum(result.lost for result in results),
                    sum(result.noises > 0 for result in results),
                    f"{statistics.median(whole):.2f}" if whole else "",
                )
            )
            print(f"{rows[-1]}", flush=True)
    print(tabulate(rows, headers=COLUMNS))


if __name__ == "__main__":
    main()
