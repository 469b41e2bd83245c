"""What a few seconds of a microphone say of it: measured, then judged. Pure.

The bounds are common practice, no published source, except full scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from voicelog.doctor.finding import Finding
from voicelog.hearing.recogniser import RATE, Samples

CHUNK = RATE // 50
"""20 ms."""
FULL_SCALE = 0.999
CLIPPED_SHARE = 1e-4
"""Of the samples at full scale, from which on sound counts as clipped."""
FAINT_DBFS = -75.0
"""A room is louder than this through a microphone that is turned up."""
NOISY_DBFS = -30.0
"""Speech close to a microphone is hardly louder than this."""
LEAST_SPEECH_DBFS = -45.0
LEAST_RATIO_DB = 10.0
"""Of speech over noise; from 9 dB on down the engine refuses more and more (README, Limits)."""

_ABOUT, _SPEECH = "microphone level", "speech level"


@dataclass(frozen=True, slots=True)
class Levels:
    """Levels of a stretch of sound, in dB of full scale."""

    seconds: float
    peak_dbfs: float
    noise_dbfs: float
    """RMS that a tenth of the 20 ms chunks stay below."""
    loud_dbfs: float
    """RMS that a twentieth of the chunks are above."""
    clipped: float
    """Share of the samples at full scale."""
    zeros: float
    """Share of the samples that are exactly zero."""


def measure(samples: Samples) -> Levels:
    """Return the levels of mono samples in [-1, 1] at 16 kHz; ValueError for less than 0.1 s."""
    chunks = len(samples) // CHUNK
    if chunks < 5:
        raise ValueError("too short to measure")
    power = np.mean(samples[: chunks * CHUNK].reshape(chunks, CHUNK).astype(np.float64) ** 2, axis=1)
    return Levels(
        len(samples) / RATE,
        _dbfs(float(np.abs(samples).max()) ** 2),
        _dbfs(float(np.quantile(power, 0.1))),
        _dbfs(float(np.quantile(power, 0.95))),
        float(np.mean(np.abs(samples) >= FULL_SCALE)),
        float(np.mean(samples == 0)),
    )


def _dbfs(power: float) -> float:
    return max(-120.0, 10 * float(np.log10(power))) if power > 0 else -120.0


def judge_quiet(levels: Levels) -> Finding:
    """Judge sound in which nobody needs to have spoken."""
    told = f"noise {levels.noise_dbfs:.0f} dB, loudest {levels.peak_dbfs:.0f} dB of full scale"
    if levels.zeros == 1.0:
        return Finding(
            _ABOUT, "fix", "nothing but digital silence", "unmute it, switch it on, or choose another"
        )
    if levels.clipped >= CLIPPED_SHARE:
        return Finding(_ABOUT, "fix", f"clipped ({told})", "turn the microphone's level down")
    if levels.loud_dbfs < FAINT_DBFS:
        return Finding(
            _ABOUT,
            "look",
            f"very faint ({told})",
            "turn the microphone's level up, and speak while you check: voicelog devices --test NAME",
        )
    if levels.noise_dbfs > NOISY_DBFS:
        return Finding(
            _ABOUT,
            "look",
            f"much noise ({told})",
            "use a microphone close to the mouth, or turn its level down",
        )
    return Finding(_ABOUT, "good", told)


def judge_speech(levels: Levels) -> Finding:
    """Judge sound in which somebody spoke part of the time."""
    ratio = levels.loud_dbfs - levels.noise_dbfs
    told = f"speech {levels.loud_dbfs:.0f} dB of full scale, {ratio:.0f} dB above the noise"
    quiet = judge_quiet(levels)
    if quiet.verdict == "fix":
        return quiet
    if levels.loud_dbfs < LEAST_SPEECH_DBFS:
        return Finding(_SPEECH, "look", f"too low ({told})", "turn the level up, or bring it to your mouth")
    if ratio < LEAST_RATIO_DB:
        return Finding(_SPEECH, "look", f"little above the noise ({told})", "bring it closer to your mouth")
    return Finding(_SPEECH, "good", told)
