"""Listening through a microphone that may drop out: waits for it and goes on.

Gives the blocks of the stream, and a :class:`~voicelog.hearing.notices.Notice` wherever there is
something to tell. Times run on through a loss, by the wall clock. Only the microphone that was
lost is waited for: another one that the sound server offers in its place may hear other people.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from types import TracebackType

from voicelog.errors import AudioError
from voicelog.hearing.audio import Block
from voicelog.hearing.microphone import Microphone, MicrophoneLost
from voicelog.hearing.notices import Back, Lost, Missed, Notice, Silent, StreamSummary, Waiting
from voicelog.hearing.portaudio import look_again
from voicelog.hearing.recogniser import RATE
from voicelog.hearing.sound_server import ServerSource

RETRY_S = 0.5
"""How often it is tried whether the microphone is back."""
WAITING_EVERY_S = 0.2
"""How often it is told that nothing comes."""
LOOK_AGAIN_EVERY = 4
"""Tries until the devices are listed anew, which interrupts what is being played."""
MISSED_EVERY_S = 5.0
"""Overruns are told at most this often, together."""
SILENT_AFTER_S = 10.0
"""Zeros for this long are told: a microphone that hears a room gives some noise."""

Device = str | int | None
Sound = Block | Notice


class Listening:
    """One walk's microphone; iterate over it inside its ``with`` statement.

    Entering raises :class:`AudioError` when the microphone cannot be opened. A loss ends nothing:
    iteration goes on until :meth:`stop`. ``now`` is a steady clock in seconds.
    """

    def __init__(
        self,
        device: Device = None,
        *,
        open_microphone: Callable[[Device], Microphone] = Microphone,
        look_again: Callable[[], None] = look_again,
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._device = device
        self._open = open_microphone
        self._look_again = look_again
        self._now = now
        self._sleep = sleep
        self._microphone: Microphone | None = None
        self._source: ServerSource | None = None
        self._zero_s: float | None = None
        """When the first stream began, by the steady clock."""
        self._offset_s: float | None = None
        """What is added to the times of the stream that is open; None until it gives sound."""
        self._end_s = 0.0
        self._heard_at = now()
        """When something was last given."""
        self._stopping = False
        self._lost_s = 0.0
        self._drift_s = 0.0
        self._missed_before = (0.0, 0)
        """Seconds and times of the streams before."""
        self._missed_told = (0.0, 0)
        self._missed_told_s = -MISSED_EVERY_S
        self._zeros = 0
        self._silent_after_s = SILENT_AFTER_S
        self._silent_told = False

    @property
    def zero_s(self) -> float | None:
        """When the stream's first sample was taken, by the steady clock; None until there is sound."""
        return self._zero_s

    def __enter__(self) -> Listening:
        self._microphone = self._open(self._device).__enter__()
        if isinstance(self._device, int) or (self._device or "").isdigit():
            # Numbers change when the devices are listed anew.
            self._device = self._microphone.name
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
        self._close()

    def stop(self) -> None:
        """End the iteration. May be called from any thread."""
        self._stopping = True
        if self._microphone is not None:
            self._microphone.stop()

    def summary(self) -> StreamSummary:
        """Return how the stream went, up to now or, once it is closed, to its end."""
        drift_s = self._drift_s + (self._microphone.clock.drift_s if self._microphone else 0.0)
        missed_s, times = self._missed()
        return StreamSummary(
            round(self._end_s, 3), round(self._lost_s, 3), round(missed_s, 3), times, round(drift_s, 4)
        )

    def __iter__(self) -> Iterator[Sound]:
        while not self._stopping:
            try:
                yield from self._hear()
            except MicrophoneLost as lost:
                self._close()
                yield Lost(lost.why, self._end_s)
                yield from self._wait()

    # while it is there ------------------------------------------------------------------------

    def _hear(self) -> Iterator[Sound]:
        assert self._microphone is not None
        while (blocks := self._microphone.take()) is not None:
            if not blocks and self._now() - self._heard_at >= WAITING_EVERY_S:
                yield self._waiting()
            yield from self._told(blocks)

    def _told(self, blocks: list[Block]) -> Iterator[Sound]:
        """Yield blocks with their times in the whole stream, and what there is to tell of them."""
        for block in blocks:
            placed = replace(block, start_s=block.start_s + self._offset())
            self._end_s = placed.start_s + len(placed.samples) / RATE
            self._heard_at = self._now()
            yield placed
            yield from self._silence(block)
        missed_s, times = self._missed()
        told_s, told = self._missed_told
        if times > told and self._end_s - self._missed_told_s >= MISSED_EVERY_S:
            self._missed_told, self._missed_told_s = (missed_s, times), self._end_s
            yield Missed(self._end_s, missed_s - told_s, times - told)

    def _waiting(self) -> Waiting:
        self._heard_at = self._now()
        return Waiting(self._end_s)

    def _offset(self) -> float:
        if self._offset_s is None:
            assert self._microphone is not None
            began_s = self._microphone.clock.zero_s
            if self._zero_s is None:
                self._zero_s = began_s
                self._source = self._microphone.source
            self._offset_s = began_s - self._zero_s
        return self._offset_s

    def _missed(self) -> tuple[float, int]:
        seconds, times = self._missed_before
        if self._microphone is not None:
            return seconds + self._microphone.missed_s, times + self._microphone.overruns
        return seconds, times

    def _silence(self, block: Block) -> Iterator[Silent]:
        if block.samples.any():
            if self._silent_told:
                # It was a pause: this device gives zeros when nobody speaks. Ask later next time.
                self._silent_after_s *= 2
            self._zeros, self._silent_told = 0, False
            return
        self._zeros += len(block.samples)
        if self._zeros >= self._silent_after_s * RATE and not self._silent_told:
            self._silent_told = True
            yield Silent(self._end_s, self._zeros / RATE)

    def _close(self) -> None:
        if self._microphone is not None:
            self._drift_s += self._microphone.clock.drift_s
            self._missed_before = self._missed()
            microphone, self._microphone = self._microphone, None
            microphone.__exit__(None, None, None)
        self._offset_s = None

    # while it is gone -------------------------------------------------------------------------

    def _wait(self) -> Iterator[Sound]:
        """Yield until the same microphone gives sound again, and then that sound."""
        tries = 0
        while not self._stopping:
            yield self._waiting()
            self._sleep(RETRY_S)
            tries += 1
            try:
                if tries % LOOK_AGAIN_EVERY == 0:
                    self._look_again()
                self._microphone = self._open(self._device).__enter__()
            except AudioError:
                continue
            if self._is_the_same(self._microphone):
                blocks: list[Block] = []
                for blocks in self._first_blocks():
                    if not blocks and self._now() - self._heard_at >= WAITING_EVERY_S:
                        yield self._waiting()
                # Which source it is may be known only now.
                if blocks and self._is_the_same(self._microphone):
                    start_s = blocks[0].start_s + self._offset()
                    seconds = max(start_s - self._end_s, 0.0)
                    self._lost_s += seconds
                    self._zeros, self._silent_told = 0, False
                    yield Back(start_s, seconds)
                    yield from self._told(blocks)
                    return
            self._close()

    def _first_blocks(self) -> Iterator[list[Block]]:
        """Yield what comes until something does; ends with nothing when the microphone is lost again."""
        assert self._microphone is not None
        try:
            while (blocks := self._microphone.take()) is not None:
                yield blocks
                if blocks:
                    return
        except MicrophoneLost:
            return

    def _is_the_same(self, microphone: Microphone) -> bool:
        if self._source is None or microphone.source is None:
            return True
        return microphone.source.name == self._source.name
