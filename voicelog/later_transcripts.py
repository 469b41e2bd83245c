"""The transcripts that a finished walk still lacks, made while its review is open.

They are made behind the screen's back by a thread of their own, which neither writes the record nor
touches a screen: the screen takes what is done when it suits it. Without a model, or where one fails,
there is a reason to show and no transcript; the sound is the original, and can be played all the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from queue import Empty, SimpleQueue

from voicelog.dictation import Dictation, transcript
from voicelog.errors import VoicelogError
from voicelog.hearing.recogniser import Recogniser
from voicelog.records.store import Store
from voicelog.sheet.model import Lexicon
from voicelog.walk.events import RemarkLogged, RemarkTranscribed
from voicelog.walk.remarks import owed
from voicelog.walk.state import WalkState

LEFT_S = 2.0
"""How long the end of a review waits for a transcript that is being made. What is left is made another
time."""


class LaterTranscripts:
    """Transcripts of one walk's remarks, asked for and taken by one screen."""

    def __init__(self, store: Store, lexicon: Lexicon, engine: Callable[[], Recogniser]) -> None:
        """Make nothing yet; ``engine`` loads what hears, in the thread and once, and may raise."""
        self._store, self._lexicon, self._engine = store, lexicon, engine
        self._recogniser: Recogniser | None = None
        self._why_none = ""
        self._done: SimpleQueue[RemarkTranscribed | str] = SimpleQueue()
        self._dictation = Dictation(self._make, self._done.put, self._fail)

    @contextmanager
    def behind(self) -> Iterator[None]:
        """Make them in a thread of its own until the end."""
        with self._dictation.behind(LEFT_S):
            yield

    def begin(self, state: WalkState) -> int:
        """Begin to make what the walk lacks; return how many. None of one that is unfinished or signed.

        An unfinished walk makes its own. Nothing may come after a signature.
        """
        lacking = owed(state.remarks) if state.finished is not None and not state.signatures else ()
        self._dictation.owe(lacking)
        self._dictation.quiet(True)
        return len(lacking)

    @property
    def has_come(self) -> bool:
        """Whether :meth:`done` has anything to give."""
        return not self._done.empty()

    def done(self) -> tuple[RemarkTranscribed | str, ...]:
        """Return what has come since this was asked last: transcripts, and why there are none, in words."""
        found: list[RemarkTranscribed | str] = []
        while True:
            try:
                found.append(self._done.get_nowait())
            except Empty:
                return tuple(found)

    def _make(self, remark: RemarkLogged) -> RemarkTranscribed:
        if self._recogniser is None:
            if self._why_none:
                raise VoicelogError(self._why_none)
            self._recogniser = self._engine()
        return transcript(self._store, self._recogniser, self._lexicon, remark)

    def _fail(self, remark: RemarkLogged, error: Exception) -> None:
        why = error.what.rstrip(".") if isinstance(error, VoicelogError) else str(error)
        if self._recogniser is None and self._why_none:
            return  # told already
        if self._recogniser is None:
            self._why_none = why
        self._done.put(f"No transcript is made: {why}. The sound can be played: it is the original.")
