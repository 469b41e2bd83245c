"""A microphone as a stream of blocks, whose times follow the wall clock.

Invariant: nothing is lost in silence. An overrun is counted and leaves a gap in the times; a
device that goes away is told within two seconds, however it goes: its stream ends, or gives
nothing more, or the sound server puts another source in its place.
"""

from __future__ import annotations

import queue
import re
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from types import TracebackType
from typing import Any, Literal

from voicelog.errors import AudioError
from voicelog.hearing.audio import BLOCK_S, Block, Blocks, Frames
from voicelog.hearing.notices import LossReason
from voicelog.hearing.portaudio import alone, reason, sounddevice
from voicelog.hearing.sound_server import ServerSource, SoundServer, sound_server
from voicelog.hearing.stream_clock import StreamClock

LOST_AFTER_S = 1.0
"""A microphone that gives nothing for this long is taken to be gone."""
BEGINS_WITHIN_S = 5.0
"""How long the first sound may take: sound servers take up to two seconds to begin."""
SETTLES_IN_S = 0.5
"""Sound held back at the beginning, until it is known when it began."""
POLL_S = 0.25
"""How often a stream that gives nothing is looked at."""
SERVER_EVERY_S = 0.25
"""How often the sound server is asked; so long another source may be heard unknown."""
MOST_WAITING_S = 120.0
"""Sound kept for a reader that is busy; what comes after it is an overrun."""


_PLACE = re.compile(r" \(hw:\d+,\d+\)$")
"""How ALSA's devices end: a headset plugged in again may have another number."""
_Ending = LossReason | Literal["stopped"]


class MicrophoneLost(AudioError):
    """The microphone went away. Raised after everything that it gave was taken."""

    def __init__(self, why: LossReason, where: str) -> None:
        super().__init__(
            f"the microphone is lost: {why}",
            where=where,
            remedy="connect it and start again; all that was acknowledged is kept",
        )
        self.why = why


@dataclass(frozen=True, slots=True, eq=False)
class _Taken:
    frames: Frames
    lost: int
    """Frames that were dropped before these."""
    at_s: float
    """When they arrived, by the steady clock."""


