"""The microphone beside our own voice: nothing of ours is heard, and nothing cut passes for whole.

The sound is three lines of the recorded walk, spoken over the noise of an engine bay.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from voicelog.conduct import Conductor
from voicelog.feeding import conduct
from voicelog.hearing.audio import Block, blocks_from_file
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.recogniser import RATE, Decoding, Hypothesis, Utterance
from voicelog.paths import shipped
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit
from voicelog.voice.floor import TAIL_S, Floor
from voicelog.voice.listening import ListeningBesideVoice
from voicelog.walk.replies import Ear

TIMES = json.loads(shipped("samples", "engine_61_walk.times.json").read_text())["lines"]
FIRST = next(i for i, line in enumerate(TIMES) if line["say"] == "Wheel chocks in place and tight.")
BEGIN_S = TIMES[FIRST]["start_s"] - 2.0
"""Where in the recording the stream begins."""
SECOND_LINE = (TIMES[FIRST + 1]["start_s"] - BEGIN_S, TIMES[FIRST + 1]["end_s"] - BEGIN_S)
"""When "cab prop engaged" is said, in seconds of the stream."""
END_S = TIMES[FIRST + 2]["end_s"] - BEGIN_S + 0.6
ZERO = 1000.0
"""When the stream began, by the steady clock."""


@functools.cache
def blocks() -> tuple[Block, ...]:
    found: list[Block] = []
    for block in blocks_from_file(shipped("samples", "engine_61_walk.opus")):
        if block.start_s > BEGIN_S + END_S:
            break
        if block.start_s >= BEGIN_S:
            found.append(replace(block, start_s=len(found) * len(block.samples) / RATE))
    return tuple(found)


@functools.cache
def undisturbed() -> tuple[Utterance, ...]:
    return heard(Endpointer())


def heard(endpointer: Endpointer) -> tuple[Utterance, ...]:
    found = [utterance for block in blocks() for utterance in endpointer.accept(block)]
    return (*found, *endpointer.finish())


def beside_voice(from_s: float, to_s: float, *, headset: bool = False) -> tuple[Utterance, ...]:
    """Return what is heard when the voice may be heard from ``from_s`` to ``to_s``, its tail included."""
    floor = Floor()
    floor.voice_sounds(ZERO + from_s, ZERO + to_s - TAIL_S)
    return heard(ListeningBesideVoice(floor, lambda: ZERO, headset=headset))


def same(one: Utterance, other: Utterance) -> bool:
    return (one.start_s, one.complete) == (other.start_s, other.complete) and np.array_equal(
        one.samples, other.samples
    )


def all_same(some: tuple[Utterance, ...], others: tuple[Utterance, ...]) -> bool:
    return len(some) == len(others) and all(map(same, some, others))


def test_a_silent_voice_alters_nothing() -> None:
    """Three lines are heard, as without a voice."""
    assert len(undisturbed()) == 3
    assert all(utterance.complete for utterance in undisturbed())
    assert all_same(heard(ListeningBesideVoice(Floor(), lambda: ZERO)), undisturbed())


def test_what_is_said_over_the_voice_is_not_heard_and_time_goes_on() -> None:
    """The second line is lost, the third is heard where it was said."""
    first, _, third = undisturbed()
    found = beside_voice(SECOND_LINE[0] - 0.3, SECOND_LINE[1] + 0.2)
    assert [u.complete for u in found] == [True, True]
    assert same(found[0], first)
    assert found[1].start_s == pytest.approx(third.start_s, abs=0.1)


@pytest.mark.parametrize(
    ("from_s", "to_s"),
    [
        pytest.param(SECOND_LINE[0] - 0.5, SECOND_LINE[0] + 0.4, id="its beginning"),
        pytest.param(SECOND_LINE[0] + 0.5, SECOND_LINE[1] + 0.5, id="its end"),
        pytest.param(SECOND_LINE[0] + 0.4, SECOND_LINE[0] + 0.7, id="its middle"),
    ],
)
def test_a_line_that_the_voice_cut_is_never_whole(from_s: float, to_s: float) -> None:
    """Whatever is left of the second line says that it is not all; the others are untouched."""
    first, _, third = undisturbed()
    found = beside_voice(from_s, to_s)
    assert found[0].complete
    assert found[0].start_s == first.start_s
    assert found[-1].complete
    assert found[-1].start_s == pytest.approx(third.start_s, abs=0.1)
    left = found[1:-1]
    assert left
    assert not any(utterance.complete for utterance in left)


@pytest.mark.parametrize("length", [0.1, 0.4, 0.9, 1.6])
def test_what_is_whole_was_not_touched(length: float) -> None:
    """Wherever the voice sounds, an utterance given as whole begins and ends where it did without it.

    The third line has a pause in it: what comes after the pause is not whole by itself.
    """
    whole = 0
    for from_s in np.arange(3.4, 8.6, 0.2):
        for utterance in beside_voice(float(from_s), float(from_s) + length):
            if utterance.complete:
                whole += 1
                begins_s, ends_s = utterance.start_s + 0.3, utterance.end_s - 0.2
                assert not (begins_s < from_s + length and from_s < ends_s)
                # A moment's difference: the detector was given silence before it.
                assert any(
                    abs(utterance.start_s - other.start_s) < 0.15
                    and abs(utterance.end_s - other.end_s) < 0.15
                    for other in undisturbed()
                )
    assert whole > 26


def test_an_answer_at_once_is_whole_where_the_voice_is_not_heard() -> None:
    """If nothing like speech reached the microphone while the voice sounded, nothing can be lost."""
    # The noise between the first line and the second, without speech.
    found = beside_voice(4.4, SECOND_LINE[0] - 0.05)
    assert [utterance.complete for utterance in found] == [True, True, True]


def test_nothing_of_the_voice_is_in_an_utterance() -> None:
    """Where the voice sounded, an utterance holds silence."""
    from_s, to_s = SECOND_LINE[0] + 0.4, SECOND_LINE[0] + 0.7
    cut = beside_voice(from_s, to_s)[1]
    begin = round((from_s + 0.04 - cut.start_s) * RATE)
    end = round((min(to_s, cut.end_s) - 0.04 - cut.start_s) * RATE)
    assert not cut.samples[begin:end].any()
    assert cut.samples[: begin - RATE // 10].any()


def test_with_a_headset_everything_is_heard() -> None:
    """What is played does not reach the microphone, so nothing is left out."""
    assert all_same(beside_voice(0.0, 10.0, headset=True), undisturbed())


def test_in_a_recording_our_voice_is_not_heard() -> None:
    """A stream that began at no known time is heard whole."""
    floor = Floor()
    floor.voice_sounds(0.0, 5000.0)
    assert all_same(heard(ListeningBesideVoice(floor, lambda: None)), undisturbed())


def test_who_has_the_floor_is_told() -> None:
    """An utterance that opens and closes is told once each, and who has the floor with it."""
    floor, told = Floor(), list[bool]()
    floor.on_operator(told.append)
    heard(ListeningBesideVoice(floor, lambda: ZERO))
    assert told == [True, False] * 3
    assert not floor.operator_speaks


def test_when_the_voice_sounded_is_remembered_with_its_tail() -> None:
    """Blocks of a sentence make one stretch, with the tail after its end; others stay apart."""
    floor = Floor(tail_s=0.3)
    for begin in (10.0, 10.1, 10.2):
        floor.voice_sounds(begin, begin + 0.1)
    floor.voice_sounds(12.0, 12.5)
    ours = [floor.is_voice(at, at + 0.01) for at in (9.9, 10.0, 10.59, 10.61, 11.9, 12.79, 12.81)]
    assert ours == [False, True, True, False, False, True, False]


class Hears:
    """Hears the same pass in everything."""

    name, model_sha256 = "hears", "a" * 64

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        return Decoding((Hypothesis(("cab", "prop", "engaged"), -1.0, 1.0),), 0.0, "cab prop engaged", 0.0)

    def dictate(self, utterance: Utterance) -> str:
        return ""


@pytest.mark.parametrize(("from_s", "passes"), [(0.0, True), (SECOND_LINE[0] - 0.4, False)])
def test_half_a_line_makes_no_pass(
    from_s: float,
    passes: bool,
    tmp_path: Path,
    engine_bay: Sheet,
    engine_61: Unit,
    clock: Callable[[], datetime],
) -> None:
    """A pass heard in what the voice left of a line is asked about: a "not" may have been lost."""
    second = [block for block in blocks() if 4.0 < block.start_s < 7.0]
    with Store.open(tmp_path, clock=clock) as store:
        conductor = Conductor(store, engine_bay, engine_61, Hears(), clock=clock)
        conductor.begin("R. Alder")
        floor = Floor()
        floor.voice_sounds(ZERO + from_s, ZERO + from_s + 0.5)
        conduct(conductor, second, ListeningBesideVoice(floor, lambda: ZERO), lambda update: None)
        entry = next(iter(conductor.state.entries.values()))
    assert entry.in_doubt is not passes
    assert [d.reason for d in entry.logged.doubts] == ([] if passes else ["the sound broke off"])


@pytest.mark.parametrize("headset", [False, True])
def test_while_the_voice_sounds_the_ear_says_so(
    headset: bool, tmp_path: Path, engine_bay: Sheet, engine_61: Unit, clock: Callable[[], datetime]
) -> None:
    """It does not claim to listen while it is deaf; with a headset it hears all the time."""
    told = list[tuple[float, Ear]]()
    with Store.open(tmp_path, clock=clock) as store:
        conductor = Conductor(store, engine_bay, engine_61, Hears(), clock=clock)
        conductor.begin("R. Alder")
        floor = Floor()
        floor.voice_sounds(ZERO + 0.2, ZERO + 1.0 - TAIL_S)
        beginning = [block for block in blocks() if block.start_s < 1.5]
        endpointer = ListeningBesideVoice(floor, lambda: ZERO, headset=headset)
        conduct(
            conductor,
            beginning,
            endpointer,
            lambda update: told.append((update.position_s, update.ear)),
            update_every_s=0.01,
        )
    during = {ear for at, ear in told if 0.25 < at < 0.9}
    outside = {ear for at, ear in told if at < 0.1 or 1.05 < at < 1.45}
    assert during == ({"listening"} if headset else {"speaking"})
    assert outside == {"listening"}
