"""The loudspeaker: one stream, kept open, that takes what the mixer has.

A stream that is kept open answers sooner than one that is opened for each sound. When the device
goes away, or gives no sign of life, the walk goes on and the device is tried again now and then.
"""

from __future__ import annotations

import time
from contextlib import ExitStack, suppress
from typing import Any

from voicelog.errors import AudioError
from voicelog.hearing.portaudio import alone, reason, shared, sounddevice
from voicelog.voice.floor import Floor
from voicelog.voice.mixer import Mixer
from voicelog.voice.player import OutputState

DEAD_AFTER_S = 2.0
"""A device that takes no sound for this long is taken to be gone."""
RETRY_EVERY_S = 2.0
LATENCY_S = 0.12
"""Asked of the device: with less, a busy machine leaves gaps in the sound."""
REMEDY = "see that a loudspeaker or headset is connected, or walk without it: --read-back nothing"


def outputs() -> tuple[str, ...]:
    """Return the sound outputs, each with its number and name. :class:`AudioError` without PortAudio."""
    module = sounddevice()
    default = module.default.device[1]
    return tuple(
        f"{d['index']}: {d['name']}" + (" (default)" if d["index"] == default else "")
        for d in module.query_devices()
        if d["max_output_channels"] > 0
    )


def output_rate(device: str | None) -> int:
    """Return the rate of an output device, in hertz. Raises :class:`AudioError` where there is none."""
    module = sounddevice()
    try:
        return round(float(module.query_devices(_named(device), "output")["default_samplerate"]))
    except (module.PortAudioError, ValueError) as error:
        raise AudioError(
            f"there is no such sound output ({reason(error)})", where=_where(device), remedy=REMEDY
        ) from error


class SoundOutput:
    """An output device that plays a mixer's sound. ``floor`` is told when speech sounds.

    ``device`` is an index, or a part of the name that only one device has; None is the system's
    default. Opening raises :class:`AudioError`.
    """

    def __init__(self, device: str | None, mixer: Mixer, floor: Floor) -> None:
        self._device = device
        self._mixer = mixer
        self._floor = floor
        self._stream: Any = None
        self._alive_s = time.monotonic()
        self._tried_s = self._alive_s
        self._was_lost = False
        self._ended = False
        self._held = ExitStack()
        with alone():
            self._open()
        self._held.enter_context(shared(self._close, self._reopen))

    def check(self) -> OutputState:
        """Look whether the device takes sound; try to open it again if not."""
        # A stream that is closed while the devices are listed anew is not lost.
        with alone():
            return self._checked(time.monotonic())

    def _checked(self, now: float) -> OutputState:
        lost = self._stream is None or self._ended or now - self._alive_s > DEAD_AFTER_S
        if lost and now - self._tried_s > RETRY_EVERY_S:
            self._tried_s = now
            self._reopen()
            # It is back once it takes sound, not once it lets itself be opened.
            lost = True
        changed, self._was_lost = lost != self._was_lost, lost
        if not changed:
            return "same"
        return "lost" if lost else "back"

    def close(self) -> None:
        """Stop playing."""
        self._held.close()
        self._close()

    def _open(self) -> None:
        module = sounddevice()
        try:
            stream = module.OutputStream(
                samplerate=self._mixer.rate,
                device=_named(self._device),
                channels=1,
                dtype="float32",
                latency=LATENCY_S,
                callback=self._give,
                finished_callback=self._finished,
            )
            self._ended = False
            self._stream = stream
            stream.start()
        except (module.PortAudioError, ValueError) as error:
            self._close()
            raise AudioError(
                f"the sound output cannot be opened ({reason(error)})",
                where=_where(self._device),
                remedy=REMEDY,
            ) from error

    def _reopen(self) -> None:
        with alone():
            self._close()
            with suppress(AudioError):
                self._open()

    def _close(self) -> None:
        with alone():
            stream, self._stream = self._stream, None
            if stream is not None:
                # A device that is gone may refuse even this.
                with suppress(Exception):
                    stream.abort()
                    stream.close()

    def _give(self, out: Any, frames: int, times: Any, status: Any) -> None:
        """Called by PortAudio from its own thread: must not wait and must not raise."""
        samples, speech = self._mixer.take(frames)
        out[:, 0] = samples
        now = time.monotonic()
        self._alive_s = now
        if speech:
            latency = max(float(self._stream.latency) if self._stream else 0.0, _until_heard(times))
            self._floor.voice_sounds(now, now + latency + frames / self._mixer.rate)

    def _finished(self) -> None:
        self._ended = True


def _until_heard(times: Any) -> float:
    """Return how long it takes from the callback until the sound leaves the device, in seconds."""
    return max(0.0, float(times.outputBufferDacTime - times.currentTime))


def _named(device: str | None) -> str | int | None:
    return int(device) if device is not None and device.isdigit() else device


def _where(device: str | None) -> str:
    return "sound output" if device is None else f"sound output {device}"
