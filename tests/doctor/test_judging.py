"""What is measured becomes a verdict, and whatever is not good says what to do."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from voicelog.doctor.finding import Finding, Verdict, of_error
from voicelog.doctor.judging import (
    judge_clock,
    judge_disk,
    judge_heard,
    judge_memory,
    judge_speed,
    judge_stream,
)
from voicelog.doctor.levels import judge_quiet, judge_speech, measure
from voicelog.errors import AudioError
from voicelog.hearing.recogniser import RATE, Samples

NOW = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
YEAR = timedelta(days=365)


def noise(dbfs: float, seconds: float = 3.0) -> Samples:
    """White noise of an RMS in dB of full scale."""
    made = np.random.default_rng(1).normal(0, 10 ** (dbfs / 20), round(seconds * RATE))
    return np.clip(made, -1, 1).astype(np.float32)


def speech(dbfs: float, noise_dbfs: float) -> Samples:
    """A second of a louder noise in the middle of three."""
    sound = noise(noise_dbfs)
    sound[RATE : 2 * RATE] = noise(dbfs, 1.0)
    return sound


def is_told(finding: Finding, verdict: Verdict, *words: str) -> None:
    assert finding.verdict == verdict, finding
    assert all(word in finding.what for word in words), finding
    assert bool(finding.remedy) == (verdict != "good"), finding
    assert finding.lines[0].startswith(verdict)
    assert len(finding.lines) == (1 if verdict == "good" else 2)


def test_a_full_scale_tone_is_three_decibels_below() -> None:
    """The RMS of a sine at full scale is -3.01 dB of full scale, 20 log10(1/sqrt 2)."""
    levels = measure(np.sin(2 * np.pi * 1000 * np.arange(RATE) / RATE).astype(np.float32))
    assert levels.loud_dbfs == pytest.approx(-3.01, abs=0.01)
    assert levels.noise_dbfs == pytest.approx(-3.01, abs=0.01)
    assert levels.peak_dbfs == pytest.approx(0.0, abs=0.01)
    with pytest.raises(ValueError):
        measure(np.zeros(100, np.float32))


@pytest.mark.parametrize(
    ("sound", "verdict", "words"),
    [
        (np.zeros(RATE, np.float32), "fix", "digital silence"),
        (np.clip(noise(-3) * 4, -1, 1), "fix", "clipped"),
        (noise(-90), "look", "faint"),
        (noise(-20), "look", "much noise"),
        (noise(-55), "good", "noise -5"),
    ],
)
def test_a_microphone_is_judged_by_three_seconds_of_it(sound: Samples, verdict: Verdict, words: str) -> None:
    """Silence and clipping must be mended; faint and noisy ones can be used but are told."""
    is_told(judge_quiet(measure(sound)), verdict, words)


@pytest.mark.parametrize(
    ("sound", "verdict", "words"),
    [
        (speech(-20, -60), "good", "dB above the noise"),
        (speech(-50, -80), "look", "too low"),
        (speech(-20, -26), "look", "little above the noise"),
        (np.zeros(RATE, np.float32), "fix", "digital silence"),
    ],
)
def test_speech_is_judged_against_its_noise(sound: Samples, verdict: Verdict, words: str) -> None:
    """What is said must stand out of the noise, and not be faint."""
    is_told(judge_speech(measure(sound)), verdict, words)


@pytest.mark.parametrize(
    ("finding", "verdict", "words"),
    [
        (judge_disk(50 * 2**30, True, "/data"), "good", "50.0 GiB"),
        (judge_disk(2**29, True, "/data"), "look", "0.5 GiB"),
        (judge_disk(2**20, True, "/data"), "fix", "0.0 GiB"),
        (judge_disk(50 * 2**30, False, "/data"), "fix", "cannot be written"),
        (judge_memory(2**31), "good", "2048 MiB"),
        (judge_memory(2**27), "look", "128 MiB"),
        (judge_speed(0.3, 2.0), "good", "2.0 s takes 0.3 s"),
        (judge_speed(3.0, 2.0), "look", "late"),
        (judge_heard("cab prop engaged", "cab prop engaged"), "good", "cab prop engaged"),
        (judge_heard("cab prop engaged", "cab prop"), "fix", '"cab prop"'),
        (judge_heard("cab prop engaged", ""), "fix", "nothing"),
        (judge_stream(0.006, 60, 0), "good", "lost 6 ms"),
        (judge_stream(-0.006, 60, 0), "good", "gained 6 ms"),
        (judge_stream(0.006, 3, 0), "good", "no sound missed"),
        (judge_stream(0.0, 3, 2), "look", "2 times"),
        (judge_clock(NOW, None, NOW - YEAR), "good", "2026-03-02 07:00, time zone UTC"),
        (judge_clock(NOW, NOW - YEAR, NOW - YEAR), "good", "2026-03-02"),
        (judge_clock(NOW, NOW + timedelta(hours=1), NOW - YEAR), "fix", "newest record"),
        (judge_clock(NOW, None, NOW + timedelta(days=1)), "fix", "installed"),
        (judge_clock(NOW, NOW + timedelta(minutes=1), NOW - YEAR), "good", ""),
        (of_error("x", AudioError("it broke.", where="there", remedy="mend it")), "fix", "it broke (there)"),
    ],
)
def test_each_check_has_its_verdict(finding: Finding, verdict: Verdict, words: str) -> None:
    """A table of what may be found."""
    is_told(finding, verdict, words)


def test_an_hour_of_sound_is_counted_as_the_wave_file_it_would_be() -> None:
    """16,000 samples of two bytes a second for 3,600 s are 115,200,000 bytes."""
    assert judge_disk(115_200_000, True, "/data").verdict == "look"
    assert judge_disk(115_199_999, True, "/data").verdict == "fix"
