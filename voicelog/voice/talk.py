"""What is spoken next, and what is no longer worth saying: pure decisions of the player.

The newest matters: a new answer takes the place of what was still to be said. A caution that has
still to be affirmed is in the new answer again; trouble outlasts it, since it is about the record,
not about the last words.
"""

from __future__ import annotations

from collections import deque

from voicelog.voice.answers import Answer, Sentence
from voicelog.walk.replies import ReplyKind

LASTING: ReplyKind = "trouble"


class Talk:
    """The sentences still to be spoken. Methods that return True say: stop what is being spoken.

    Nothing is begun while the operator speaks. With a ``headset`` the operator can be heard over
    the voice, and then it stops; what was cut and lasts is said again from its beginning.
    """

    def __init__(self, *, headset: bool = False) -> None:
        self._headset = headset
        self._waiting: deque[Sentence] = deque()
        self._current: Sentence | None = None
        self._operator_speaks = False

    @property
    def current(self) -> Sentence | None:
        """What is being spoken."""
        return self._current

    def take(self, answer: Answer) -> bool:
        """Take a new answer."""
        if answer.tone is None and not answer.sentences:
            return False
        stopped = self._stop()
        kept = [sentence for sentence in self._waiting if sentence.kind == LASTING]
        self._waiting = deque(sorted((*answer.sentences, *kept), key=lambda s: s.kind != "trouble"))
        return stopped

    def operator(self, speaks: bool) -> bool:
        """Take whether the operator is speaking."""
        self._operator_speaks = speaks
        return self._stop() if speaks and self._headset else False

    def next(self) -> Sentence | None:
        """Return the sentence to begin now, if any; it is then being spoken."""
        if self._current is not None or self._operator_speaks or not self._waiting:
            return None
        self._current = self._waiting.popleft()
        return self._current

    def postpone(self) -> None:
        """Take back what :meth:`next` gave, to be asked for again."""
        if self._current is not None:
            self._waiting.appendleft(self._current)
            self._current = None

    @property
    def busy(self) -> bool:
        """Whether something is being spoken or waits to be."""
        return self._current is not None or bool(self._waiting)

    def ended(self) -> None:
        """Take that what was being spoken has been said."""
        self._current = None

    def _stop(self) -> bool:
        stopped, self._current = self._current, None
        if stopped is not None and stopped.kind == LASTING:
            self._waiting.appendleft(stopped)
        return stopped is not None
