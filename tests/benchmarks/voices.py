"""Synthetic speech at 16 kHz from programs that run offline, for tests and benchmarks.

Each voice is another program's, run as it is: nothing is cached and nothing is trimmed, so the
silence that a voice puts before and after its words is kept. Mono float32 in [-1, 1].
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
import soxr

from voicelog.errors import VoicelogError
from voicelog.hearing.recogniser import RATE, Samples

TIMEOUT_S = 60
ESPEAK_WORDS_PER_MINUTE = 160

Command = Callable[[str, str, Path, float, int], tuple[list[str], str | None]]
"""From voice, text, wave file, speed and pitch to the command line and what it reads, if anything."""


def _flite(voice: str, text: str, wave: Path, speed: float, _: int) -> tuple[list[str], str | None]:
    stretch = f"duration_stretch={1 / speed}"
    return ["flite", "-voice", voice, "--setf", stretch, "-t", text, "-o", str(wave)], None


def _espeak(voice: str, text: str, wave: Path, speed: float, pitch: int) -> tuple[list[str], str | None]:
    pace = str(round(ESPEAK_WORDS_PER_MINUTE * speed))
    return ["espeak-ng", "-v", voice, "-s", pace, "-p", str(pitch), "-w", str(wave), "--", text], None


def _festival(voice: str, text: str, wave: Path, speed: float, _: int) -> tuple[list[str], str | None]:
    if voice.endswith("_hts"):  # takes no notice of Duration_Stretch; its engine has a rate of its own
        pace = f'(set! hts_engine_params (append hts_engine_params (list (list "-r" {speed}))))'
    else:
        pace = f"(Parameter.set 'Duration_Stretch {1 / speed})"
    return ["text2wave", "-eval", f"(voice_{voice})", "-eval", pace, "-o", str(wave)], text


_PROGRAMS: dict[str, tuple[str, str, Command]] = {
    "flite": ("flite", "flite", _flite),
    "espeak": ("espeak-ng", "espeak-ng", _espeak),
    "festival": ("text2wave", "festival", _festival),
}
"""Family to the program it runs, the Debian package that has it, and its command line."""

VOICES: dict[str, tuple[str, str]] = {
    "slt": ("flite", "slt"),
    "rms": ("flite", "rms"),
    "awb": ("flite", "awb"),
    "kal16": ("flite", "kal16"),
    "en-us": ("espeak", "en-us"),
    "en-gb": ("espeak", "en-gb"),
    "en-us+f3": ("espeak", "en-us+f3"),
    "en-us+m3": ("espeak", "en-us+m3"),
    "ko": ("espeak", "ko"),
    "ko+f3": ("espeak", "ko+f3"),
    "ko+m3": ("espeak", "ko+m3"),
    "voice_kal_diphone": ("festival", "kal_diphone"),
    "cmu_us_slt_arctic_hts": ("festival", "cmu_us_slt_arctic_hts"),
}
"""Voice to its family and the family's own name for it."""

_FESTIVAL_PACKAGES = {"kal_diphone": "festvox-kallpc16k", "cmu_us_slt_arctic_hts": "festvox-us-slt-hts"}
_FESTIVAL_VOICES = Path("/usr/share/festival/voices")


def available_voices() -> tuple[str, ...]:
    """Return the voices that can speak on this machine, in the order of :data:`VOICES`."""
    return tuple(voice for voice in VOICES if not _missing_package(voice))


def speak(text: str, voice: str, *, speed: float = 1.0, pitch: int = 50) -> Samples:
    """Return ``text`` as ``voice`` says it; ``speed`` 2 is twice as fast.

    ``pitch`` is espeak-ng's, 0 to 99; the other programs take no notice of it.

    ValueError for a voice that is not in :data:`VOICES`, empty text or a speed not above 0;
    VoicelogError when the voice is not installed or its program fails.
    """
    if voice not in VOICES:
        raise ValueError(f"no voice {voice!r}; there are {', '.join(VOICES)}")
    if not text.strip() or speed <= 0:
        raise ValueError("there must be text, and the speed must be above 0")
    if package := _missing_package(voice):
        raise VoicelogError(
            "The program or voice data that speaks with it is not installed.",
            where=f"voice {voice}",
            remedy=f"apt install {package}",
        )
    family, own_name = VOICES[voice]
    with tempfile.TemporaryDirectory() as folder:
        wave = Path(folder) / "speech.wav"
        command, stdin = _PROGRAMS[family][2](own_name, text, wave, speed, pitch)
        result = subprocess.run(
            command, input=stdin, capture_output=True, text=True, timeout=TIMEOUT_S, check=False
        )
        if result.returncode or not wave.exists():
            raise VoicelogError(
                f"{command[0]} failed: {result.stderr.strip() or 'it wrote no sound'}", where=f"voice {voice}"
            )
        samples, rate = soundfile.read(wave, dtype="float32", always_2d=True)
    spoken: Samples = np.clip(soxr.resample(samples.mean(axis=1), rate, RATE), -1, 1).astype(np.float32)
    return spoken


def _missing_package(voice: str) -> str:
    """Return the Debian package to install for a voice; empty when it can speak."""
    family, own_name = VOICES[voice]
    program, package, _ = _PROGRAMS[family]
    if shutil.which(program) is None:
        return package
    if family == "festival" and not any(_FESTIVAL_VOICES.glob(f"*/{own_name}")):
        return _FESTIVAL_PACKAGES[own_name]
    return ""
