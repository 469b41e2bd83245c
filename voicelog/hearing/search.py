"""Beam search that can only follow the phrase graph, and one that may follow anything.

Scores are Whisper's own log-probabilities over the full vocabulary, never renormalised over what
the graph allows, so that a phrase's likelihood can be compared with that of free decoding. Both
searches take their steps together: the dear part of a step is passing over the weights, and it
costs little more for more rows.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from voicelog.hearing.decoder import Cache, Decoder, Encoding, NextTokens, Tokens, select
from voicelog.hearing.matrix import Array
from voicelog.hearing.tokens import Arc, Floats, Ints, TokenGraph

Rows = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class SearchOptions:
    """How the search ranks and prunes."""

    beam: int = 8
    expectation_weight: float = 0.7
    """Share of the decoder's own expectation of text that is taken back out while ranking.

    The decoder is also a language model, trained on other text than check sheets: in noise it
    falls back on what people usually say, and on saying little. Dividing that part out again is
    internal language model subtraction (McDermott et al. 2019, "A density ratio approach")."""
    prior_weight: float = 0.4
    """Share of the phrase graph's own prior: a word among many is less likely than one among few,
    and another fact less likely than the end. It takes the place of the expectation taken out."""
    goes_on_nats: float = 10.0
    """A path is given up that is so much less likely than to have ended earlier on its way. Once it
    has said something, the decoder likes to say it again; ranking would count that as heard."""
    margin: float = 18.0
    """Nats behind the best path of the same length at which a path is given up."""
    worth_nats: float = 30.0
    """A path that free decoding beats by more is given up: it would be refused anyway."""
    free_beam: int = 2
    most_tokens: int = 80
    tokens_per_second: float = 8.0
    """No one speaks faster; keeps a search through noise from going round a loop."""

    def __post_init__(self) -> None:
        if self.beam < 1 or self.most_tokens < 1 or not 0 <= self.expectation_weight <= 1:
            raise ValueError("beam and most_tokens must be positive, expectation_weight in [0, 1]")


@dataclass(frozen=True, slots=True)
class Found:
    """One finished path."""

    words: tuple[str, ...]
    log_likelihood: float
    """Nats, of the tokens and the end of text."""
    rank_score: float
    """What it was ranked by."""
    weakest_word: float
    """The lowest log-likelihood of any one word, in nats (0 for a phrase without words)."""
    least_evidence: float
    """The least that the sound speaks for any one word: its log-likelihood less what the decoder
    expects of it without sound, in nats (0 for a phrase without words)."""
    ending: float
    """Log-probability that the text ends there, by its end or the end of a sentence, in nats. Whole
    phrases were seen at -0.1 to -0.5; where more was said the decoder wants to go on."""
    tokens: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Begun:
    """A path that stopped between two words where no phrase may end."""

    words: tuple[str, ...] = ()
    log_likelihood: float = -np.inf
    """Nats, of the tokens and the end of text."""
    rank_score: float = -np.inf
    tokens: int = 0


@dataclass(frozen=True, slots=True)
class Heard:
    """What both searches came back with."""

    found: list[Found]
    """Phrases of the graph, best first; token paths of the same words stay apart."""
    begun: Begun
    """The likeliest beginning of a phrase: what was said, if it is to be gone on with."""
    free_tokens: tuple[int, ...]
    free_log_likelihood: float
    """Nats."""


def search(
    decoder: Decoder,
    encoding: Encoding,
    graph: TokenGraph,
    prompt: tuple[int, ...],
    ends: tuple[int, ...],
    forbidden: Array,
    options: SearchOptions,
    *,
    seconds: float,
) -> Heard:
    """Follow the phrase graph and, beside it, anything at all.

    ``ends`` are the end of text and, after it, the marks that end a sentence. ``seconds`` of speech
    bound how many tokens there can be. ``forbidden`` (V) is added to free decoding's scores: 0 where a
    token may be printed, very low where not.
    """
    end = ends[0]
    most = min(options.most_tokens, 6 + int(options.tokens_per_second * seconds))
    phrases = _PhraseSearch(graph, ends, options, most)
    free = _FreeSearch(forbidden, end, options.free_beam, 2 * most)
    steps = _Steps(decoder, encoding)
    # Rows: the phrases' beams, those of free decoding, and the phrases' again, not hearing.
    beams, frees = 1, 1
    scores = steps.begin(prompt, 3, 1)
    while True:
        if frees:
            free.go_on(scores.log_probabilities(slice(beams, beams + frees)))
            if free.done:
                phrases.worth = free.log_likelihood - options.worth_nats
        if beams:
            phrases.go_on(scores, beams + frees)
        rows = np.concatenate([phrases.rows, beams + free.rows, beams + frees + phrases.rows])
        beams, frees = len(phrases.rows), len(free.rows)
        if not beams and not frees:
            return Heard(phrases.finished(), phrases.begun, free.tokens, free.log_likelihood)
        scores = steps.go_on(rows, np.concatenate([phrases.next, free.next, phrases.next]), beams)


def free_decode(
    decoder: Decoder,
    encoding: Encoding,
    prompt: tuple[int, ...],
    end: int,
    forbidden: Array,
    *,
    beam: int,
    most_tokens: int,
    between: Callable[[], None] = lambda: None,
) -> tuple[tuple[int, ...], float]:
    """Return the best unconstrained token sequence and its log-likelihood in nats.

    ``forbidden`` as in :func:`search`. Normalised by nothing: longer readings compete with shorter
    ones as they are. ``between`` is called between two steps.
    """
    free = _FreeSearch(forbidden, end, beam, most_tokens)
    steps = _Steps(decoder, encoding)
    scores = steps.begin(prompt, 1, 0)
    while True:
        free.go_on(scores.log_probabilities(slice(None)))
        if free.done:
            return free.tokens, free.log_likelihood
        between()
        scores = steps.go_on(free.rows, free.next, 0)


class _Steps:
    """The decoder taken along many rows, the last ones without hearing."""

    def __init__(self, decoder: Decoder, encoding: Encoding) -> None:
        self._decoder, self._encoding = decoder, encoding
        self._cache: Cache | None = None
        self._position = 0

    def begin(self, prompt: tuple[int, ...], rows: int, deaf: int) -> NextTokens:
        """Start rows with the prompt; return what may come next in each."""
        return self._step(np.array([prompt] * rows), deaf)

    def go_on(self, rows: Rows, tokens: Tokens, deaf: int) -> NextTokens:
        """Keep ``rows`` of the last step and add one of ``tokens`` to each."""
        assert self._cache is not None  # it has begun
        self._cache = select(self._cache, rows)
        return self._step(tokens[:, None], deaf)

    def _step(self, tokens: Tokens, deaf: int) -> NextTokens:
        hidden, self._cache = self._decoder.step(self._encoding, tokens, self._position, self._cache, deaf)
        self._position += tokens.shape[1]
        return self._decoder.next_tokens(hidden[:, -1])


_NONE = np.zeros(0, np.int64)


@dataclass(frozen=True, slots=True)
class _WordSums:
    """Sums over the tokens of the word begun, in nats."""

    heard: float = 0.0
    expected: float = 0.0


@dataclass(frozen=True, slots=True)
class _Beam:
    score: float
    raw: float
    tokens: tuple[int, ...]
    words: tuple[str, ...]
    word: _WordSums
    weakest: float
    evidence: float
    ended: float
    """The highest log-likelihood of ending earlier on the way, in nats."""
    state: int


class _PhraseSearch:
    """The beams that follow the graph. After each step, ``rows`` are the beams that are kept of the
    last step (empty when it is over) and ``next`` the token that each grows by."""

    def __init__(self, graph: TokenGraph, ends: tuple[int, ...], options: SearchOptions, most: int) -> None:
        self._graph, self._end, self._options, self._left = graph, ends[0], options, most
        self._ends = np.array(ends, np.int64)
        self._beams = [_Beam(0.0, 0.0, (), (), _WordSums(), 0.0, 0.0, -np.inf, graph.initial)]
        self._finished: list[Found] = []
        self._best_finished = -np.inf
        self.begun = Begun()
        self.worth = -np.inf
        """Paths of a lower log-likelihood (nats) are given up: they could only be refused."""
        self.rows: Rows = np.zeros(1, np.intp)
        self.next: Tokens = _NONE

    def finished(self) -> list[Found]:
        """Return the finished paths, best first."""
        return sorted(self._finished, key=lambda found: -found.rank_score)

    def go_on(self, scores: NextTokens, deaf: int) -> None:
        """Grow every beam by one token; beam ``b`` hears in row ``b`` and not in row ``deaf + b``."""
        graph, options = self._graph, self._options
        arcs = [graph.arcs(beam.state) for beam in self._beams]
        grown: list[tuple[float, int, int]] = []
        heard_of, expected_of = list[Array](), list[Array]()
        for row, beam in enumerate(self._beams):
            tokens, _, priors = arcs[row]
            asked = np.append(tokens, self._end)
            heard, expected = (scores.log_probability(r, asked) for r in (row, deaf + row))
            heard_of.append(heard)
            expected_of.append(expected)
            ranks = heard - options.expectation_weight * expected
            if graph.may_end(beam.state):
                score = beam.score + float(ranks[-1])
                score += options.prior_weight * graph.end_log_prior(beam.state)
                raw = beam.raw + float(heard[-1])
                ending = float(np.logaddexp.reduce(scores.log_probability(row, self._ends)))
                self._finished.append(
                    Found(beam.words, raw, score, beam.weakest, beam.evidence, ending, beam.tokens)
                )
                self._best_finished = max(self._best_finished, score)
                beam = self._beams[row] = replace(beam, ended=max(beam.ended, raw))
            elif beam.words and graph.between_words(beam.state):
                score = beam.score + float(ranks[-1])
                if score > self.begun.rank_score:
                    self.begun = Begun(beam.words, beam.raw + float(heard[-1]), score, len(beam.tokens))
            if not len(tokens):
                continue
            ranked = beam.score + ranks[:-1] + options.prior_weight * priors
            hopeless = max(self.worth, beam.ended - options.goes_on_nats)
            ranked[beam.raw + heard[:-1] < hopeless] = -np.inf
            best = np.argsort(-ranked, kind="stable")[: options.beam]
            grown += [
                (-float(ranked[place]), row, int(place)) for place in best if np.isfinite(ranked[place])
            ]
        kept = _best(grown, self._beams, arcs, options.beam, options.margin)
        self._left -= 1
        if not kept or self._best_finished > -kept[0][0] or not self._left:
            kept = []
        self._beams = [
            _grown(
                self._beams[row],
                graph,
                arcs[row],
                place,
                -negated,
                float(heard_of[row][place]),
                float(expected_of[row][place]),
            )
            for negated, row, place in kept
        ]
        self.rows = np.array([row for _, row, _ in kept], np.intp)
        self.next = np.array([beam.tokens[-1] for beam in self._beams], np.int64)


def _best(
    grown: list[tuple[float, int, int]],
    beams: list[_Beam],
    arcs: list[tuple[Ints, list[Arc], Floats]],
    count: int,
    margin: float,
) -> list[tuple[float, int, int]]:
    """Return the best of the paths grown by one token, without those that go round in circles.

    Once it has said something twice, the decoder goes on saying it, whatever is heard.
    """
    kept: list[tuple[float, int, int]] = []
    heapq.heapify(grown)
    while grown and len(kept) < count:
        item = heapq.heappop(grown)
        _, row, place = item
        if kept and item[0] > kept[0][0] + margin:
            break
        word = arcs[row][1][place].word
        if word is None or not _repeats((*beams[row].words, word)):
            kept.append(item)
    return kept


_JOINTS = frozenset({"and", "is", "are"})


def _repeats(words: tuple[str, ...]) -> bool:
    """Return whether the words end in two or more said twice over, with or without a joint between."""
    plain = tuple(word for word in words if word not in _JOINTS)
    return words[-1:] == plain[-1:] and any(
        plain[-n:] == plain[-2 * n : -n] for n in range(2, len(plain) // 2 + 1)
    )


def _grown(
    beam: _Beam,
    graph: TokenGraph,
    arcs: tuple[Ints, list[Arc], Floats],
    place: int,
    score: float,
    heard: float,
    expected: float,
) -> _Beam:
    """Return the beam with one token more; the last two are its log-probabilities."""
    token, arc = int(arcs[0][place]), arcs[1][place]
    word = _WordSums(beam.word.heard + heard, beam.word.expected + expected)
    weakest, evidence = beam.weakest, beam.evidence
    if arc.word is not None:
        weakest = min(weakest, word.heard)
        evidence = min(evidence, word.heard - word.expected) if beam.words else word.heard - word.expected
    return _Beam(
        score,
        beam.raw + heard,
        (*beam.tokens, token),
        (*beam.words, arc.word) if arc.word is not None else beam.words,
        _WordSums() if arc.word is not None else word,
        weakest,
        evidence,
        beam.ended,
        graph.target(beam.state, arc),
    )


class _FreeSearch:
    """The beams that may follow anything; ``rows`` and ``next`` as in :class:`_PhraseSearch`."""

    def __init__(self, forbidden: Array, end: int, beam: int, most: int) -> None:
        self._forbidden, self._end, self._beam, self._left = forbidden, end, beam, most
        self._beams: list[tuple[float, tuple[int, ...]]] = [(0.0, ())]
        self.tokens: tuple[int, ...] = ()
        """The best finished reading."""
        self.log_likelihood = -np.inf
        """Nats."""
        self.rows: Rows = np.zeros(1, np.intp)
        self.next: Tokens = _NONE

    @property
    def done(self) -> bool:
        """Whether no longer reading can be better."""
        return not len(self.rows)

    def go_on(self, log_probabilities: Array) -> None:
        """Grow every beam by one token, given the next token's distribution (beams x V)."""
        totals = log_probabilities + self._forbidden
        totals += np.array([score for score, _ in self._beams], np.float32)[:, None]
        for row, (_, tokens) in enumerate(self._beams):
            if totals[row, self._end] > self.log_likelihood:
                self.log_likelihood, self.tokens = float(totals[row, self._end]), tokens
        totals[:, self._end] = -np.inf
        flat = totals.ravel()
        keep = np.argpartition(-flat, self._beam)[: self._beam]
        keep = keep[np.lexsort((keep, -flat[keep]))]
        self._left -= 1
        if self.log_likelihood >= flat[keep[0]] or not self._left:
            self.rows, self.next = np.zeros(0, np.intp), _NONE
            return
        rows, picked = np.divmod(keep, totals.shape[1])
        self._beams = [
            (float(flat[k]), (*self._beams[r][1], int(t))) for k, r, t in zip(keep, rows, picked, strict=True)
        ]
        self.rows, self.next = rows.astype(np.intp), picked.astype(np.int64)
