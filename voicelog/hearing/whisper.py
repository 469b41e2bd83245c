"""The embedded recogniser: Whisper's weights, and a decoder that can only follow the phrase graph.

CTranslate2 runs the encoder; features, decoder and search are voicelog's own. Nothing is random
and nothing is fetched.
"""

from __future__ import annotations

import time
import weakref
from dataclasses import dataclass, field
from pathlib import Path

import ctranslate2
import numpy as np
import threadpoolctl
from tokenizers import Tokenizer

from voicelog.errors import ModelError
from voicelog.hearing.confidence import Confidence, merge, outside, ranked, share
from voicelog.hearing.decoder import Decoder, Encoding
from voicelog.hearing.features import FRAMES_PER_SECOND, log_mel
from voicelog.hearing.models import find_whisper
from voicelog.hearing.recogniser import RATE, Decoding, Hypothesis, Utterance
from voicelog.hearing.search import Begun, Found, SearchOptions, free_decode, search
from voicelog.hearing.tokens import TokenGraph
from voicelog.hearing.turns import Turns
from voicelog.hearing.vocabulary import forbidden_tokens, token_spelling
from voicelog.hearing.weights import read_weights
from voicelog.phrases.graph import PhraseGraph

LONGEST_S = 30.0
"""The encoder's full window; nothing longer can be heard at once."""
MOST_HYPOTHESES = 16
_REFUSED = "not a phrase that can be said here"
_SENTENCE_ENDS = (".", "!")
"""How the model ends what is said to it. Not by "?": what it takes for a question is none of our phrases."""


@dataclass(frozen=True, slots=True)
class WhisperOptions:
    """How the engine listens."""

    search: SearchOptions = field(default_factory=SearchOptions)
    confidence: Confidence = field(default_factory=Confidence)
    window_s: float = 15.0
    """Seconds of sound the encoder is given: the utterance and digital silence after it. Half the
    encoder's full window takes a third of the time, and on noisy speech is heard at least as well;
    what costs accuracy is padding with zeros after the features are scaled (see features.py)."""
    tail_s: float = 2.0
    """Silence that at least follows the utterance; the window is widened for a long one."""
    begun_behind: float = 3.0
    """The beginning of a phrase is taken for one when it ranks at most this much lower than the
    best phrase, and is likelier. These three are set on 240 phrases in synthetic voices at 6 dB, 12 dB
    and clean, half of them broken off: 43 % of those were found, and no whole one was taken for one."""
    begun_nats: float = 6.0
    """And at most this much less likely than anything at all."""
    begun_nats_a_token: float = 3.0
    """And costs less than this a token."""
    threads: int = 2


@dataclass(frozen=True, slots=True)
class Traced:
    """What a search came back with, before confidence."""

    found: tuple[Found, ...]
    """Phrases, best first."""
    begun: Begun
    free_text: str
    free_log_likelihood: float
    """Nats."""

    @property
    def best(self) -> Found | None:
        """The best phrase; None when no path could be followed."""
        return self.found[0] if self.found else None


