"""Vosk as a recogniser: a run-time grammar for each stop, alternatives, and words while they are spoken.

Invariant: a hypothesis is always a phrase of the graph. Each utterance is decoded whole and from a
fresh state, so the same sound gives the same decoding however it arrived; what is shown while it is
spoken comes from a decoder of its own and decides nothing.
"""

from __future__ import annotations

import json
import time
import weakref
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from voicelog.hearing.recogniser import RATE, Decoding, Samples, Utterance
from voicelog.hearing.vosk.confidence import Alternative, VoskConfidence, posteriors
from voicelog.hearing.vosk.folder import find_vosk
from voicelog.hearing.vosk.grammar import VoskGrammar, vosk_grammar
from voicelog.hearing.vosk.library import load_model, vosk_library
from voicelog.phrases.graph import PhraseGraph

MOST_ALTERNATIVES = 64
MOST_HYPOTHESES = 16
NOT_HERE = "not a phrase that can be said here"
_UNKNOWN_MARKS = ("[unk]", "<unk>", "<UNK>")
"""How models write a word that they do not know."""


@dataclass(frozen=True, slots=True)
class _Ready:
    """A graph as Vosk takes it."""

    grammar: VoskGrammar
    as_json: str


class VoskRecogniser:
    """Vosk; meets :class:`~voicelog.hearing.recogniser.Recogniser` and ``Streaming``."""

    def __init__(self, folder: Path, confidence: VoskConfidence | None = None) -> None:
        """Load the model in ``folder``. Raises :class:`voicelog.errors.ModelError`."""
        found = find_vosk(folder)
        self._vosk = vosk_library()
        self._model, self.model_sha256 = load_model(self._vosk, found)
        self.name = found.name if found.name.startswith("vosk") else f"vosk {found.name}"
        self._confidence = confidence or VoskConfidence()
        self._ready: weakref.WeakKeyDictionary[PhraseGraph, _Ready] = weakref.WeakKeyDictionary()
        self._garbage = next((mark for mark in _UNKNOWN_MARKS if self.knows(mark)), None)

    def knows(self, word: str) -> bool:
        """Return whether the model can hear a word."""
        return bool(self._model.vosk_model_find_word(word) >= 0)

    def unknown_words(self, graph: PhraseGraph) -> tuple[str, ...]:
        """Return the graph's words that the model does not know: phrases with them are never heard."""
        return self._prepare(graph).grammar.unknown

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Decode against the phrases of ``graph``."""
        started = time.perf_counter()
        sound = _as_bytes(utterance.samples)
        free = self._alternatives(self._listener(None), sound, 1)
        free_text = " ".join(free[0].words) if free else ""
        free_likelihood = free[0].log_likelihood if free else 0.0
        ready = self._prepare(graph)
        alternatives: list[Alternative] = []
        sure: dict[str, float] = {}
        if ready.grammar.lines:
            alternatives = self._alternatives(self._listener(ready), sound, MOST_ALTERNATIVES)
            sure = self._word_confidence(self._listener(ready), sound)
        audio_s = len(utterance.samples) / RATE
        hypotheses, outside = posteriors(
            alternatives, free_likelihood, audio_s, sure, graph.accepts, self._confidence
        )
        kept = hypotheses[:MOST_HYPOTHESES]
        outside = min(1.0, outside + sum(h.posterior for h in hypotheses[MOST_HYPOTHESES:]))
        refused = NOT_HERE if not kept or outside >= self._confidence.refuse_above else ""
        elapsed = time.perf_counter() - started
        return Decoding(kept, outside, free_text, free_likelihood, refused, audio_s, elapsed)

    def dictate(self, utterance: Utterance) -> str:
        """Transcribe freely; a word that the model does not know is left out."""
        found = self._alternatives(self._listener(None), _as_bytes(utterance.samples), 1)
        return " ".join(w for w in found[0].words if w not in _UNKNOWN_MARKS) if found else ""

    def begin(self, graph: PhraseGraph) -> VoskLiveWords:
        """Begin to listen to an utterance that is still being spoken."""
        ready = self._prepare(graph)
        return VoskLiveWords(self._listener(ready) if ready.grammar.lines else None)

    # the library ----------------------------------------------------------------------------

    def _prepare(self, graph: PhraseGraph) -> _Ready:
        known = self._ready.get(graph)
        if known is None:
            grammar = vosk_grammar(graph, self.knows)
            # Speech that is for somebody else needs a word to be heard as.
            garbage = [self._garbage] if self._garbage else []
            known = _Ready(grammar, json.dumps([*grammar.lines, *garbage], ensure_ascii=False))
            self._ready[graph] = known
        return known

    def _listener(self, ready: _Ready | None) -> Any:
        """Return a decoder in its first state; without a graph, of all that the model knows."""
        if ready is None:
            return self._vosk.KaldiRecognizer(self._model, RATE)
        return self._vosk.KaldiRecognizer(self._model, RATE, ready.as_json)

    def _alternatives(self, listener: Any, sound: bytes, most: int) -> list[Alternative]:
        listener.SetMaxAlternatives(most)
        listener.AcceptWaveform(sound)
        found = json.loads(listener.FinalResult()).get("alternatives", [])
        read = [Alternative(tuple(a["text"].split()), float(a["confidence"])) for a in found]
        return [a for a in read if a.words]

    def _word_confidence(self, listener: Any, sound: bytes) -> dict[str, float]:
        """Return the least confidence of each word of the consensus."""
        listener.SetWords(True)
        listener.AcceptWaveform(sound)
        least: dict[str, float] = {}
        for found in json.loads(listener.FinalResult()).get("result", []):
            word, sure = found["word"], float(found["conf"])
            least[word] = min(sure, least.get(word, 1.0))
        return least


class VoskLiveWords:
    """The words of one utterance as they are spoken; meets ``LiveWords``."""

    def __init__(self, listener: Any | None) -> None:
        self._listener = listener

    def accept(self, samples: Samples) -> tuple[str, ...]:
        """Take the next sound of the utterance; return the words heard so far."""
        if self._listener is None or not len(samples):
            return ()
        self._listener.AcceptWaveform(_as_bytes(samples))
        return self._known(json.loads(self._listener.PartialResult()).get("partial", ""))

    def finish(self) -> tuple[str, ...]:
        """Return the words of the whole utterance; nothing more may be given."""
        if self._listener is None:
            return ()
        words = self._known(json.loads(self._listener.FinalResult()).get("text", ""))
        self._listener = None
        return words

    @staticmethod
    def _known(text: str) -> tuple[str, ...]:
        return tuple(word for word in text.split() if word not in _UNKNOWN_MARKS)


def _as_bytes(samples: Samples) -> bytes:
    """Return samples in [-1, 1] as the 16-bit little-endian sound that Vosk takes.

    With noise of one step of the scale, always the same: models are trained with as much, and
    digital silence has no logarithm.
    """
    noise = np.random.default_rng(0).standard_normal(len(samples), np.float32)
    steps = np.clip(np.rint(samples * 32767 + noise), -32768, 32767).astype("<i2")
    return bytes(steps.tobytes())
