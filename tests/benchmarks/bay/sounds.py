"""The sound of a case: the words, the noise around them, and the quiet before and after.

Seeded by the case, so that a case sounds the same in every run and on every machine that has the
same voices. Mono float32 at 16 kHz.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile

from tests.benchmarks.bay.said import Case
from tests.benchmarks.bay.songs import sung
from tests.benchmarks.bay.speakers import speech
from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from voicelog.hearing.audio import read_samples
from voicelog.hearing.recogniser import RATE, Samples

ENGINES = 4
ENGINE_S = 90.0
"""The noise of so many engines, so long each, around spoken words."""
BEFORE_S, AFTER_S = 0.3, 0.2
"""What the endpointer keeps around speech."""
LIVE_BEFORE_S, LIVE_AFTER_S = 1.5, 1.2
"""For a stream: time for the endpointer to hear the noise, and to be sure that speech ended."""


def sound_of(case: Case, cache: Path, noise_file: Path | None = None) -> Samples:
    """Return the samples of a case; around recorded speech the noise is that of ``noise_file``."""
    rng = np.random.default_rng(case.seed)
    if case.source == "noise":
        return _noise_alone(case, rng)
    words = _words(case, cache)
    before, after = (LIVE_BEFORE_S, LIVE_AFTER_S) if case.live else (BEFORE_S, AFTER_S)
    if case.source == "file":
        before = after = 0.0
    padded = np.pad(words, (round(before * RATE), round(after * RATE))).astype(np.float32)
    if case.ratio is None:
        return padded
    kitchen = noise_file is not None and case.source == "file"
    noise = read_noise(noise_file) if kitchen and noise_file else _engine(int(rng.integers(ENGINES)))
    if len(noise) < len(padded):
        noise = np.tile(noise, -(-len(padded) // len(noise)))
    start = int(rng.integers(len(noise) - len(padded) + 1))
    return mix(padded, noise[start : start + len(padded)], case.ratio)


def _words(case: Case, cache: Path) -> Samples:
    match case.source:
        case "file":
            return read_samples(case.speaker)
        case "song":
            return sung(case.speaker, cache)
        case _:
            return speech(case.said.text, case.speaker, cache)


def _noise_alone(case: Case, rng: np.random.Generator) -> Samples:
    """Return an engine without speech, as loud as an engine is heard by one microphone or another."""
    gain = 10 ** (rng.uniform(-15, 10) / 20)
    sound = gain * engine_bay_noise(case.seconds, case.seed)
    loud: Samples = np.clip(sound, -1, 1).astype(np.float32)
    return loud


@lru_cache(maxsize=ENGINES)
def _engine(number: int) -> Samples:
    return engine_bay_noise(ENGINE_S, 610 + number)


@lru_cache(maxsize=1)
def read_noise(path: Path) -> Samples:
    """Return a recording of noise at :data:`RATE`."""
    return read_samples(path)


def write_sound(samples: Samples, path: Path) -> None:
    """Write samples to be listened to."""
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, samples, RATE, subtype="PCM_16")
