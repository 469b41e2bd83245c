"""A microphone: any rate becomes 16 kHz, nothing is lost in silence, times follow the wall clock."""

from __future__ import annotations

import builtins
import json
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise, takewhile
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.signal import resample_poly

from tests.conftest import ROOT
from tests.hearing.fake_portaudio import FakePortAudio, SteadyClock, loudest_hertz, tone
from voicelog.errors import AudioError
from voicelog.hearing import microphone as module
from voicelog.hearing.audio import Block, blocks_from_file
from voicelog.hearing.endpoint import CHUNK_S, Endpointer
from voicelog.hearing.microphone import Microphone, MicrophoneLost
from voicelog.hearing.portaudio import devices, look_again, shared
from voicelog.hearing.recogniser import RATE, Samples, Utterance
from voicelog.hearing.sound_server import SoundServer
from voicelog.voice.floor import Floor
from voicelog.voice.mixer import Mixer
from voicelog.voice.output import SoundOutput


def joined(blocks: list[Block]) -> Samples:
    return np.concatenate([block.samples for block in blocks])


@pytest.fixture
def audio(monkeypatch: pytest.MonkeyPatch) -> FakePortAudio:
    """PortAudio without a sound server beside it."""
    fake = FakePortAudio()
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    monkeypatch.setitem(sys.modules, "pulsectl", None)
    return fake


def test_without_portaudio_the_remedy_names_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    """The user learns what to install, and that recordings and the keyboard still work."""
    real = builtins.__import__

    def refuse(name: str, *args: Any, **kwargs: Any) -> Any:
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return real(name, *args, **kwargs)

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(builtins, "__import__", refuse)
    for use in (devices, Microphone().__enter__):
        with pytest.raises(AudioError) as caught:
            use()
        assert "apt install libportaudio2" in caught.value.remedy
        assert "recordings and the keyboard" in caught.value.remedy


@pytest.mark.usefixtures("audio")
def test_devices_are_those_with_inputs() -> None:
    """A loudspeaker is no microphone; the default is marked."""
    assert [str(device) for device in devices()] == [
        "0: built-in, 44100 Hz (default)",
        "2: headset (hw:1,0), 48000 Hz",
    ]


@pytest.mark.parametrize(
    ("device", "rate", "channels"),
    [(None, 44_100, 1), ("headset", 48_000, 1), ("2", 48_000, 2), (2, 48_000, 2)],
)
def test_a_microphone_is_heard_at_16_khz(
    device: str | int | None, rate: int, channels: int, audio: FakePortAudio
) -> None:
    """Whatever the device's own rate and channels, a tone keeps its pitch."""
    with Microphone(device) as microphone:
        stream = audio.last
        assert (stream.arguments["samplerate"], stream.arguments["channels"]) == (rate, channels)
        for piece in np.array_split(tone(2.0, rate, channels), 60):
            stream.give(piece)
        microphone.stop()
        blocks = list(microphone)
    assert len(joined(blocks)) == pytest.approx(2 * RATE, abs=2)
    assert loudest_hertz(joined(blocks)[:RATE]) == pytest.approx(440, abs=1)
    assert microphone.overruns == 0
    assert stream.closed


