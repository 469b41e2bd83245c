"""What comes out of the loudspeaker next: a tone now, and speech after it.

Thread-safe and free of any device: whoever plays it takes the samples, as many as wanted.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from voicelog.hearing.recogniser import Samples

AFTER_TONE_S = 0.12
"""Silence between a tone and what is spoken after it."""
FADE_S = 0.01
"""How fast what is interrupted dies away, so that it does not click."""


@dataclass(slots=True)
class _Playing:
    samples: Samples
    done: Callable[[], None] | None = None
    at: int = 0

    @property
    def left(self) -> int:
        return len(self.samples) - self.at

    def take(self, count: int) -> Samples:
        taken = self.samples[self.at : self.at + count]
        self.at += len(taken)
        return taken


def _nothing() -> _Playing:
    return _Playing(np.zeros(0, np.float32))


class Mixer:
    """Mono sound at ``rate`` hertz: at most one tone, and one sentence that waits for it."""

    def __init__(self, rate: int) -> None:
        self.rate = rate
        self._lock = threading.Lock()
        self._tone = _nothing()
        self._speech = _nothing()
        self._dying = _nothing()
        self._dying_is_speech = False

    def tone(self, samples: Samples) -> None:
        """Sound a tone at once, instead of whatever sounds now."""
        pause = np.zeros(round(AFTER_TONE_S * self.rate), np.float32)
        with self._lock:
            self._interrupt()
            self._tone = _Playing(np.concatenate([samples, pause]))

    def say(self, samples: Samples, done: Callable[[], None]) -> None:
        """Speak, after the tone if there is one; ``done`` is called when all of it was taken."""
        with self._lock:
            self._speech = _Playing(samples, done)

    def hush(self) -> None:
        """Stop speaking at once. A tone goes on: it is short."""
        with self._lock:
            self._interrupt(tone=False)

    @property
    def sounding(self) -> bool:
        """Whether there is any sound to come."""
        return bool(self._tone.left or self._speech.left or self._dying.left)

    def take(self, count: int) -> tuple[Samples, bool]:
        """Return the next ``count`` samples, silence where there is nothing, and whether any is speech."""
        sound = np.zeros(count, np.float32)
        with self._lock:
            dying = self._dying.take(count)
            sound[: len(dying)] += dying
            tone = self._tone.take(count)
            sound[: len(tone)] += tone
            speech = self._speech.take(count - len(tone))
            sound[len(tone) : len(tone) + len(speech)] += speech
            done = None
            if len(speech) and not self._speech.left:
                done, self._speech = self._speech.done, _nothing()
        if done is not None:
            done()
        return np.clip(sound, -1, 1, out=sound), bool(len(speech) or (len(dying) and self._dying_is_speech))

    def _interrupt(self, *, tone: bool = True) -> None:
        """Let what sounds now die away; what has not begun is dropped."""
        fading = self._tone if tone and self._tone.left else self._speech
        if fading.at and fading.left:
            tail = fading.take(round(FADE_S * self.rate)).copy()
            tail *= np.linspace(1, 0, len(tail), dtype=np.float32)
            self._dying = _Playing(tail)
            self._dying_is_speech = fading is self._speech
        self._speech = _nothing()
        if tone:
            self._tone = _nothing()
