"""A microphone that drops out: told, shown, recorded; the walk waits, typing works, and it goes on."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import takewhile

import numpy as np
import pytest

from tests.faults.making import ROOT, Listed, kinds
from voicelog.conduct import Conductor
from voicelog.feeding import conduct
from voicelog.hearing.audio import Block, blocks_from_file
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.notices import Back, LossReason, Lost, Missed, Notice, Silent, StreamSummary, Waiting
from voicelog.hearing.recogniser import RATE, Utterance
from voicelog.records.chain import Stored
from voicelog.records.store import Store
from voicelog.reports.contents import report_contents
from voicelog.screens.plain import PlainView
from voicelog.screens.review_plain import review_lines
from voicelog.screens.walk_facts import recorder
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.events import EntryLogged, SoundBack, SoundLost, SoundMissed, StreamEnded
from voicelog.walk.replies import Update

Clock = Callable[[], datetime]


def spoken(until_s: float) -> list[Block]:
    """The beginning of the recorded walk."""
    blocks = blocks_from_file(ROOT / "samples" / "engine_61_walk.opus")
    return list(takewhile(lambda block: block.start_s < until_s, blocks))


def made(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock, *phrases: str
) -> tuple[Conductor, list[Update]]:
    conductor = Conductor(store, bay, engine_61, Listed(*phrases), clock=clock)
    return conductor, [conductor.begin("R. Alder", "microphone")]


def stored(store: Store, conductor: Conductor) -> list[Stored]:
    assert store.verify_all() == ()
    return list(store.events(conductor.walk_id))


def test_the_walk_waits_and_goes_on(store: Store, bay: Sheet, engine_61: Unit, clock: Clock) -> None:
    """Lost in the middle of speech: what was heard is logged, the loss is told and shown, typing works,
    and when the microphone is back it says so and where the walk stands."""
    conductor, shown = made(store, bay, engine_61, clock, *["fan belt chafed"] * 6)
    speech = spoken(8.0)
    end_s = speech[-1].start_s + 0.032

    def sounds() -> Iterator[Block | Notice]:
        yield from speech
        yield Lost("it was disconnected", end_s)
        assert recorder(shown[-1]) == "no microphone" and conductor.ear == "no microphone"
        shown.append(conductor.typed("left lift cylinder dripping"))
        yield Waiting(end_s)
        assert recorder(shown[-1]) == "no microphone"
        yield Back(end_s + 4.0, 4.0)
        assert recorder(shown[-1]) == "recording"
        yield from (Block(block.samples, block.start_s + end_s + 4.0) for block in speech)

    conduct(conductor, sounds(), Endpointer(), shown.append)
    said = [reply.text for update in shown for reply in update.replies if reply.kind != "caution"]
    lost = said.index("microphone lost: it was disconnected; the walk waits")
    back = next(n for n, text in enumerate(said) if text.startswith("microphone back; "))
    assert lost < back and "left lift cylinder" in said[back - 1]
    assert "1 of" in said[back] or bay.stops[0].name.lower() in said[back].lower()
    events = [s.event for s in stored(store, conductor)]
    of_sound = [e for e in events if isinstance(e, SoundLost | SoundBack)]
    assert of_sound == [
        SoundLost(reason="it was disconnected", at_s=round(end_s, 3)),
        SoundBack(at_s=round(end_s + 4.0, 3), seconds=4.0),
    ]
    starts = [e.heard.start_s for e in events if isinstance(e, EntryLogged) and e.heard.how == "speech"]
    assert starts == sorted(starts) and starts[-1] is not None and starts[-1] > end_s + 4.0
    assert conductor.refused_by_record == 0


@pytest.mark.parametrize(
    ("reason", "began_s", "heard"),
    [
        ("it was disconnected", 8.0, [True]),
        ("no sound comes", 9.5, [True]),
        ("another source took its place", 8.0, [False]),
        ("another source took its place", 9.5, []),
    ],
)
def test_what_may_be_of_another_source_is_never_whole(
    reason: LossReason,
    began_s: float,
    heard: list[bool],
    store: Store,
    bay: Sheet,
    engine_61: Unit,
    clock: Clock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The other source may have given the end of what seems said, so it must not pass without a doubt; what
    began half a second before the loss may be our own voice, and is not heard at all."""
    conductor, shown = made(store, bay, engine_61, clock, "fan belt chafed")
    found: list[bool] = []

    def hear(utterance: Utterance) -> Update:
        found.append(utterance.complete)
        return shown[0]

    monkeypatch.setattr(conductor, "hear", hear)
    endpointer = Endpointer()
    said = [Utterance(np.zeros(round((10.0 - began_s) * RATE), np.float32), began_s)]
    monkeypatch.setattr(endpointer, "finish", lambda: [said.pop()] if said else [])
    conduct(conductor, iter([Lost(reason, 10.0)]), endpointer, shown.append)
    assert found == heard