class Microphone:
    """An input device as a stream of blocks; iterate over it inside its ``with`` statement.

    ``device`` is an index, that index as text, or a part of the name that only one device has;
    None is the system's default. Entering raises :class:`AudioError` when it cannot be opened;
    iterating raises :class:`MicrophoneLost`. Iteration ends after :meth:`stop`. ``now`` is a
    steady clock in seconds; the blocks' times are its seconds since the stream's first sample.
    """

    def __init__(
        self,
        device: str | int | None = None,
        *,
        block_s: float = BLOCK_S,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._device = int(device) if isinstance(device, str) and device.isdigit() else device
        self._block_s = block_s
        self._now = now
        self._queue: queue.SimpleQueue[_Taken | None] = queue.SimpleQueue()
        """None when the stream has ended."""
        self._overruns = 0
        self._missed = 0
        self._dropped = 0
        self._stopping = False
        self._name = ""
        self._rate = 0.0
        self._channels = 1
        self._stream: Any = None
        self._held = ExitStack()
        self._server = SoundServer()
        self._source: ServerSource | None = None
        self._heard_at = 0.0

    # what is told of it -----------------------------------------------------------------------

    @property
    def overruns(self) -> int:
        """How many times sound was lost because it was not taken in time."""
        return self._overruns

    @property
    def missed_s(self) -> float:
        """How much sound that was, in seconds; a lower bound, for devices do not tell."""
        return self._missed / self._rate if self._rate else 0.0

    @property
    def rate(self) -> float:
        """The device's own rate in hertz, once it is open."""
        return self._rate

    @property
    def name(self) -> str:
        """The device's name, once it is open, without the place where it is plugged in."""
        return _PLACE.sub("", self._name)

    @property
    def clock(self) -> StreamClock:
        """The device's clock against the wall clock."""
        return self._clock

    @property
    def source(self) -> ServerSource | None:
        """The sound server's source as it was at first; None where no server can be asked."""
        return self._source

    # opening and closing ----------------------------------------------------------------------

    def __enter__(self) -> Microphone:
        module = sounddevice()
        try:
            with alone():
                self._open(module)
        except (module.PortAudioError, ValueError) as error:
            self._close()
            raise AudioError(
                f"the microphone cannot be opened ({reason(error)})",
                where=self._where(),
                remedy="list the microphones with: voicelog devices; recordings and the keyboard still work",
            ) from error
        self._server = self._held.enter_context(sound_server())
        self._begin()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
        self._close()

    def stop(self) -> None:
        """End the iteration after what has been heard so far. May be called from any thread."""
        self._stopping = True
        self._queue.put(None)

    # reading ----------------------------------------------------------------------------------

    def __iter__(self) -> Iterator[Block]:
        while (blocks := self.take()) is not None:
            yield from blocks

    def take(self) -> list[Block] | None:
        """Return the blocks that came, after a short wait perhaps none; None after :meth:`stop`.

        Raises :class:`MicrophoneLost`, at the call after the one that gave the last sound.
        """
        if self._over is not None:
            if self._over == "stopped":
                return None
            raise MicrophoneLost(self._over, self._where())
        try:
            item = self._queue.get(timeout=min(POLL_S, LOST_AFTER_S))
        except queue.Empty:
            if self._was_moved():
                return self._end("another source took its place")
            allowed = LOST_AFTER_S if self._begun else BEGINS_WITHIN_S
            return [] if self._now() - self._heard_at < allowed else self._end("no sound comes")
        if item is None:
            return self._end("stopped" if self._stopping else "it was disconnected")
        self._heard_at = item.at_s
        if self._was_moved():
            # What was just taken may be the other source's already.
            return self._end("another source took its place")
        return list(self._in_time(self._add(item)))

    def _begin(self) -> None:
        self._clock = StreamClock(self._rate)
        self._blocks = Blocks(self._rate, self._channels, self._block_s)
        self._passed = 0
        """Frames since the stream began, those that were lost among them."""
        self._begun = False
        self._settling: list[Block] = []
        self._settled = False
        self._over: _Ending | None = None
        self._heard_at = self._now()
        self._asked_at = self._heard_at
        self._source = self._server.source()

    def _add(self, item: _Taken) -> Iterator[Block]:
        if item.lost:
            yield from self._blocks.end()
            self._passed += item.lost
            start_s = self._passed / self._rate
            self._blocks = Blocks(self._rate, self._channels, self._block_s, start_s)
        self._passed += len(item.frames)
        self._clock.arrived(self._passed, item.at_s)
        self._begun = True
        self._source = self._source or self._server.source()
        yield from self._blocks.add(item.frames)

    def _in_time(self, blocks: Iterator[Block]) -> Iterator[Block]:
        """Yield blocks with their times put right, the first of a stream once it has settled."""
        if not self._settled:
            self._settling += blocks
            self._settled = self._over is not None or self._passed >= SETTLES_IN_S * self._rate
            if not self._settled:
                return
            blocks, self._settling = iter(self._settling), []
        for block in blocks:
            yield replace(block, start_s=block.start_s + self._clock.drift_s)

    def _end(self, why: _Ending) -> list[Block]:
        self._over = why
        return list(self._in_time(self._blocks.end()))

    def _was_moved(self) -> bool:
        if self._source is None or self._now() - self._asked_at < SERVER_EVERY_S:
            return False
        self._asked_at = self._now()
        source = self._server.source()
        return source is not None and source.name != self._source.name

    # PortAudio --------------------------------------------------------------------------------

    def _open(self, module: Any) -> None:
        info = module.query_devices(self._device, "input")
        self._name = str(info["name"])
        self._rate = float(info["default_samplerate"])
        # Some devices have no mono of their own; then all channels are averaged.
        for self._channels in (1, int(info["max_input_channels"])):
            try:
                self._stream = self._open_stream(module)
                break
            except module.PortAudioError:
                if self._channels == int(info["max_input_channels"]):
                    raise
        self._stream.start()

    def _open_stream(self, module: Any) -> Any:
        return module.InputStream(
            samplerate=self._rate,
            blocksize=round(self._block_s * self._rate),
            device=self._device,
            channels=self._channels,
            dtype="float32",
            callback=self._receive,
            finished_callback=lambda: self._queue.put(None),
        )

    def _receive(self, frames: Frames, count: int, times: Any, status: Any) -> None:
        """Called by PortAudio from its own thread: must not wait and must not raise."""
        if status.input_overflow:
            # How much was dropped is not told; one block says that something was.
            self._drop(count)
        if self._queue.qsize() * count > MOST_WAITING_S * self._rate:
            self._drop(count)
            return
        self._queue.put(_Taken(frames.copy(), self._dropped, self._now()))
        self._dropped = 0

    def _drop(self, count: int) -> None:
        self._overruns += 1
        self._dropped += count
        self._missed += count

    def _close(self) -> None:
        self._held.close()
        if self._stream is not None:
            with alone():
                self._stream.close()
            self._stream = None

    def _where(self) -> str:
        return "microphone" if self._device is None else f"microphone {self._device}"