class WhisperRecogniser:
    """Grammar-constrained Whisper; meets :class:`voicelog.hearing.recogniser.Recogniser`.

    May be used by two threads: dictation gives way to decoding between two of its steps.
    """

    def __init__(self, folder: Path | None = None, options: WhisperOptions | None = None) -> None:
        found = find_whisper(folder)
        self.options = options or WhisperOptions()
        self.name = found.name
        self.model_sha256 = found.sha256
        try:
            self._encoder = ctranslate2.models.Whisper(
                str(found.path), device="cpu", compute_type="int8", intra_threads=self.options.threads
            )
            self._tokenizer = Tokenizer.from_file(str(found.path / "tokenizer.json"))
        except Exception as error:  # both libraries raise bare RuntimeError or Exception
            raise ModelError(
                f"the model cannot be loaded ({error})",
                where=str(found.path),
                remedy="copy the model folder again; models_readme says which forms work",
            ) from error
        if self._encoder.is_multilingual:
            raise ModelError(
                "this is a multilingual model",
                where=str(found.path),
                remedy="use an English one (its name ends in .en)",
            )
        # The decoder's matrices are small: a second BLAS thread gains little on an idle machine
        # and costs tenfold on a busy one, where every product waits for it to be scheduled.
        threadpoolctl.threadpool_limits(limits=1, user_api="blas")
        weights = read_weights(found.path / "model.bin")
        self._bands = self._encoder.n_mels
        self._decoder = Decoder(weights)
        self._end = self._special("<|endoftext|>")
        self._ends = (self._end, *(mark for text in _SENTENCE_ENDS if (mark := self._mark(text)) is not None))
        self._prompt = (self._special("<|startoftranscript|>"), self._special("<|notimestamps|>"))
        self._forbidden = forbidden_tokens(self._tokenizer, self._end, len(self._decoder.embeddings))
        self._graphs: weakref.WeakKeyDictionary[PhraseGraph, TokenGraph] = weakref.WeakKeyDictionary()
        self._spell = token_spelling(self._tokenizer)
        self._turns = Turns()

    def _special(self, token: str) -> int:
        number = self._tokenizer.token_to_id(token)
        if number is None:
            raise ModelError(
                f"the tokenizer has no {token}", where=self.name, remedy="use a Whisper model's own tokenizer"
            )
        return int(number)

    def _mark(self, text: str) -> int | None:
        ids = self._tokenizer.encode(text, add_special_tokens=False).ids
        return int(ids[0]) if len(ids) == 1 else None

    def encode(self, utterance: Utterance) -> Encoding:
        """Return the utterance as the decoder attends to it."""
        wanted = max(self.options.window_s, len(utterance.samples) / RATE + self.options.tail_s)
        frames = 2 * int(min(wanted, LONGEST_S) * FRAMES_PER_SECOND / 2)  # the encoder halves them
        features = log_mel(utterance.samples, self._bands, frames)
        view = ctranslate2.StorageView.from_array(np.ascontiguousarray(features[None]))
        encoded = np.asarray(self._encoder.encode(view)).astype(np.float32)[0]
        return self._decoder.attend_to(encoded)

    def trace(self, utterance: Utterance, graph: PhraseGraph) -> Traced:
        """Return all that confidence is computed from."""
        with self._turns.first():
            heard = search(
                self._decoder,
                self.encode(utterance),
                self._tokens(graph),
                self._prompt,
                self._ends,
                self._forbidden,
                self.options.search,
                seconds=len(utterance.samples) / RATE,
            )
        found = ranked(merge(heard.found), heard.free_log_likelihood, self.options.confidence)
        return Traced(tuple(found), heard.begun, self._text(heard.free_tokens), heard.free_log_likelihood)

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Decode against the phrases of ``graph``."""
        started = time.perf_counter()
        confidence = self.options.confidence
        traced = self.trace(utterance, graph)
        audio_s = len(utterance.samples) / RATE
        free = traced.free_text, traced.free_log_likelihood
        elapsed = time.perf_counter() - started
        unfinished = self._unfinished(traced)
        if traced.best is None:
            return Decoding((), 1.0, *free, _REFUSED, audio_s, elapsed, unfinished)
        away = outside(traced.best, traced.free_log_likelihood, confidence)
        kept = traced.found[:MOST_HYPOTHESES]
        shares = share([f.rank_score for f in kept], confidence.temperature)
        hypotheses = tuple(
            Hypothesis(f.words, f.log_likelihood, s * (1.0 - away)) for f, s in zip(kept, shares, strict=True)
        )
        refused = _REFUSED if away >= confidence.refuse_above else ""
        return Decoding(
            hypotheses, away, *free, refused, audio_s, elapsed, unfinished, ending=traced.best.ending
        )

    def _unfinished(self, traced: Traced) -> bool:
        begun, best, options = traced.begun, traced.best, self.options
        if best is not None and (
            begun.log_likelihood <= best.log_likelihood
            or begun.rank_score <= best.rank_score - options.begun_behind
        ):
            return False
        a_token = -begun.log_likelihood / (begun.tokens + 1)
        behind_free = traced.free_log_likelihood - begun.log_likelihood
        return behind_free < options.begun_nats and a_token < options.begun_nats_a_token

    def dictate(self, utterance: Utterance) -> str:
        """Transcribe freely; offensive words are not printed, since nobody may have said them."""
        with self._turns.after():
            tokens, _ = free_decode(
                self._decoder,
                self.encode(utterance),
                self._prompt,
                self._end,
                self._forbidden,
                beam=5,
                most_tokens=200,
                between=self._turns.give_way,
            )
        return self._text(tokens)

    def _text(self, tokens: tuple[int, ...]) -> str:
        return str(self._tokenizer.decode(list(tokens))).strip()

    def _tokens(self, graph: PhraseGraph) -> TokenGraph:
        known = self._graphs.get(graph)
        if known is None:
            known = self._graphs[graph] = TokenGraph(graph, self._spell)
        return known