@pytest.mark.parametrize("rate", [8_000, 11_025, 22_050, 44_100, 48_000, 96_000])
def test_every_rate_is_resampled_as_scipy_does(rate: int, audio: FakePortAudio) -> None:
    """Against scipy.signal.resample_poly with a long filter: the same to 1 % of the signal's level.

    The signal is a chirp-like sum of tones between 200 Hz and 3 kHz, where both filters are flat.
    """
    audio.table[0]["default_samplerate"] = float(rate)
    hertz = (200.0, 440.0, 1000.0, 1700.0, 3000.0)
    given = sum((tone(2.0, rate, hertz=f, level=0.1) for f in hertz), np.zeros((2 * rate, 1), np.float32))
    with Microphone() as microphone:
        for piece in np.array_split(given, 61):
            audio.last.give(piece.astype(np.float32))
        microphone.stop()
        ours = joined(list(microphone))
    divisor = int(np.gcd(rate, RATE))
    theirs = resample_poly(
        given[:, 0].astype(np.float64), RATE // divisor, rate // divisor, window=("kaiser", 12.0)
    )
    assert len(ours) == pytest.approx(len(theirs), abs=2)
    middle = slice(RATE // 4, RATE * 7 // 4)
    difference = ours[middle] - theirs[middle]
    assert np.sqrt(np.mean(difference**2)) < 0.01 * np.sqrt(np.mean(theirs[middle] ** 2))


def test_overruns_are_counted_and_leave_a_gap_in_the_times(audio: FakePortAudio) -> None:
    """Sound lost between two blocks shows in the count and in the second block's time."""
    with Microphone(now=SteadyClock()) as microphone:
        audio.last.give(tone(1.0, 44_100))
        audio.last.give(tone(1.0, 44_100), overflow=True)
        microphone.stop()
        blocks = list(microphone)
    assert microphone.overruns == 1
    assert microphone.missed_s == pytest.approx(1.0)
    gaps = [
        (after.start_s, after.start_s - (before.start_s + len(before.samples) / RATE))
        for before, after in pairwise(blocks)
    ]
    (gap,) = [gap for gap in gaps if gap[1] > 1e-3]
    assert gap == pytest.approx((2.0, 1.0), abs=1e-3)


def test_a_reader_that_does_not_read_is_an_overrun(
    audio: FakePortAudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is kept waiting has a bound, and what does not fit is counted."""
    monkeypatch.setattr(module, "MOST_WAITING_S", 2.0)
    with Microphone() as microphone:
        for _ in range(6):
            audio.last.give(tone(1.0, 44_100))
    assert microphone.overruns == 3


# lost devices


def heard_until_lost(microphone: Microphone) -> tuple[list[Block], str]:
    blocks: list[Block] = []
    with pytest.raises(MicrophoneLost, match="lost") as caught:
        for block in microphone:
            blocks.append(block)
    return blocks, caught.value.why


def test_a_stream_that_ends_is_told_after_what_it_gave(audio: FakePortAudio) -> None:
    """As ALSA devices go: everything heard is given, also where it is short, then the error."""
    for seconds in (1.0, 0.2):
        with Microphone() as microphone:
            audio.last.give(tone(seconds, 44_100))
            audio.last.end()
            blocks, why = heard_until_lost(microphone)
        assert len(joined(blocks)) == pytest.approx(seconds * RATE, abs=2)
        assert why == "it was disconnected"


def test_a_stream_that_gives_nothing_more_is_lost_within_two_seconds(
    audio: FakePortAudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some devices vanish without a word; the bound is what the issue of noticing is held to."""
    assert module.LOST_AFTER_S + module.POLL_S < 2.0
    monkeypatch.setattr(module, "POLL_S", 0.001)
    clock = SteadyClock()
    with Microphone(now=clock) as microphone:
        audio.last.give(tone(1.0, 44_100))
        given = len(joined(microphone.take() or []))
        clock.time += module.LOST_AFTER_S - 0.01
        assert microphone.take() == []
        clock.time += 0.02
        blocks, why = heard_until_lost(microphone)
    assert given + len(joined(blocks)) == pytest.approx(RATE, abs=2)
    assert why == "no sound comes"


def test_a_stream_may_take_its_time_to_begin(audio: FakePortAudio, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sound servers take up to two seconds for the first sound; that is no loss, but never is."""
    monkeypatch.setattr(module, "POLL_S", 0.001)
    clock = SteadyClock()
    with Microphone(now=clock) as microphone:
        clock.time += 4.0
        assert microphone.take() == []
        clock.time += 4.0
        assert heard_until_lost(microphone) == ([], "no sound comes")


class FakeServer(SoundServer):
    """A sound server that has put us on a source."""

    index = 0
    process = str(os.getpid())

    def __init__(self) -> None:
        super().__init__(
            SimpleNamespace(
                source_output_list=lambda: [
                    SimpleNamespace(source=self.index, proplist={"application.process.id": self.process})
                ],
                source_list=lambda: [
                    SimpleNamespace(
                        index=0, name="headset", description="A headset", monitor_of_sink_name=None
                    ),
                    SimpleNamespace(index=1, name="played", description="Output", monitor_of_sink_name="out"),
                ],
            )
        )


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> FakeServer:
    fake = FakeServer()

    @contextmanager
    def connected() -> Iterator[SoundServer]:
        yield fake

    monkeypatch.setattr(module, "sound_server", connected)
    return fake


def test_another_source_in_its_place_is_a_loss(audio: FakePortAudio, server: FakeServer) -> None:
    """PulseAudio goes on giving sound, of another source: seen with PulseAudio 16 when one goes."""
    clock = SteadyClock()
    with Microphone(now=clock) as microphone:
        audio.last.give(tone(1.0, 44_100))
        assert microphone.take()
        assert microphone.source is not None and microphone.source.name == "headset"
        server.index = 1
        clock.time += 0.6
        audio.last.give(tone(1.0, 44_100))
        blocks, why = heard_until_lost(microphone)
    assert why == "another source took its place"
    assert len(joined(blocks)) < 0.05 * RATE  # what was still on its way through the resampler


def test_a_server_that_cannot_be_asked_is_no_loss(audio: FakePortAudio, server: FakeServer) -> None:
    """Where the server says nothing of us, the stream goes on by itself."""
    clock = SteadyClock()
    with Microphone(now=clock) as microphone:
        for process in ("1", "none"):
            server.process = process
            clock.time += 0.6
            audio.last.give(tone(1.0, 44_100))
            assert microphone.take()


def test_a_device_that_is_not_there_is_named(audio: FakePortAudio) -> None:
    """The error names what was asked for and how to list what there is."""
    with pytest.raises(AudioError, match="walkie") as caught, Microphone("walkie"):
        pass
    assert "voicelog devices" in caught.value.remedy


# PortAudio is shared


def test_looking_for_devices_again_closes_the_streams_of_others_meanwhile(audio: FakePortAudio) -> None:
    """PortAudio ends every stream when it is initialised anew, so each is closed before and opened after."""
    log: list[str] = []
    with shared(lambda: log.append(f"close {audio.looks}"), lambda: log.append(f"reopen {audio.looks}")):
        look_again()
    look_again()
    assert log == ["close 0", "reopen 1"]
    assert audio.looks == 2


def test_no_thread_opens_a_stream_while_the_devices_are_listed_anew(audio: FakePortAudio) -> None:
    """The voice that looks at its output just then waits, finds it open again, and tells no loss.

    "PortAudio is NOT thread safe. DO NOT call PortAudio from multiple threads without synchronization"
    (its documentation, patest_write_stop_hang_illegal.c).
    """
    output = SoundOutput(None, Mixer(48_000), Floor())
    found: list[str] = []
    voice = threading.Thread(target=lambda: found.append(output.check()))

    def meanwhile() -> None:
        voice.start()
        voice.join(timeout=0.1)
        assert not found

    audio.on_look = meanwhile
    look_again()
    voice.join(timeout=5)
    assert found == ["same"]
    assert [stream.closed for stream in audio.streams] == [True, False]
    output.close()


def test_devices_that_could_not_be_listed_are_listed_at_the_next_look(audio: FakePortAudio) -> None:
    """A failure leaves PortAudio without any devices: that must not be for good."""
    audio.refused = "Unanticipated host error [PaErrorCode -9999]"
    for _ in range(2):
        with pytest.raises(AudioError, match="cannot be listed"):
            look_again()
    audio.refused = ""
    look_again()
    assert (audio.initialised, audio.looks) == (True, 1)


# times


@pytest.mark.parametrize("parts_per_million", [-200.0, 200.0])
def test_times_follow_the_wall_clock(parts_per_million: float, audio: FakePortAudio) -> None:
    """A device 200 ppm fast or slow for 20 minutes: each block is stamped within 20 ms of the wall clock.

    By its own count of samples it would be 240 ms off. From block to block the times move by less
    than what the endpointer takes for a gap.
    """
    audio.table[0]["default_samplerate"] = float(RATE)
    clock = SteadyClock()
    began = clock.time
    block = np.zeros((512, 1), np.float32)
    worst = step = 0.0
    ended = None
    with Microphone(now=clock) as microphone:
        for _ in range(int(20 * 60 / 0.032)):
            clock.time += 0.032 * (1 + parts_per_million / 1e6)
            audio.last.give(block)
            blocks = microphone.take() or []
            for heard in blocks:
                step = max(step, abs(heard.start_s - (heard.start_s if ended is None else ended)))
                ended = heard.start_s + 0.032
            if len(blocks) == 1:
                # The block's end is now, by the wall clock.
                worst = max(worst, abs(blocks[0].start_s + 0.032 - (clock.time - began)))
    assert microphone.clock.drift_s == pytest.approx(20 * 60 * parts_per_million / 1e6, abs=0.005)
    assert 0 < worst < 0.020
    assert step < CHUNK_S / 10


def test_a_drifting_stream_is_not_taken_for_one_with_gaps() -> None:
    """What is said after 40 ms of drift is whole, and stamped with the time its blocks say."""
    script = json.loads((ROOT / "samples" / "engine_61_walk.times.json").read_text())["lines"][0]
    walk = blocks_from_file(ROOT / "samples" / "engine_61_walk.opus")
    spoken = joined(list(takewhile(lambda b: b.start_s < script["end_s"] + 1.2, walk)))
    quiet = np.random.default_rng(5).normal(0, 1e-4, 40 * RATE // 512 * 512).astype(np.float32)
    samples = np.concatenate([quiet, spoken])

    def said(pace: float) -> Utterance:
        endpointer = Endpointer()
        found = [
            utterance
            for n in range(0, len(samples), 512)
            for utterance in endpointer.accept(Block(samples[n : n + 512], n / RATE * pace))
        ]
        found += endpointer.finish()
        (one,) = [u for u in found if u.start_s <= quiet.size / RATE * pace + script["end_s"] - 0.1]
        return one

    by_count = said(1.0)
    for pace in (0.999, 1.001):
        drifting = said(pace)
        assert drifting.complete and by_count.complete
        assert len(drifting.samples) == len(by_count.samples)
        moved = drifting.start_s - by_count.start_s
        assert moved == pytest.approx(by_count.start_s * (pace - 1), abs=0.003)
        assert abs(moved) > CHUNK_S
