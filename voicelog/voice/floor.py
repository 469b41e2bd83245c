"""Who has the floor: whether what the microphone gives now is the operator, or our own voice.

Thread-safe. Times are seconds of one steady clock. What the player sounds is told before it can be
heard, so that no sound of ours is ever judged before it is known to be ours.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable

TAIL_S = 0.3
"""Kept closed after the voice has ended: the microphone's own delay, and the echo of the bay."""
KEPT_S = 30.0
"""How long it is remembered when the voice sounded; sound waits no longer for its reader."""


class Floor:
    """Remembers when the voice sounded, and whether the operator is speaking."""

    def __init__(self, *, tail_s: float = TAIL_S) -> None:
        self._tail_s = tail_s
        self._lock = threading.Lock()
        self._sounded: deque[tuple[float, float]] = deque()
        """Times from and to, in order, not overlapping; the tail is in them."""
        self._speaking = False
        self._told: list[Callable[[bool], None]] = []

    def voice_sounds(self, from_s: float, to_s: float) -> None:
        """Take that the voice may be heard from ``from_s`` to ``to_s``."""
        to_s += self._tail_s
        with self._lock:
            if self._sounded and from_s <= self._sounded[-1][1]:
                from_s, last = self._sounded.pop()
                to_s = max(to_s, last)
            self._sounded.append((from_s, to_s))
            while self._sounded[0][1] < to_s - KEPT_S:
                self._sounded.popleft()

    def is_voice(self, from_s: float, to_s: float) -> bool:
        """Return whether the voice may be heard in any of that time."""
        with self._lock:
            return any(begin < to_s and from_s < end for begin, end in self._sounded)

    @property
    def operator_speaks(self) -> bool:
        """Whether an utterance is open."""
        return self._speaking

    def operator(self, speaks: bool) -> None:
        """Take whether an utterance is open; who listens is told when that changes."""
        if speaks == self._speaking:
            return
        self._speaking = speaks
        for tell in self._told:
            tell(speaks)

    def on_operator(self, tell: Callable[[bool], None]) -> None:
        """Have ``tell`` called, soon and from the thread that listens, when that changes."""
        self._told.append(tell)
