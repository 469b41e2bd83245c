"""The words of remarks, made behind the walk's back from the sound that is on record.

Nobody waits for them: the sound is committed first, and the walk goes on. Their words are made from
the kept sound alone, so that they are the same whenever they are made. With a microphone a thread
makes them while nobody speaks, and the walk sees them when they come. A recording has no such pauses
to go by that do not hang on the machine: its remarks are written out when its sound ends or the walk
is complete, in the order they were made, so that the same input gives the same record. What is not
made by then (a kill, no room on the disk, no time left) is made when the walk is taken up, or by
``voicelog transcribe``.
"""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress

from voicelog.hearing.recogniser import Recogniser, Utterance
from voicelog.phrases.commands import language_of
from voicelog.records.clips import decode
from voicelog.records.store import Store
from voicelog.sheet.model import Lexicon
from voicelog.walk.events import RemarkLogged, RemarkTranscribed
from voicelog.walk.remarks import without_ending

PATIENCE_S = 20.0
"""How long the end of a walk waits for words that are still to be made."""
_LOW_PRIORITY = 10


def transcript(
    store: Store, recogniser: Recogniser, lexicon: Lexicon, remark: RemarkLogged
) -> RemarkTranscribed:
    """Return the words of a part of a remark, made from its kept sound.

    Raises :class:`RecordError` where that is missing or was altered.
    """
    samples, _ = decode(store.clip(remark.heard.clip or ""))
    text = recogniser.dictate(Utterance(samples, remark.heard.start_s or 0.0))
    if remark.ended:
        text = without_ending(text, language_of(lexicon).commands.get("end of remark", ()))
    return RemarkTranscribed(
        remark_id=remark.remark_id, point_id=remark.point_id, text=text, by=recogniser.name
    )


class Dictation:
    """The remarks whose words are still to be made, and the thread that makes them.

    ``make`` gives the words of one, ``post`` puts them on record; ``fail`` is told of one whose
    words could not be made.
    """

    def __init__(
        self,
        make: Callable[[RemarkLogged], RemarkTranscribed],
        post: Callable[[RemarkTranscribed], None],
        fail: Callable[[RemarkLogged, Exception], None],
    ) -> None:
        self._make, self._post, self._fail = make, post, fail
        self._changed = threading.Condition()
        self._owed: deque[RemarkLogged] = deque()
        self._quiet = False
        self._closing = False
        self._making = False
        self._posting = threading.Lock()
        self._left = False
        """Whether what is still owed was left to later: nothing is put on record any more."""
        self._thread: threading.Thread | None = None

    @property
    def owes(self) -> bool:
        """Whether words are still to be made, or are being made."""
        return bool(self._owed) or self._making

    def owe(self, remarks: Iterable[RemarkLogged]) -> None:
        """Add remarks whose words are to be made."""
        with self._changed:
            self._owed.extend(remarks)
            self._changed.notify_all()

    def quiet(self, quiet: bool) -> None:
        """Say whether it is quiet: words are begun only while nobody speaks."""
        if quiet != self._quiet:
            with self._changed:
                self._quiet = quiet
                self._changed.notify_all()

    def make_all(self) -> bool:
        """Make here and now what is owed, oldest first; return whether anything was.

        Nothing where a thread does it.
        """
        if self._thread is not None or not self._owed:
            return False
        while self._owed:
            self._one(self._owed.popleft())
        return True

    @contextmanager
    def behind(self, patience_s: float = PATIENCE_S) -> Iterator[None]:
        """Have a thread make the words; at the end wait for the rest, ``patience_s`` at most."""
        self._closing = self._left = False
        self._thread = threading.Thread(target=self._work, name="dictation", daemon=True)
        self._thread.start()
        try:
            yield
        finally:
            with self._changed:
                self._closing = True
                self._changed.notify_all()
            self._thread.join(patience_s)
            with self._posting:
                self._left = True
            with self._changed:
                self._owed.clear()
            self._thread = None

    def _work(self) -> None:
        with suppress(AttributeError, OSError):  # not every system lets a thread step back
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), _LOW_PRIORITY)
        while (remark := self._next()) is not None:
            self._one(remark)

    def _next(self) -> RemarkLogged | None:
        with self._changed:
            self._changed.wait_for(lambda: self._closing or (self._quiet and bool(self._owed)))
            self._making = bool(self._owed)
            return self._owed.popleft() if self._owed else None

    def _one(self, remark: RemarkLogged) -> None:
        try:
            words = self._make(remark)
            with self._posting:
                if not self._left:
                    self._post(words)
        except Exception as error:  # an engine raises anything; the walk goes on, the sound is kept
            self._fail(remark, error)
        finally:
            self._making = False
