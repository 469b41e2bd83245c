"""What could not be committed is told as trouble, and never acknowledged."""

from __future__ import annotations

import json
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from itertools import takewhile
from pathlib import Path

import numpy as np
import pytest

from tests.dictating import Dictated
from tests.faults.making import BAY, ROOT, UNIT, Listed, kinds
from voicelog.conduct import Conductor
from voicelog.errors import AudioError, RecordError
from voicelog.feeding import conduct
from voicelog.hearing.audio import Block, blocks_from_file
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.engines import Engines
from voicelog.hearing.recogniser import RATE, Samples, Utterance
from voicelog.records.store import Store
from voicelog.running import Source, run_walk
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.events import EntryLogged, RemarkLogged, RemarkTranscribed
from voicelog.walk.remarks import words_of
from voicelog.walk.replies import Update

Clock = Callable[[], datetime]


@contextmanager
def held_by_another(store: Store) -> Iterator[None]:
    """Keep the only right to write the record elsewhere."""
    with closing(sqlite3.connect(store.folder / "voicelog.db", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield
        other.rollback()


def said(number: int) -> Utterance:
    """Return half a second of noise."""
    samples = np.random.default_rng(number).normal(0, 0.05, RATE // 2).astype(np.float32)
    return Utterance(samples, float(number))


def test_an_entry_that_cannot_be_written_is_trouble_and_can_be_said_again(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """While another program holds the record nothing is acknowledged; said again later, it is logged once."""
    conductor = Conductor(store, bay, engine_61, Listed(*["fan belt chafed"] * 2), clock=clock)
    conductor.begin("R. Alder")
    with held_by_another(store):
        update = conductor.hear(said(1))
        assert kinds(update) == ["trouble"]
        assert "not logged" in update.replies[0].text and ".." not in update.replies[0].text
        assert update.state.entries == {}
    assert kinds(conductor.hear(said(2))) == ["taken"]
    logged = [s.event for s in store.events(conductor.walk_id) if isinstance(s.event, EntryLogged)]
    assert [event.entry_id for event in logged] == ["e1"]
    assert store.verify_all() == ()


def test_a_remark_that_cannot_be_written_is_not_answered_as_ended(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """A remark that was not kept is told as trouble, and the remark is still open to be said again."""
    ear = Dictated({0: "remark", 10: "clamp looks new, end of remark"})
    conductor = Conductor(store, bay, engine_61, ear, clock=clock)
    conductor.begin("R. Alder")
    conductor.hear(ear.said(0, 1.0))
    with held_by_another(store):
        assert kinds(conductor.hear(ear.said(10))) == ["trouble"]
    assert conductor.ear == "taking a remark" and conductor.dictation.owes is False


def test_a_transcript_that_cannot_be_written_is_told_and_made_later(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """The sound is kept and its words are not: that is said, and they are made when the walk is taken up."""
    ear = Dictated({0: "remark", 10: "clamp looks new, end of remark", 20: "fan belt chafed"})
    conductor = Conductor(store, bay, engine_61, ear, clock=clock)
    conductor.begin("R. Alder")
    conductor.hear(ear.said(0, 1.0))
    conductor.hear(ear.said(10))
    with held_by_another(store):
        update = conductor.write_out()
    told = update.replies if update is not None else ()
    assert [reply.kind for reply in told] == ["answer"] and "the sound is kept" in told[0].text
    assert kinds(conductor.hear(ear.said(20))) == ["taken"]
    ((_, remark),) = conductor.state.remarks
    assert remark.heard.clip and words_of(remark) == "no transcript yet; the sound is the original"
    resumed = Conductor(store, bay, engine_61, ear, clock=clock)
    assert resumed.resume(conductor.walk_id, "R. Alder").state.remarks[-1][1] == remark
    resumed.write_out()
    sound, words = (
        s.event
        for s in store.events(conductor.walk_id)
        if isinstance(s.event, RemarkLogged | RemarkTranscribed)
    )
    assert isinstance(sound, RemarkLogged) and sound.heard.clip and not sound.heard.text
    assert isinstance(words, RemarkTranscribed) and (words.text, words.by) == ("clamp looks new", ear.name)
    assert store.verify_all() == ()


@pytest.mark.parametrize(
    "error", [RuntimeError("the engine fell over"), RecordError("The clip is gone.", where="", remedy="")]
)
def test_an_engine_that_fails_at_dictation_costs_the_words_alone(
    error: Exception, store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """Whatever the engine raises is told, and the walk goes on with the next phrase."""

    class Fails(Dictated):
        def dictate(self, utterance: Utterance) -> str:
            raise error

    ear = Fails({0: "remark", 10: "clamp looks new, end of remark", 20: "fan belt chafed"})
    conductor = Conductor(store, bay, engine_61, ear, clock=clock)
    conductor.begin("R. Alder")
    for at_s in (0, 10):
        conductor.hear(ear.said(at_s, 1.0 if at_s == 0 else 3.0))
    update = conductor.write_out()
    assert update is not None and "the sound is kept" in update.replies[0].text
    assert kinds(conductor.hear(ear.said(20))) == ["taken"]


@pytest.mark.parametrize("ends", [KeyboardInterrupt(), AudioError("the microphone is lost")])
def test_what_was_being_said_when_the_sound_broke_off_is_kept(
    ends: BaseException, store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """Ctrl-C or a lost microphone in the middle of speech: what was heard of it is logged before the end."""
    speech = _broken_off_speech()
    conductor = Conductor(store, bay, engine_61, Listed("fan belt chafed"), clock=clock)
    conductor.begin("R. Alder")
    shown: list[Update] = []

    def blocks() -> Iterator[Block]:
        for at in range(0, len(speech), 512):
            yield Block(speech[at : at + 512], at / RATE)
        raise ends

    with pytest.raises(type(ends)):
        conduct(conductor, blocks(), Endpointer(), shown.append)
    assert [kinds(update) for update in shown if update.replies] == [["taken"]]
    assert isinstance(store.events(conductor.walk_id)[-1].event, EntryLogged)
    assert store.verify_all() == ()


def _broken_off_speech() -> Samples:
    """Return the recorded walk up to the middle of the first words."""
    first = json.loads((ROOT / "samples" / "engine_61_walk.times.json").read_text())["lines"][0]
    middle = (first["start_s"] + first["end_s"]) / 2
    blocks = blocks_from_file(ROOT / "samples" / "engine_61_walk.opus")
    return np.concatenate([b.samples for b in takewhile(lambda b: b.start_s < middle, blocks)])


class _Typing:
    """Standard input that does something before it gives a line."""

    def __init__(self, before: Callable[[], None], line: str) -> None:
        self._before, self._line = before, line

    def __iter__(self) -> Iterator[str]:
        self._before()
        yield self._line


@pytest.mark.parametrize("taken_up", [False, True])
def test_one_walk_is_not_made_in_two_windows(
    taken_up: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A walk that is open in one window, just begun or taken up, is refused to a second one."""

    def window() -> int:
        return run_walk(
            tmp_path,
            unit_path=UNIT,
            sheet_path=BAY,
            operator="R. Alder",
            source=Source(keyboard=True),
            plain=True,
            engines=Engines(),
            always_new=False,
        )

    def second() -> None:
        with pytest.raises(RecordError, match="open in another window"):
            window()

    if taken_up:
        monkeypatch.setattr(sys, "stdin", _Typing(lambda: None, "where am i"))
        window()
    monkeypatch.setattr(sys, "stdin", _Typing(second, "lift cylinder dry"))
    assert window() == 0
    assert capsys.readouterr().out.count("  taken ") <= 1
