"""What every recogniser takes and gives.

A recogniser is a port: the grammar-constrained Whisper engine is one adapter, the keyboard
(:mod:`voicelog.hearing.typed`) another, and everything downstream is the same for both.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from voicelog.phrases.graph import PhraseGraph

RATE = 16_000
"""Samples per second of all sound inside voicelog."""

Samples = npt.NDArray[np.float32]


Ending = Literal["whole", "unsure", "unfinished"]
"""What was said up to a pause: a whole phrase, no telling, or the beginning of one."""


@dataclass(frozen=True, slots=True, eq=False)
class Utterance:
    """One stretch of speech: mono samples in [-1, 1] at :data:`RATE`, and when it began."""

    samples: Samples
    start_s: float
    """Seconds from the start of the recording or stream."""
    complete: bool = True
    """False when the sound broke off (end of file, lost device) before the speech ended."""
    same_breath: bool = False
    """Whether it follows the utterance before so closely that both may be one thing said."""

    @property
    def end_s(self) -> float:
        """Seconds from the start of the recording or stream."""
        return self.start_s + len(self.samples) / RATE


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One phrase of the graph as a candidate for what was said."""

    words: tuple[str, ...]
    log_likelihood: float
    """Nats, summed over the phrase's tokens and its end; comparable between hypotheses and
    with :attr:`Decoding.free_log_likelihood` of the same utterance."""
    posterior: float
    """Probability that exactly this phrase was said; all hypotheses plus
    :attr:`Decoding.outside` sum to 1."""

    @property
    def text(self) -> str:
        """The phrase as one string."""
        return " ".join(self.words)


@dataclass(frozen=True, slots=True)
class Decoding:
    """What a recogniser made of an utterance."""

    hypotheses: tuple[Hypothesis, ...]
    """Best first; empty when no phrase of the graph could be followed."""
    outside: float
    """Posterior that what was said is no phrase of the graph."""
    free_text: str
    """The best unconstrained reading, for the officer's eyes; never interpreted."""
    free_log_likelihood: float
    """Nats, as :attr:`Hypothesis.log_likelihood`."""
    refused: str = ""
    """Why there is no answer; empty when the best hypothesis may be used."""
    audio_s: float = 0.0
    decode_s: float = field(default=0.0, compare=False)
    unfinished: bool = False
    """Whether a phrase was rather begun than ended: more of it is to be waited for."""
    ending: float = 0.0
    """Log-probability (nats) that nothing more was said after the best hypothesis; 0 where an engine
    cannot tell."""

    @property
    def best(self) -> Hypothesis | None:
        """The best hypothesis, unless the utterance was refused."""
        return None if self.refused or not self.hypotheses else self.hypotheses[0]


class Recogniser(Protocol):
    """Turns an utterance into a decoding. Deterministic: the same input, the same result."""

    name: str
    """Engine and model, as it is written into the record."""
    model_sha256: str

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Decode against the phrases of ``graph``."""
        ...

    def dictate(self, utterance: Utterance) -> str:
        """Transcribe freely, for remarks."""
        ...


class LiveWords(Protocol):
    """One utterance while it is being spoken. What it gives is shown, and never logged."""

    def accept(self, samples: Samples) -> tuple[str, ...]:
        """Take the next samples of the utterance; return the words heard so far."""
        ...

    def finish(self) -> tuple[str, ...]:
        """Return the words of the whole utterance; nothing may be given after it."""
        ...


@runtime_checkable
class Streaming(Protocol):
    """A recogniser that can tell words while they are spoken."""

    def begin(self, graph: PhraseGraph) -> LiveWords:
        """Begin to listen to an utterance against the phrases of ``graph``."""
        ...


@runtime_checkable
class OfAVocabulary(Protocol):
    """A recogniser that can hear only the words of its model's vocabulary."""

    def unknown_words(self, graph: PhraseGraph) -> tuple[str, ...]:
        """Return the words of ``graph`` that are not in it: phrases with them are never heard."""
        ...
