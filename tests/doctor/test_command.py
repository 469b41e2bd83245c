"""``voicelog doctor`` and ``voicelog devices`` as a user meets them."""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.faults.making import SAID, TYPED, Listed, command
from tests.hearing.fake_portaudio import FakePortAudio
from voicelog.doctor import probes
from voicelog.errors import ModelError
from voicelog.hearing.audio import Block
from voicelog.hearing.microphone import Microphone
from voicelog.hearing.recogniser import RATE, Decoding, Hypothesis, Recogniser, Utterance
from voicelog.phrases.graph import PhraseGraph

HISS = np.random.default_rng(2).normal(0, 0.003, 512).astype(np.float32)


@pytest.fixture
def audio(monkeypatch: pytest.MonkeyPatch) -> FakePortAudio:
    fake = FakePortAudio()
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    monkeypatch.setitem(sys.modules, "pulsectl", None)
    return fake


def gives(monkeypatch: pytest.MonkeyPatch, block: np.ndarray) -> None:
    """Have every microphone give this block again and again."""

    def take(self: Microphone) -> list[Block]:
        found = Block(block, next(times))
        return [found]

    times: Iterator[float] = iter(n * len(block) / RATE for n in range(10**6))
    monkeypatch.setattr(Microphone, "take", take)


class Hearing(Listed):
    """Hears one phrase, in half the time it took to say."""

    def __init__(self, phrase: str) -> None:
        super().__init__()
        self._phrase = phrase

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        words = tuple(self._phrase.split())
        return Decoding((Hypothesis(words, 0.0, 1.0),), 0.0, self._phrase, 0.0, audio_s=2.0, decode_s=1.0)


def engine(monkeypatch: pytest.MonkeyPatch, made: Callable[[], Recogniser]) -> None:
    monkeypatch.setattr("voicelog.hearing.engines.make_recogniser", lambda engines: made())


def test_a_machine_that_is_ready(
    tmp_path: Path, audio: FakePortAudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every check is told by a line, nothing is left behind, and the exit code is 0."""
    gives(monkeypatch, HISS)
    engine(monkeypatch, lambda: Hearing("wheel chocks in place and tight"))
    result = command("--data", tmp_path / "data", "doctor")
    assert result.exit_code == 0, result.output
    names = (
        "disk",
        "memory",
        "record",
        "clock",
        "model",
        "speed",
        "PortAudio",
        "sound output",
        "voice",
        "microphone",
    )
    assert all(f" {name}: " in result.output for name in (*names, "microphone level"))
    assert result.output.splitlines()[-1] == "ready for a walk"
    assert not (tmp_path / "data").exists()


def _no_model() -> Recogniser:
    raise ModelError(
        "there is no model folder here", where="/models/x", remedy="give the folder that holds it"
    )


def test_what_must_be_mended_is_counted_and_said_how(
    tmp_path: Path, audio: FakePortAudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A missing model and a muted microphone: two to fix, each with what to do, and exit code 1."""
    gives(monkeypatch, HISS * 0)
    engine(monkeypatch, _no_model)
    result = command("--data", tmp_path, "doctor")
    assert result.exit_code == 1
    assert "fix   model: there is no model folder here (/models/x)" in result.output
    assert "fix   microphone level: nothing but digital silence" in result.output
    assert result.output.count("What to do: ") >= 2
    assert result.output.splitlines()[-1] == "2 to fix before a walk by voice"


def test_a_model_that_hears_something_else_is_found(
    tmp_path: Path, audio: FakePortAudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A model that loads and hears wrong is no model to walk with."""
    gives(monkeypatch, HISS)
    engine(monkeypatch, lambda: Hearing("cab prop missing"))
    result = command("--data", tmp_path, "doctor")
    assert result.exit_code == 1 and 'was heard as "cab prop missing"' in result.output


def test_no_microphone_and_no_output_are_told(
    tmp_path: Path, audio: FakePortAudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a microphone there is no walk by voice; without an output there is, on the screen."""
    audio.table = []
    engine(monkeypatch, lambda: Hearing("wheel chocks in place and tight"))
    result = command("--data", tmp_path, "doctor")
    assert result.exit_code == 1
    assert "look  sound output: nothing can be played" in result.output
    assert "fix   microphone: the microphone cannot be opened" in result.output


def test_what_is_said_is_shown(tmp_path: Path, audio: FakePortAudio, monkeypatch: pytest.MonkeyPatch) -> None:
    """With --say it asks for a phrase and shows what was heard of it."""
    walk = np.concatenate([block.samples for block in probes.clip()])
    given: list[Block] = [Block(walk[n : n + 512], n / RATE) for n in range(0, len(walk) - 512, 512)]
    taken: list[int] = []

    def take(self: Microphone) -> list[Block]:
        taken.append(1)
        return [given[len(taken) % len(given)]]

    monkeypatch.setattr(Microphone, "take", take)
    engine(monkeypatch, lambda: Hearing("wheel chocks in place and tight"))
    result = command("--data", tmp_path, "doctor", "--say")
    assert "say: wheel chocks in place and tight" in result.output
    assert 'heard: "wheel chocks in place and tight"' in result.output
    assert "speech level: speech" in result.output
    assert result.exit_code == 0, result.output


@pytest.mark.usefixtures("audio")
def test_devices_are_listed_and_tested(monkeypatch: pytest.MonkeyPatch) -> None:
    """A device by a part of its name is listened to and judged; exit code 1 where it cannot be used."""
    assert command("devices").output.splitlines() == [
        "0: built-in, 44100 Hz (default)",
        "2: headset (hw:1,0), 48000 Hz",
    ]
    gives(monkeypatch, HISS)
    result = command("devices", "--test", "headset")
    assert result.exit_code == 0 and "good  microphone: headset, 48000 Hz" in result.output
    gives(monkeypatch, HISS * 0)
    assert command("devices", "--test", "headset").exit_code == 1
    result = command("devices", "--test", "walkie")
    assert result.exit_code == 1 and "walkie" in result.output


# the record ---------------------------------------------------------------------------------


def test_a_record_is_looked_at(tmp_path: Path) -> None:
    """None yet, whole, locked by another program, altered: each has its verdict, and is left as it is."""

    def now() -> datetime:
        return datetime.now(UTC)

    assert probes.records(tmp_path / "none", now)[0].verdict == "good"
    command("--data", tmp_path, *TYPED, typed=SAID)
    finding, newest = probes.records(tmp_path, now)
    assert finding.verdict == "good" and newest is not None and newest <= now()
    with closing(sqlite3.connect(tmp_path / "voicelog.db", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        finding, _ = probes.records(tmp_path, now)
        assert finding.verdict == "fix" and "Another program" in finding.what and finding.remedy
        other.rollback()
        for (guard,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f'DROP TRIGGER "{guard}"')
        other.execute("UPDATE events SET body = replace(body, 'dripping', 'dry')")
    finding, _ = probes.records(tmp_path, now)
    assert finding.verdict == "fix" and "not whole" in finding.what and "backup" in finding.remedy


def test_a_folder_that_cannot_be_written_is_found(tmp_path: Path) -> None:
    """A file where the folder should be."""
    (tmp_path / "data").write_text("a file")
    assert probes.disk(tmp_path / "data").verdict == "fix"
    assert probes.disk(tmp_path / "new" / "data").verdict in ("good", "look")
    assert list(tmp_path.iterdir()) == [tmp_path / "data"]
