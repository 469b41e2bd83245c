"""Voices: found or not, and what becomes of a program that fails."""

from __future__ import annotations

import stat
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.voices import available_voices
from voicelog.errors import AudioError
from voicelog.voice import synthesis
from voicelog.voice.synthesis import Espeak, Flite, Speaker, find_speaker

INSTALLED: list[Speaker] = [
    *([Flite()] if "rms" in available_voices() else []),
    *([Espeak()] if "en-us" in available_voices() else []),
]
VOICES = """\
Pty Language       Age/Gender VoiceName          File                 Other Languages
 5  es-419          --/M      Spanish_(Latin_America) roa/es-419      (es-mx 6)
 5  es              --/M      Spanish_(Spain)    roa/es
 5  ko              --/M      Korean             ko
 9  en              --/M      en-korean          mb/mb-kr1-en
"""


def program(folder: Path, name: str, script: str) -> None:
    """Put a program of this name, and no other, on the path."""
    path = folder / name
    path.write_text(f"#!/bin/sh\n{script}\n")
    path.chmod(path.stat().st_mode | stat.S_IEXEC)


@pytest.fixture
def programs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("PATH", f"{tmp_path}")
    synthesis._espeak_voice.cache_clear()
    return tmp_path


@pytest.mark.skipif(not INSTALLED, reason="not installed: flite, espeak-ng")
@pytest.mark.parametrize("speaker", INSTALLED, ids=lambda s: s.name)
def test_what_is_spoken(speaker: Speaker) -> None:
    """A sentence is sound of its length, at one loudness, and not held up by silence before it."""
    samples, rate = speaker.speak("left lift cylinder dripping")
    sounding = np.flatnonzero(np.abs(samples) > 0.02)
    assert 1.0 < len(samples) / rate < 3.0
    assert sounding[0] / rate < 0.1 and (len(samples) - sounding[-1]) / rate < 0.3
    assert 0.05 < np.sqrt(np.mean(samples**2)) < 0.2
    assert np.abs(samples).max() <= 0.95


@pytest.mark.skipif(not INSTALLED, reason="not installed: flite, espeak-ng")
@pytest.mark.parametrize("speaker", INSTALLED, ids=lambda s: s.name)
@pytest.mark.parametrize("words", ["p s i", "left or right?", "wheel's chock, tight. really"])
def test_more_words_take_longer(speaker: Speaker, words: str) -> None:
    """All of the words are spoken, not only those before a mark."""
    short, rate = speaker.speak(words)
    longer, _ = speaker.speak(f"{words} on the left front corner")
    assert len(longer) > len(short) + 0.5 * rate


def test_nothing_installed(programs: Path) -> None:
    """Without a program there is no voice, in any language."""
    assert find_speaker("English") is None
    assert find_speaker("Korean") is None


def test_flite_is_taken_first_and_speaks_english_alone(programs: Path) -> None:
    """English is flite's if it is there; other languages are espeak-ng's, by their English names."""
    program(programs, "espeak-ng", f"/bin/cat <<'END'\n{VOICES}END")
    assert find_speaker("English") == Espeak("en-us")
    program(programs, "flite", "exit 0")
    assert find_speaker("English") == Flite()
    assert find_speaker("Korean") == Espeak("ko")
    assert find_speaker("Spanish") == Espeak("es")
    assert find_speaker("Welsh") is None


@pytest.mark.parametrize(
    ("script", "told"),
    [
        ("echo no such voice >&2; exit 3", "no such voice"),
        ("exit 3", "exit code 3"),
        ("exit 0", "no sound"),
        ("echo words", "no sound"),
    ],
)
def test_a_program_that_fails(programs: Path, script: str, told: str) -> None:
    """What went wrong is told in one sentence, with what to do."""
    program(programs, "espeak-ng", script)
    program(programs, "flite", script)
    for speaker in (Espeak(), Flite()):
        with pytest.raises(AudioError, match="could not speak") as failed:
            speaker.speak("words")
        assert told in str(failed.value)
        assert failed.value.remedy