def test_a_walk_can_be_finished_by_typing_while_the_microphone_is_gone(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """The source is let go as soon as the walk is complete; nothing waits for a microphone."""
    conductor, shown = made(store, bay, engine_61, clock)

    def sounds() -> Iterator[Notice]:
        yield Lost("no sound comes", 1.0)
        conductor.typed("walk complete")
        yield Waiting(1.0)
        raise AssertionError("was asked for more")

    conduct(conductor, sounds(), Endpointer(), shown.append)
    assert conductor.state.finished is not None
    assert recorder(shown[-1]) == "stopped"


def test_missed_sound_is_told_and_recorded(store: Store, bay: Sheet, engine_61: Unit, clock: Clock) -> None:
    """An overrun is trouble on the screen, an event in the record, and does not end the walk."""
    conductor, shown = made(store, bay, engine_61, clock)
    conduct(conductor, iter([Missed(5.0, 0.32, 3)]), Endpointer(), shown.append)
    assert kinds(shown[-1]) == ["trouble"] and "missed" in shown[-1].replies[0].text
    assert stored(store, conductor)[-1].event == SoundMissed(at_s=5.0, seconds=0.32, times=3)
    assert conductor.ear == "listening"


def test_a_muted_microphone_is_told_unless_nothing_is_wanted_of_it(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """Zeros alone are told as trouble; while standing by they are nobody's business."""
    conductor, _ = made(store, bay, engine_61, clock)
    assert kinds(conductor.notice(Silent(20.0, 10.0))) == ["trouble"]
    conductor.command("stand by")
    assert kinds(conductor.notice(Silent(40.0, 20.0))) == []


def test_the_officer_and_the_shop_see_when_nothing_was_heard(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """Loss, overruns and a clock that ran off are named in the review and in the report, and in lines."""
    conductor, shown = made(store, bay, engine_61, clock)
    shown += [
        conductor.notice(notice)
        for notice in (Lost("no sound comes", 61.0), Back(73.0, 12.0), Missed(80.0, 0.5, 2))
    ]
    shown.append(conductor.typed("walk complete"))
    conductor.stream_ended(StreamSummary(3600.0, 12.0, 0.5, 2, -0.36))
    told = [
        "The microphone was lost at 07:00:03: no sound comes. From there on nothing was heard.",
        "The microphone was back at 07:00:04, after 12 s.",
        "Sound was missed 2 times before 07:00:05, at least 0.5 s in all.",
        "The microphone's clock ran 0.36 s fast in 60 min; the times here have been put right.",
    ]
    events = stored(store, conductor)
    assert isinstance(events[-1].event, StreamEnded)
    lines = review_lines(conductor.state)
    assert [line for line in lines if line.startswith(("The microphone", "Sound"))] == told
    assert "microphone lost once" in lines[1] and "sound missed 2 times" in lines[1]
    contents = report_contents(conductor.state, walk_id=conductor.walk_id, problems=(), head=events[-1].hash)
    assert contents.integrity.notes == tuple(told)
    out = io.StringIO()
    view = PlainView(out)
    for update in shown:
        view.show(update)
    printed = out.getvalue()
    assert "microphone lost: no sound comes; the walk waits" in printed
    assert "recorder        no microphone" in printed and "microphone back; " in printed


def test_a_walk_taken_up_after_a_loss_listens(
    store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """The program was ended while the microphone was gone: the walk is taken up with the new one."""
    conductor, _ = made(store, bay, engine_61, clock)
    conductor.notice(Lost("no sound comes", 1.0))
    again = Conductor(store, bay, engine_61, Listed(), clock=clock)
    again.resume(conductor.walk_id, "R. Alder")
    assert again.ear == "listening"


@pytest.mark.parametrize("notice", [Lost("no sound comes", 1.0), Missed(5.0, 0.3, 1)])
def test_nothing_is_added_to_a_walk_that_is_complete(
    notice: Notice, store: Store, bay: Sheet, engine_61: Unit, clock: Clock
) -> None:
    """What befalls the microphone after the walk is no part of it."""
    conductor, _ = made(store, bay, engine_61, clock)
    conductor.typed("walk complete")
    before = len(stored(store, conductor))
    assert kinds(conductor.notice(notice)) == []
    assert len(stored(store, conductor)) == before
