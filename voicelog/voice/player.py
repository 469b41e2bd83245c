"""Says answers aloud: a thread between :class:`Talk`, which decides, and the sound output.

The tone is sounded by the caller of :meth:`Player.answer`, at once; making speech takes a moment
and is done in the thread. Nothing here may end or hold up the walk: what fails becomes a notice,
which the screen shows.
"""

from __future__ import annotations

import functools
import logging
import queue
import threading
from collections import OrderedDict
from collections.abc import Callable
from types import TracebackType
from typing import Literal, Protocol

import numpy as np
import soxr

from voicelog.errors import VoicelogError
from voicelog.hearing.recogniser import Samples
from voicelog.voice.answers import SILENCE, Answer, Sentence
from voicelog.voice.floor import Floor
from voicelog.voice.mixer import Mixer
from voicelog.voice.synthesis import Speaker
from voicelog.voice.talk import Talk
from voicelog.voice.tones import tone
from voicelog.walk.replies import Reply

LOOK_EVERY_S = 0.5
"""How often the output is looked at."""
FINISHES_IN_S = 10.0
KEPT_SENTENCES = 64
"""Sentences kept as sound: names of stops and cautions come again."""

_LOG = logging.getLogger(__name__)

OutputState = Literal["same", "lost", "back"]


class Output(Protocol):
    """Where the sound goes. The mixer's samples are taken by it, from a thread of its own."""

    def check(self) -> OutputState:
        """Look whether the device is there, and try to open it again if not; tell a change once."""

    def close(self) -> None:
        """Stop playing."""


class Player:
    """Plays answers until it is closed. ``speaker`` is None where there is no voice: tones only.

    ``output`` is opened by the caller, on the same mixer. ``floor`` tells when the operator speaks.
    """

    def __init__(
        self, output: Output, mixer: Mixer, speaker: Speaker | None, floor: Floor, *, headset: bool = False
    ) -> None:
        self._output = output
        self._mixer = mixer
        self._speaker = speaker
        self._talk = Talk(headset=headset)
        self._events: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._notices: queue.SimpleQueue[Reply] = queue.SimpleQueue()
        self._sounds: OrderedDict[str, Samples] = OrderedDict()
        self._waiting_for_silence: list[threading.Event] = []
        self._last = SILENCE
        self._lost = False
        self._told_of_speaker = False
        self._turn = 0
        """Number of the sentence being spoken, so that a late "done" ends no other."""
        self._thread = threading.Thread(target=self._run, name="voice", daemon=True)
        floor.on_operator(self._operator)

    def __enter__(self) -> Player:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._events.put(None)
        self._thread.join(timeout=5)
        self._output.close()

    # called from any thread -------------------------------------------------------------------

    def answer(self, answer: Answer) -> None:
        """Sound the answer's tone now, and speak the rest as soon as it may be spoken."""
        if answer.tone is not None:
            self._mixer.tone(tone(answer.tone, self._mixer.rate))
        self._events.put(lambda: self._take(answer))

    def call(self, done: Callable[[], None]) -> None:
        """Have something called by the thread, after all that it was given before."""
        self._events.put(done)

    def look(self) -> None:
        """Have the output looked at now, and not only when there is nothing else to do."""
        self._events.put(self._look)

    def let_finish(self, timeout_s: float = FINISHES_IN_S) -> None:
        """Wait until everything has been said, at most ``timeout_s``."""
        silent = threading.Event()
        self._events.put(lambda: self._waiting_for_silence.append(silent))
        silent.wait(timeout_s)

    def notices(self) -> tuple[Reply, ...]:
        """Return what has befallen the voice since the last call, to be shown."""
        found = []
        while not self._notices.empty():
            found.append(self._notices.get())
        return tuple(found)

    def notice(self, reply: Reply) -> None:
        """Have something shown with the next update."""
        self._notices.put(reply)

    def _operator(self, speaks: bool) -> None:
        self._events.put(lambda: self._take_operator(speaks))

    # the thread -------------------------------------------------------------------------------

    def _run(self) -> None:
        while True:
            try:
                event = self._events.get(timeout=LOOK_EVERY_S)
            except queue.Empty:
                event = self._look
            if event is None:
                return
            try:
                event()
                # Whatever has come meanwhile may make what would be said now stale.
                if self._events.empty():
                    self._speak_next()
                    self._tell_if_silent()
            except Exception as error:  # of any library: the voice must not end the walk
                _LOG.error("the voice failed", exc_info=error)
                self._notices.put(Reply("trouble", "the voice failed; answers are on the screen"))

    def _take(self, answer: Answer) -> None:
        if answer != SILENCE:
            self._last = answer
        if self._talk.take(answer):
            self._mixer.hush()

    def _take_operator(self, speaks: bool) -> None:
        if self._talk.operator(speaks):
            self._mixer.hush()

    def _look(self) -> None:
        state = self._output.check()
        if state == "lost":
            self._lost = True
            self._talk.ended()
            self._mixer.hush()
            self._notices.put(Reply("trouble", "the sound output is lost; answers are on the screen"))
        elif state == "back":
            self._lost = False
            self._notices.put(Reply("answer", "the sound output is back"))
            # What was answered meanwhile was not heard: say the last of it again.
            self.answer(self._last)

    def _speak_next(self) -> None:
        while not self._lost and (sentence := self._talk.next()) is not None:
            samples = self._sound_of(sentence)
            if not len(samples):
                self._talk.ended()
                continue
            if not self._events.empty():
                self._talk.postpone()
                return
            self._turn += 1
            said = functools.partial(self._said, self._turn)
            self._mixer.say(samples, functools.partial(self._events.put, said))
            return

    def _tell_if_silent(self) -> None:
        if self._waiting_for_silence and (self._lost or not (self._talk.busy or self._mixer.sounding)):
            while self._waiting_for_silence:
                self._waiting_for_silence.pop().set()

    def _said(self, turn: int) -> None:
        if turn == self._turn:
            self._talk.ended()

    def _sound_of(self, sentence: Sentence) -> Samples:
        if self._speaker is None:
            return np.zeros(0, np.float32)
        words = sentence.words
        if words not in self._sounds:
            try:
                samples, rate = self._speaker.speak(words)
            except VoicelogError as error:
                if not self._told_of_speaker:
                    self._told_of_speaker = True
                    self._notices.put(Reply("trouble", str(error).replace("\n", " ")))
                return np.zeros(0, np.float32)
            self._sounds[words] = soxr.resample(samples, rate, self._mixer.rate).astype(np.float32)
            if len(self._sounds) > KEPT_SENTENCES:
                self._sounds.popitem(last=False)
        self._sounds.move_to_end(words)
        return self._sounds[words]
