"""A walk that is killed at any moment loses nothing that it acknowledged, and can be taken up.

Ten times as many kills, and kills of the real engine, are in ``tests/benchmarks/kill_walk.py``.
"""

from __future__ import annotations

import re
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest

from tests.dictating import Dictated
from tests.faults.acknowledged import kept, taken_up
from tests.faults.dictating_until_killed import REMARK
from tests.faults.making import BAY, ROOT, kinds
from voicelog.conduct import Conductor
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.events import DoubtSettled, WalkResumed

Clock = Callable[[], datetime]
RUNS = 6


def test_six_killed_walks_keep_all_they_acknowledged_and_are_taken_up() -> None:
    """Six walks killed with SIGKILL at seeded moments lose no acknowledged line, and each is taken up."""
    command = [sys.executable, "-m", "tests.benchmarks.kill_walk", "--fast", "--runs", str(RUNS)]
    limits = ["--sheet", str(BAY), "--moments", "0.05", "1.2", "--seed", "610"]
    ran = subprocess.run([*command, *limits], cwd=ROOT, capture_output=True, text=True, timeout=120)
    sums = re.search(
        r"runs (\d+), acknowledged (\d+), lost (\d+), resumed (\d+), begun anew (\d+)", ran.stdout
    )
    assert ran.returncode == 0 and sums, ran.stdout + ran.stderr
    runs, acknowledged, lost, resumed, anew = map(int, sums.groups())
    assert (runs, lost) == (RUNS, 0)
    assert resumed + anew == RUNS and resumed >= 3, ran.stdout
    assert acknowledged >= 2 * RUNS


def test_the_check_itself_finds_a_lost_line(store: Store, bay: Sheet, engine_61: Unit, clock: Clock) -> None:
    """A line that acknowledges what the record does not hold is told as lost, one with its event is not."""
    conductor = Conductor(store, bay, engine_61, None, clock=clock)
    conductor.begin("R. Alder")
    conductor.typed("fan belt chafed")
    at = f"{store.events(conductor.walk_id)[-1].at:%H:%M:%S}"
    true = f"{at}  taken           fan belt chafed"
    assert kept(store, conductor.walk_id, bay, [true]).lost == ()
    for false in (true.replace("chafed", "tight"), true.replace("taken", "doubt"), "23:59:59" + true[8:]):
        assert len(kept(store, conductor.walk_id, bay, [false]).lost) == 1, false
    assert len(kept(store, conductor.walk_id, bay, [true, true]).lost) == 1
    first, *_, last = store.events(conductor.walk_id)
    assert taken_up([first], [replace(first, hash="0" * 64), last], bay, []) != ""
    assert taken_up([first], [first, last], bay, []) != ""


def test_a_walk_killed_between_its_first_two_events_is_taken_up(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """A walk of which only its start was kept is taken up at the first stop, and takes entries there."""
    whole = Conductor(store, bay, engine_61, None, clock=clock)
    whole.begin("R. Alder")
    start = store.events(whole.walk_id)[0].event
    store.append("cut-short", [start])
    conductor = Conductor(store, bay, engine_61, None, clock=clock)
    update = conductor.resume("cut-short", "R. Alder")
    assert update.state.stop_id == bay.stops[0].id
    assert kinds(conductor.typed("left lift cylinder dry")) == ["taken"]
    assert store.verify("cut-short") == ()


@pytest.mark.parametrize(("said", "ear"), [("remark", "listening"), ("stand by", "standing by")])
def test_a_walk_killed_while_not_listening_says_whether_it_listens(
    said: str, ear: str, store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """A walk that ended in a remark is taken up listening; one that stood by still does, until "resume"."""
    killed = Conductor(store, bay, engine_61, None, clock=clock)
    killed.begin("R. Alder")
    killed.typed(said)
    conductor = Conductor(store, bay, engine_61, None, clock=clock)
    update = conductor.resume(killed.walk_id, "M. Ruiz")
    assert update.ear == ear and update.replies[0].text.startswith("walk resumed: ")
    if ear == "standing by":
        assert "say resume" in update.replies[0].text
        assert conductor.typed("resume").ear == "listening"
    assert kinds(conductor.typed("fan belt chafed")) == ["taken"]
    resumed = [s.event for s in store.events(killed.walk_id) if isinstance(s.event, WalkResumed)]
    assert [event.operator for event in resumed] == ["M. Ruiz"]


def test_an_open_question_is_still_open_after_a_kill(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """A question that was not answered before the kill can be answered after it."""
    killed = Conductor(store, bay, engine_61, None, clock=clock)
    killed.begin("R. Alder")
    killed.typed("fan belt chafed")
    assert kinds(killed.typed("fan belt intact")) == ["doubt"]
    conductor = Conductor(store, bay, engine_61, None, clock=clock)
    assert len(conductor.resume(killed.walk_id, "R. Alder").state.doubts()) == 1
    assert kinds(conductor.typed("intact")) == ["taken"]
    assert isinstance(store.events(killed.walk_id)[-1].event, DoubtSettled)
    assert conductor.state.doubts() == ()


def test_a_remark_killed_in_its_transcription_gets_its_words_when_the_walk_is_taken_up(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """SIGKILL while the words are made: the sound is there, and resuming the walk makes them."""
    killed = subprocess.Popen(
        [sys.executable, "-m", "tests.faults.dictating_until_killed", str(store.folder)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert killed.stdout is not None and killed.stdout.readline() == "dictating\n"
    killed.kill()
    assert killed.wait(10) == -signal.SIGKILL
    (walk,) = store.walks()
    ear = Dictated(REMARK)
    conductor = Conductor(store, bay, engine_61, ear, clock=clock)
    ((_, kept_sound),) = conductor.resume(walk.walk, "R. Alder").state.remarks
    assert not kept_sound.transcribed and store.clip(kept_sound.heard.clip or "")
    conductor.write_out()
    ((_, remark),) = conductor.state.remarks
    assert remark.transcribed and remark.heard.text == REMARK[10]
    assert store.verify_all() == ()
