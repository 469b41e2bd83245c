"""Synthetic speakers, and their sound kept in a folder so that it is made once.

What a voice says is trimmed of its own silence and stored in 16 bits, so that it is the same
whether it was kept or made anew. Mono float32 at 16 kHz.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from tests.benchmarks.voices import available_voices, speak
from voicelog.hearing.recogniser import RATE, Samples

FRAME = round(0.01 * RATE)
QUIET_DB = -45.0
"""What is further below the loudest 10 ms is silence."""


@dataclass(frozen=True, slots=True)
class Speaker:
    """A voice at a speed, and for espeak-ng a pitch."""

    voice: str
    speed: float = 1.0
    pitch: int = 50


SPEAKERS: dict[str, Speaker] = {
    "flite slt": Speaker("slt"),
    "flite rms": Speaker("rms"),
    "flite awb": Speaker("awb", 0.95),
    "flite kal16": Speaker("kal16", 1.05),
    "espeak us low": Speaker("en-us", 1.0, 35),
    "espeak gb fast": Speaker("en-gb", 1.15, 55),
    "espeak us f3": Speaker("en-us+f3", 0.95, 65),
    "festival kal": Speaker("voice_kal_diphone", 0.95),
    "festival slt": Speaker("cmu_us_slt_arctic_hts", 1.0),
}
"""By name. Four unit-selection or diphone voices, two statistical ones, three by formants."""

_AS_LETTERS = {"a c": "ay see", "p s i": "pee ess eye", "psi": "pee ess eye", "p t o": "pee tee oh"}
"""Spelt so that every voice says the letters, and "a" is not an article."""


def speakers_here() -> tuple[str, ...]:
    """Return the speakers whose programs are installed."""
    here = available_voices()
    return tuple(name for name, speaker in SPEAKERS.items() if speaker.voice in here)


def said_aloud(text: str) -> str:
    """Return what a voice is given to read."""
    padded = f" {text} "
    for letters, spelt in _AS_LETTERS.items():
        padded = padded.replace(f" {letters} ", f" {spelt} ")
    return padded.strip()


def speech(text: str, speaker: str, folder: Path) -> Samples:
    """Return the words as a speaker says them; kept in ``folder``."""
    s = SPEAKERS[speaker]
    aloud = said_aloud(text)
    key = hashlib.sha256(f"{s.voice}|{s.speed}|{s.pitch}|{aloud}".encode()).hexdigest()[:32]
    return kept(folder / f"{key}.flac", lambda: trimmed(speak(aloud, s.voice, speed=s.speed, pitch=s.pitch)))


def kept(path: Path, make: Callable[[], Samples]) -> Samples:
    """Return the sound kept at ``path``, making it first where there is none."""
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        # Another process may be making the same one: each writes its own and puts it in place.
        making = path.with_suffix(f".{os.getpid()}.flac")
        soundfile.write(making, make(), RATE, subtype="PCM_16")
        making.replace(path)
    samples: Samples = soundfile.read(path, dtype="float32")[0]
    return samples


def trimmed(samples: Samples) -> Samples:
    """Return the samples without the silence before and after."""
    whole = len(samples) // FRAME * FRAME
    power = (samples[:whole].reshape(-1, FRAME).astype(np.float64) ** 2).mean(axis=1)
    loud = np.flatnonzero(power > power.max(initial=0.0) * 10 ** (QUIET_DB / 10))
    if not len(loud):
        return samples
    return samples[loud[0] * FRAME : (loud[-1] + 1) * FRAME]
