"""Listening beside our own voice: it must never hear itself, nor half of what the operator said.

Half duplex: while the voice sounds, the endpointer is given silence of the same length, so that
time goes on. What the operator says meanwhile is lost, and it cannot be told from what is heard
after it whether it began with a "not". So all sound is watched for speech, also that which is not
heard, and an utterance that may have begun or gone on in such speech is never whole. With a headset
everything is heard.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from voicelog.hearing.audio import BLOCK_S, Block
from voicelog.hearing.endpoint import CHUNK, Endpointer, EndpointOptions
from voicelog.hearing.recogniser import RATE, Ending, Utterance
from voicelog.voice.floor import Floor

KEPT_S = 60.0
"""Longer than any utterance."""

StreamZero = Callable[[], float | None]
"""When the stream's first sample was taken, by the steady clock of the floor; None if unknown."""


class ListeningBesideVoice(Endpointer):
    """An endpointer that knows who has the floor. Takes the stream's blocks as they come.

    Where ``zero_s`` is not known (a recording, in which our voice is not heard), or with a
    ``headset``, nothing is left out.
    """

    def __init__(
        self,
        floor: Floor,
        zero_s: StreamZero,
        *,
        headset: bool = False,
        options: EndpointOptions | None = None,
        judge: Callable[[Utterance], Ending] | None = None,
    ) -> None:
        options = options or EndpointOptions()
        super().__init__(options, judge)
        self._floor = floor
        self._zero_s = zero_s
        self._headset = headset
        self._watch = Endpointer(options)
        """Given all sound; its utterances are of no concern, only whether there is speech."""
        self._off = options.off
        self._pre_roll_s = options.pre_roll_s
        self._pause_s = options.pause_s
        self._post_roll_s = options.post_roll_s
        self._deaf: deque[tuple[float, float]] = deque(maxlen=round(KEPT_S / BLOCK_S))
        """Blocks that were not heard, by where in the stream they begin and end."""
        self._unheard_until_s = -math.inf
        """Up to where in the stream there was speech, ours or the operator's, that was not heard."""
        self._deaf_now = False

    @property
    def deaf(self) -> bool:
        """Whether the block before was not heard, because our own voice sounded."""
        return self._deaf_now

    def accept(self, block: Block) -> list[Utterance]:
        """Take the next block as :meth:`Endpointer.accept` does, or silence in its place."""
        zero_s = None if self._headset else self._zero_s()
        if zero_s is not None:
            block = self._without_our_voice(block, zero_s + block.start_s)
        done = [self._marked(utterance) for utterance in super().accept(block)]
        self._floor.operator(self.speaking)
        return done

    def finish(self) -> list[Utterance]:
        """End the stream as :meth:`Endpointer.finish` does."""
        done = [self._marked(utterance) for utterance in super().finish()]
        self._watch.finish()
        self._floor.operator(False)
        return done

    def _without_our_voice(self, block: Block, begin_s: float) -> Block:
        end_s = block.start_s + len(block.samples) / RATE
        deaf = self._floor.is_voice(begin_s, begin_s + len(block.samples) / RATE)
        for at in range(0, len(block.samples), CHUNK):
            self._watch.accept(Block(block.samples[at : at + CHUNK], block.start_s + at / RATE))
            if deaf and self._watch.speech_probability >= self._off:
                self._unheard_until_s = end_s
        self._deaf_now = deaf
        if not deaf:
            return block
        self._deaf.append((block.start_s, end_s))
        return replace(block, samples=np.zeros_like(block.samples))

    def _marked(self, utterance: Utterance) -> Utterance:
        begins_s = utterance.start_s + self._pre_roll_s
        ends_s = utterance.end_s - self._post_roll_s
        # Speech that is less than a pause apart is one utterance.
        cut = begins_s < self._unheard_until_s + self._pause_s
        # What the detector takes for a gap in speech may be a consonant.
        cut = cut or any(from_s < ends_s and begins_s < to_s for from_s, to_s in self._deaf)
        return replace(utterance, complete=False) if cut else utterance
