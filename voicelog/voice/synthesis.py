"""Offline voices: programs of the system that turn words into sound, run one sentence at a time.

flite speaks English and is taken first; espeak-ng speaks many languages. Both are free programs
run as they are, so nothing of their licences reaches this one. Of flite's
voices, rms lost least at 18 dB of engine noise, on ten phrases (``tests/benchmarks/read_back.py``).
"""

from __future__ import annotations

import io
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Protocol

import numpy as np
import soundfile

from voicelog.errors import AudioError
from voicelog.hearing.recogniser import Samples

TIMEOUT_S = 10.0
"""A sentence takes a tenth of a second; a program that hangs must not hold the answers up."""
LOUDNESS_RMS = 0.12
"""What every voice is brought to, so that they do not differ from the tones or each other."""
QUIET = 0.01
EDGE_S = 0.03
"""Silence left around a sentence."""
INSTALL = "apt install flite, or apt install espeak-ng"


class Speaker(Protocol):
    """A voice. Raises :class:`AudioError` when its program fails."""

    @property
    def name(self) -> str:
        """The program and its voice, as it is named to the user."""

    def speak(self, words: str) -> tuple[Samples, int]:
        """Return the words as mono samples in [-1, 1], and their rate in hertz."""


@dataclass(frozen=True)
class Flite:
    """The voice of flite; English only."""

    voice: str = "rms"
    stretch: float = 0.85
    """How long it speaks, as a part of its own pace."""

    @property
    def name(self) -> str:
        """``flite, voice rms``."""
        return f"flite, voice {self.voice}"

    def speak(self, words: str) -> tuple[Samples, int]:
        """Return the words as samples, and their rate."""
        with tempfile.TemporaryDirectory(prefix="voicelog-") as folder:
            wave = Path(folder) / "answer.wav"
            pace = f"duration_stretch={self.stretch}"
            _run(["flite", "-voice", self.voice, "--setf", pace, "-t", words, "-o", str(wave)])
            try:
                return _made_even(wave.read_bytes())
            except OSError as error:
                raise _failed("flite", "it wrote no sound") from error


@dataclass(frozen=True)
class Espeak:
    """A voice of espeak-ng."""

    voice: str = "en-us"
    words_a_minute: int = 165

    @property
    def name(self) -> str:
        """``espeak-ng, voice en-us``."""
        return f"espeak-ng, voice {self.voice}"

    def speak(self, words: str) -> tuple[Samples, int]:
        """Return the words as samples, and their rate."""
        command = ["espeak-ng", "-v", self.voice, "-s", str(self.words_a_minute), "--stdout", "--", words]
        return _made_even(_run(command))


def find_speaker(language: str = "English") -> Speaker | None:
    """Return a voice that speaks the language (by its English name), or None where there is none."""
    if language == "English" and shutil.which("flite"):
        return Flite()
    if shutil.which("espeak-ng"):
        voice = "en-us" if language == "English" else _espeak_voice(language)
        return Espeak(voice) if voice else None
    return None


@lru_cache(maxsize=8)
def _espeak_voice(language: str) -> str | None:
    """Return espeak-ng's code of a language by its English name; None where it does not speak it."""
    listed = _run(["espeak-ng", "--voices"]).decode(errors="replace").splitlines()[1:]
    found: list[tuple[int, str]] = []
    for line in listed:
        # Priority, code, age and gender, name with "_" for spaces, file, priority among a language's.
        fields = line.split()
        if len(fields) > 4 and not fields[4].startswith("mb/"):
            name = fields[3].partition("_(")[0].replace("_", " ")
            if name.casefold() == language.casefold():
                found.append((int(fields[-1].rstrip(")")) if len(fields) > 5 else 0, fields[1]))
    return min(found)[1] if found else None


def _run(command: list[str]) -> bytes:
    try:
        result = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, timeout=TIMEOUT_S, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise _failed(command[0], f"it took more than {TIMEOUT_S:.0f} s") from error
    except OSError as error:
        raise _failed(command[0], (error.strerror or str(error)).lower()) from error
    if result.returncode:
        last = result.stderr.decode(errors="replace").strip().splitlines()
        raise _failed(command[0], last[-1] if last else f"exit code {result.returncode}")
    return result.stdout


def _made_even(wave: bytes) -> tuple[Samples, int]:
    """Return a wave file's sound at one loudness, without the silence around it, and its rate."""
    try:
        samples, rate = soundfile.read(io.BytesIO(wave), dtype="float32", always_2d=True)
    except soundfile.LibsndfileError as error:
        raise _failed("the voice", "what it wrote is no sound") from error
    mono = samples.mean(axis=1, dtype=np.float32)
    sounding = np.flatnonzero(np.abs(mono) > QUIET)
    if not len(sounding):
        return mono[:0], rate
    edge = round(EDGE_S * rate)
    mono = mono[max(0, sounding[0] - edge) : sounding[-1] + edge]
    rms = float(np.sqrt(np.mean(mono[np.abs(mono) > QUIET] ** 2)))
    gain = min(LOUDNESS_RMS / rms, 0.95 / float(np.abs(mono).max()))
    return mono * np.float32(gain), rate


def _failed(program: str, why: str) -> AudioError:
    return AudioError(f"{program} could not speak ({why})", remedy=f"try it by hand, or {INSTALL}")
