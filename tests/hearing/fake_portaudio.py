"""PortAudio as the tests see it: devices in a table, and streams whose callback the test calls."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np

from voicelog.hearing.recogniser import RATE, Samples


class FakePortAudioError(Exception):
    pass


class SteadyClock:
    """A clock that goes on when it is told to; sleeping goes on by as much."""

    def __init__(self) -> None:
        self.time = 1000.0
        self.on_sleep: Callable[[], None] = lambda: None

    def __call__(self) -> float:
        return self.time

    def sleep(self, seconds: float) -> None:
        self.time += seconds
        self.on_sleep()


class FakeStream:
    latency = 0.1

    def __init__(self, system: FakePortAudio, arguments: dict[str, Any]) -> None:
        self._system = system
        self.arguments = arguments
        self.closed = False
        self.started = False

    def start(self) -> None:
        self.started = True

    def close(self) -> None:
        self.closed = True

    def abort(self) -> None:
        self.started = False

    def give(self, frames: Samples, *, overflow: bool = False) -> None:
        """Call back with frames, shape (frames, channels)."""
        status = SimpleNamespace(input_overflow=overflow)
        self.arguments["callback"](frames, len(frames), None, status)

    def end(self) -> None:
        """Say that the stream has ended, as PortAudio does when the device has gone."""
        self.arguments["finished_callback"]()


class FakeOutput:
    """An output that takes everything."""

    samplerate = 48_000.0

    def __enter__(self) -> FakeOutput:
        return self

    def __exit__(self, *ignored: object) -> None:
        pass

    def write(self, samples: Samples) -> None:
        assert samples.dtype == np.float32


class FakePortAudio:
    """Stands in for the module ``sounddevice``: what of it is used."""

    PortAudioError = FakePortAudioError

    def __init__(self) -> None:
        self.table: list[dict[str, Any]] = [
            {"index": 0, "name": "built-in", "max_input_channels": 2, "default_samplerate": 44_100.0},
            {"index": 1, "name": "speaker", "max_input_channels": 0, "default_samplerate": 48_000.0},
            {"index": 2, "name": "headset (hw:1,0)", "max_input_channels": 2, "default_samplerate": 48_000.0},
        ]
        self.default = SimpleNamespace(device=(0, 1))
        self.streams: list[FakeStream] = []
        self.looks = 0
        self.initialised = True
        self.on_look: Callable[[], object] = lambda: None
        """Called while the devices are listed anew."""
        self.refused = ""
        """Why no stream can be opened; empty when it can."""

    @property
    def last(self) -> FakeStream:
        return self.streams[-1]

    def query_devices(self, device: str | int | None = None, kind: str | None = None) -> Any:
        if kind is None:
            return self.table
        heard = kind == "input"
        found = [
            d
            for d in self.table
            if (d["max_input_channels"] > 0) == heard
            and (device in (None, d["index"]) or str(device) in str(d["name"]))
        ]
        if not found:
            raise ValueError(f"No {kind} device matching {device!r}")
        return found[0]

    def get_portaudio_version(self) -> tuple[int, str]:
        return 1246976, "PortAudio V19.7.0-devel, revision unknown"

    def InputStream(self, **arguments: Any) -> FakeStream:
        if self.refused:
            raise FakePortAudioError(self.refused)
        if arguments["channels"] == 1 and arguments["device"] == 2:
            raise FakePortAudioError("Invalid number of channels [PaErrorCode -9998]")
        self.streams.append(FakeStream(self, arguments))
        return self.last

    def OutputStream(self, **arguments: Any) -> Any:
        if "callback" not in arguments:
            return FakeOutput()
        self.streams.append(FakeStream(self, arguments))
        return self.last

    def _terminate(self) -> None:
        assert all(stream.closed for stream in self.streams), "ends streams that are open"
        if not self.initialised:
            raise FakePortAudioError("PortAudio not initialized [PaErrorCode -10000]")
        self.initialised = False
        self.on_look()

    def _initialize(self) -> None:
        assert all(stream.closed for stream in self.streams), "a stream was opened meanwhile"
        if self.refused:
            raise FakePortAudioError(self.refused)
        self.initialised = True
        self.looks += 1


def tone(seconds: float, rate: int, channels: int = 1, hertz: float = 440.0, level: float = 0.3) -> Samples:
    """A tone of a device, shape (frames, channels)."""
    wave = level * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)
    return np.repeat(wave[:, None], channels, axis=1).astype(np.float32)


def loudest_hertz(samples: Samples) -> float:
    """The strongest frequency in samples at 16 kHz."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(np.argmax(spectrum)) * RATE / len(samples)
