"""A recogniser that hears remarks by a script, and makes their words when it is let."""

from __future__ import annotations

import threading
from collections.abc import Mapping

import numpy as np

from voicelog.hearing.recogniser import RATE, Decoding, Hypothesis, Utterance
from voicelog.phrases.graph import PhraseGraph


class Dictated:
    """Hears the words that begin at a second of the stream; the last seconds of them hold three words.

    Meets :class:`voicelog.hearing.recogniser.Recogniser`.
    """

    name, model_sha256 = "dictated", ""

    def __init__(self, script: Mapping[int, str]) -> None:
        self.script = script
        self.let = threading.Event()
        """While it is not set, nothing is dictated to the end."""
        self.let.set()
        self.dictating = threading.Event()
        """Set once dictation has begun."""

    def said(self, at_s: int, seconds: float = 3.0) -> Utterance:
        """Return sound that begins at a second of the stream."""
        noise = np.random.default_rng(at_s).normal(0, 0.05, round(seconds * RATE))
        return Utterance(noise.astype(np.float32), float(at_s))

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Return the phrase of the script, refused where it cannot be said now."""
        begun = max(at_s for at_s in self.script if at_s <= utterance.start_s)
        words = tuple(self.script[begun].lower().replace(",", "").replace(".", "").split())
        if utterance.start_s > begun:
            words = words[-3:]
        text = " ".join(words)
        if not graph.accepts(words):
            return Decoding((), 1.0, text, 0.0, "not a phrase that can be said here")
        return Decoding((Hypothesis(words, 0.0, 1.0),), 0.0, text, 0.0)

    def dictate(self, utterance: Utterance) -> str:
        """Return the words of the script, once it is let."""
        self.dictating.set()
        assert self.let.wait(30)
        return self.script[round(utterance.start_s)]
