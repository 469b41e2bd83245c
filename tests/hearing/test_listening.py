"""A microphone that drops out is waited for, and the walk is told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from tests.hearing.fake_portaudio import SteadyClock
from voicelog.errors import AudioError
from voicelog.hearing.audio import Block
from voicelog.hearing.listening import LOOK_AGAIN_EVERY, RETRY_S, SILENT_AFTER_S, Device, Listening, Sound
from voicelog.hearing.microphone import Microphone, MicrophoneLost
from voicelog.hearing.notices import Back, LossReason, Lost, Missed, Silent, Waiting
from voicelog.hearing.recogniser import RATE
from voicelog.hearing.sound_server import ServerSource

HUM = np.full(RATE // 10, 0.01, np.float32)


class ScriptedMicrophone:
    """Gives tenths of a second until it is lost; stands in for :class:`Microphone`."""

    def __init__(
        self,
        clock: SteadyClock,
        seconds: float,
        *,
        source: str = "headset",
        zeros: bool = False,
        why: LossReason = "it was disconnected",
        overruns_at: tuple[float, ...] = (),
        known_late: bool = False,
    ) -> None:
        self._clock, self._left, self._why = clock, round(seconds * 10), why
        self._given = 0
        self._zeros = zeros
        self._overruns_at = overruns_at
        self._found = ServerSource(source, source, False)
        self.source = None if known_late else self._found
        self.name = "headset"
        self.missed_s, self.overruns = 0.0, 0
        self.closed = False
        self.clock = SimpleNamespace(zero_s=clock.time, drift_s=0.001)

    def __enter__(self) -> ScriptedMicrophone:
        self.clock.zero_s = self._clock.time
        return self

    def __exit__(self, *ignored: object) -> None:
        self.closed = True

    def stop(self) -> None:
        self._left = 0

    def take(self) -> list[Block]:
        if not self._left:
            raise MicrophoneLost(self._why, "microphone")
        self._left -= 1
        self.source = self._found
        self._clock.time += 0.1
        start_s = self._given / 10
        self._given += 1
        if start_s in self._overruns_at:
            self.overruns += 1
            self.missed_s += 0.1
        return [Block(np.zeros_like(HUM) if self._zeros else HUM, start_s)]


class Bench:
    """A listening over microphones that come one after the other; None: it cannot be opened."""

    def __init__(
        self, make: Callable[[SteadyClock], list[ScriptedMicrophone | None]], device: Device = None
    ) -> None:
        self.clock = SteadyClock()
        self.microphones = make(self.clock)
        self._next = iter(self.microphones)
        self.asked: list[Device] = []
        self.looks = 0
        self.listening = Listening(
            device,
            open_microphone=self._open,
            look_again=self._look,
            now=self.clock,
            sleep=self.clock.sleep,
        )

    def _open(self, device: Device) -> Microphone:
        self.asked.append(device)
        found = next(self._next, None)
        if found is None:
            raise AudioError("cannot be opened")
        return cast(Microphone, found)

    def _look(self) -> None:
        self.looks += 1

    def told(self, most: int = 400) -> list[Sound]:
        """Everything up to the second loss, or ``most`` pieces; waiting left out."""
        with self.listening as listening:
            return [sound for sound in islice(listening, most) if not isinstance(sound, Waiting)]


def notices(sounds: list[Sound]) -> list[Any]:
    return [sound for sound in sounds if not isinstance(sound, Block)]


def test_a_loss_is_told_and_listening_goes_on_when_the_microphone_is_back() -> None:
    """Lost, three tries in vain, back: the times run on by the wall clock, and nothing is given twice."""
    bench = Bench(
        lambda clock: [ScriptedMicrophone(clock, 2.0), None, None, None, ScriptedMicrophone(clock, 1.0)]
    )
    sounds = bench.told()
    lost, back, again = notices(sounds)
    away = 4 * RETRY_S
    assert [type(notice) for notice in (lost, back, again)] == [Lost, Back, Lost]
    assert lost.reason == again.reason == "it was disconnected"
    assert [lost.at_s, back.at_s, again.at_s] == pytest.approx([2.0, 2.0 + away, 3.0 + away])
    assert back.seconds == pytest.approx(away)
    times = [sound.start_s for sound in sounds if isinstance(sound, Block)]
    assert times == pytest.approx([n / 10 for n in range(20)] + [2.0 + away + n / 10 for n in range(10)])
    order = [type(sound).__name__ for sound in sounds[19:23]]
    assert order == ["Block", "Lost", "Back", "Block"]
    summary = bench.listening.summary()
    assert [summary.seconds, summary.lost_s] == pytest.approx([3.0 + away, away])
    assert summary.drift_s == pytest.approx(0.002)
    assert all(m.closed for m in bench.microphones if m is not None)


def test_while_it_is_gone_something_is_given_a_few_times_a_second() -> None:
    """The screen goes on and can be left while nothing is heard."""
    bench = Bench(lambda clock: [ScriptedMicrophone(clock, 0.1)])
    with bench.listening as listening:
        sounds = list(islice(listening, 50))
    assert sum(isinstance(sound, Waiting) for sound in sounds) == 48
    assert bench.clock.time - 1000.0 < 48 * 0.6


def test_the_devices_are_listed_anew_only_when_opening_does_not_help() -> None:
    """Listing them interrupts what is played, so it is done at every fourth try."""
    bench = Bench(lambda clock: [ScriptedMicrophone(clock, 0.1)])
    with bench.listening as listening:
        list(islice(listening, 2 + 3 * LOOK_AGAIN_EVERY))
    assert bench.looks in (2, 3)


def test_another_microphone_is_not_listened_to_in_its_place() -> None:
    """What the sound server offers instead may hear other people: it is closed unheard."""
    bench = Bench(
        lambda clock: [
            ScriptedMicrophone(clock, 1.0, why="another source took its place"),
            ScriptedMicrophone(clock, 1.0, source="built-in"),
            ScriptedMicrophone(clock, 1.0),
        ]
    )
    sounds = bench.told()
    lost, back, _ = notices(sounds)
    assert lost.reason == "another source took its place"
    assert back.seconds == pytest.approx(2 * RETRY_S)
    other = bench.microphones[1]
    assert other is not None and other.closed and other._given == 0


def test_another_source_that_is_known_only_from_its_first_sound_is_not_listened_to() -> None:
    """The server may not know yet, when a stream is opened, where it will record from."""
    bench = Bench(
        lambda clock: [
            ScriptedMicrophone(clock, 1.0),
            ScriptedMicrophone(clock, 1.0, source="built-in", known_late=True),
            ScriptedMicrophone(clock, 1.0, known_late=True),
        ]
    )
    _, back, _ = notices(bench.told())
    other = bench.microphones[1]
    assert other is not None and other.closed
    assert back.seconds == pytest.approx(2 * RETRY_S + 0.1)


def test_a_microphone_given_by_number_is_found_again_by_name() -> None:
    """Numbers change when the devices are listed anew."""
    bench = Bench(lambda clock: [ScriptedMicrophone(clock, 0.1), ScriptedMicrophone(clock, 0.1)], device="2")
    bench.told(most=8)
    assert bench.asked[:2] == ["2", "headset"]


def test_overruns_are_told_together() -> None:
    """The first at once, those that follow within five seconds together; all are in the summary."""
    bench = Bench(lambda clock: [ScriptedMicrophone(clock, 8.0, overruns_at=(1.0, 1.5, 2.0))])
    first, then, _ = notices(bench.told(most=90))
    assert isinstance(first, Missed) and isinstance(then, Missed)
    assert [first.at_s, first.seconds, first.times] == pytest.approx([1.1, 0.1, 1])
    assert [then.at_s, then.seconds, then.times] == pytest.approx([6.1, 0.2, 2])
    summary = bench.listening.summary()
    assert [summary.overruns, summary.missed_s] == pytest.approx([3, 0.3])


def test_zeros_are_told_once_and_later_where_they_were_a_pause() -> None:
    """A muted microphone is told; a headset that gives zeros in every pause is not told each time."""
    clock = SteadyClock()

    def pieces() -> Iterator[bool]:
        yield from [True] * round(10 * SILENT_AFTER_S + 20)
        yield False
        yield from [True] * round(10 * SILENT_AFTER_S + 20)
        yield False
        yield from [True] * round(20 * SILENT_AFTER_S + 20)

    zeros = list(pieces())
    microphone = ScriptedMicrophone(clock, len(zeros) / 10)
    given = iter(zeros)

    def take() -> list[Block]:
        zero = next(given, None)
        if zero is None:
            raise MicrophoneLost("it was disconnected", "microphone")
        return [Block(HUM * 0 if zero else HUM, 0.0)]

    microphone.take = take  # type: ignore[method-assign]
    bench = Bench(lambda _: [microphone])
    found = [notice for notice in notices(bench.told(most=1000)) if isinstance(notice, Silent)]
    assert [notice.seconds for notice in found] == pytest.approx([SILENT_AFTER_S, 2 * SILENT_AFTER_S])


def test_stopping_ends_the_waiting_too() -> None:
    """A walk that is over does not wait for a microphone."""
    bench = Bench(lambda clock: [ScriptedMicrophone(clock, 0.1)])
    bench.clock.on_sleep = bench.listening.stop
    with bench.listening as listening:
        sounds = list(listening)
    assert [type(sound).__name__ for sound in sounds] == ["Block", "Lost", "Waiting"]
