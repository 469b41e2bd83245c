"""The real command, heard through a loudspeaker in software: what comes out, and what gets back in."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soxr

from tests.live.spoken_walk import ROOT, stored_walk, walking
from tests.virtual_sound import ANSWERS, missing, virtual_sound
from tests.virtual_sound import RATE as SERVER_RATE
from voicelog.hearing.recogniser import RATE
from voicelog.sheet import load_sheet
from voicelog.voice.synthesis import find_speaker
from voicelog.voice.tones import MEANINGS, Tone, tone
from voicelog.walk.events import NotUnderstood

pytestmark = [
    pytest.mark.skipif(bool(missing()), reason=f"not installed: {', '.join(missing())}"),
    pytest.mark.skipif(find_speaker() is None, reason="not installed: flite or espeak-ng"),
]

SPEECH_S = 0.5
"""Least sound that follows a tone where something is spoken."""


def answers_of(recorded: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    heard: npt.NDArray[np.float32] = soxr.resample(recorded[:, ANSWERS].mean(axis=1), SERVER_RATE, RATE)
    return heard


def places_of(name: Tone, heard: npt.NDArray[np.float32]) -> list[float]:
    """Return when a tone is sounded, in seconds, by its normalised correlation with the recording."""
    template = tone(name, RATE).astype(float)
    energy = np.convolve(heard.astype(float) ** 2, np.ones(len(template)), "valid")
    size = 1 << int(np.ceil(np.log2(len(heard) + len(template))))
    spectrum = np.fft.rfft(heard, size) * np.conj(np.fft.rfft(template, size))
    likeness = np.fft.irfft(spectrum, size)[: len(energy)]
    likeness /= np.sqrt(np.maximum(energy, 1e-3) * np.sum(template**2))
    found: list[float] = []
    for at in np.flatnonzero(likeness > 0.9) / RATE:
        if not found or at - found[-1] > 0.1:
            found.append(float(at))
    return found


def test_typed_lines_are_answered_by_ear(tmp_path: Path) -> None:
    """Of a pass, a defect, a doubt and nonsense each has its own tone, in order, and no other; the
    defect and the question are spoken after theirs."""
    lines = "tilt pump dry\ntilt pump dripping\ntilt pump dry\nsing a song\n"
    sheet = load_sheet(ROOT / "grammars" / "engine_bay.toml")
    cautions = len(sheet.cautions) + len(sheet.stops[0].cautions)
    command = [sys.executable, "-m", "voicelog.cli", "--data", str(tmp_path), "walk", "--plain", "--keyboard"]
    command += ["--unit", str(ROOT / "samples" / "engine_61.toml"), "--operator", "R. Alder"]
    with virtual_sound() as sound:
        environment = sound.environment | {"PYTHONPATH": str(ROOT)}
        walk = subprocess.Popen(
            [*command, "--read-back", "defects"], env=environment, stdin=subprocess.PIPE, text=True
        )
        assert walk.stdin is not None
        walk.stdin.write("affirmative\n" * cautions)
        walk.stdin.flush()
        time.sleep(10)  # for the program to start, and to fall silent
        recording = sound.record()
        time.sleep(1)
        for line in lines.splitlines():
            walk.stdin.write(line + "\n")
            walk.stdin.flush()
            time.sleep(4)
        walk.stdin.close()
        assert walk.wait(60) == 0
        heard = answers_of(recording.samples())
    sounded = sorted((at, name) for name in MEANINGS for at in places_of(name, heard))
    assert [name for _, name in sounded] == ["taken", "taken", "doubt", "not understood"], sounded
    (_, _), (defect_s, _), (doubt_s, _), _ = sounded
    for at in (defect_s, doubt_s):
        after = heard[round((at + 0.6) * RATE) : round((at + 3) * RATE)]
        assert np.count_nonzero(np.abs(after) > 0.01) > SPEECH_S * RATE / 4


@pytest.mark.parametrize("headset", [False, True])
def test_it_does_not_hear_itself(tmp_path: Path, headset: bool) -> None:
    """With a loudspeaker that the microphone hears, the cautions read aloud make no event.

    Told wrongly that it is a headset, it does hear itself: so the microphone did hear the voice.
    """
    with virtual_sound() as sound:
        sound.couple()
        recording = sound.record()
        with walking(sound, tmp_path / "data", headset=headset) as walk:
            walk.until("  next  ", 120)
            time.sleep(14)
            walk.process.terminate()
            walk.process.wait(timeout=60)
        heard = answers_of(recording.samples())
    assert np.count_nonzero(np.abs(heard) > 0.01) > RATE
    events, _ = stored_walk(tmp_path / "data")
    from_sound = [s.event for s in events if getattr(s.event, "heard", None) is not None]
    assert bool(from_sound) is headset, from_sound
    assert all(isinstance(event, NotUnderstood) for event in from_sound) or headset
