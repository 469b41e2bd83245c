"""Beam search that can only follow the phrase graph.

Scores are Whisper's own log-probabilities over the full vocabulary, never renormalised over what
the graph allows, so that a phrase's likelihood can be compared with that of free decoding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from voicelog.hearing.decoder import Cache, Decoder, Encoding, Tokens, select
from voicelog.hearing.tokens import Arc, Floats, Ints, TokenGraph
from voicelog.hearing.weights import Array


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
    tokens: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Beam:
    score: float
    raw: float
    tokens: tuple[int, ...]
    words: tuple[str, ...]
    word_raw: float
    weakest: float
    state: int


def search(
    decoder: Decoder,
    encoding: Encoding,
    graph: TokenGraph,
    prompt: tuple[int, ...],
    end: int,
    options: SearchOptions,
    *,
    seconds: float,
    worth: float = -np.inf,
) -> list[Found]:
    """Return the finished paths, best first; token paths of the same words stay apart.

    ``seconds`` of speech bound how many tokens there can be. Paths whose log-likelihood has
    fallen below ``worth`` (nats) are given up: they could only be refused.
    """
    most = min(options.most_tokens, 6 + int(options.tokens_per_second * seconds))
    steps = _Steps(decoder, encoding, np.array([prompt]), listening_only=options.expectation_weight == 0.0)
    beams = [_Beam(0.0, 0.0, (), (), 0.0, 0.0, graph.initial)]
    finished: list[Found] = []
    best_finished = -np.inf
    for _ in range(most):
        scores = steps.heard
        ranks = scores - options.expectation_weight * steps.expected
        arcs = [graph.arcs(beam.state) for beam in beams]
        grown: list[tuple[float, int, int]] = []
        for row, beam in enumerate(beams):
            tokens, _, priors = arcs[row]
            if graph.may_end(beam.state):
                raw = beam.raw + float(scores[row, end])
                score = beam.score + float(ranks[row, end])
                score += options.prior_weight * graph.end_log_prior(beam.state)
                finished.append(Found(beam.words, raw, score, beam.weakest, beam.tokens))
                best_finished = max(best_finished, score)
            if not len(tokens):
                continue
            ranked = beam.score + ranks[row, tokens] + options.prior_weight * priors
            hopeless = beam.raw + scores[row, tokens] < worth
            best = np.argsort(np.where(hopeless, np.inf, -ranked), kind="stable")[: options.beam]
            grown += [(-float(ranked[place]), row, int(place)) for place in best if not hopeless[place]]
        kept = _best(grown, beams, arcs, options.beam)
        if not kept or best_finished > -kept[0][0]:
            break
        beams = [
            _grown(beams[row], graph, arcs[row], place, float(scores[row, arcs[row][0][place]]), -negated)
            for negated, row, place in kept
        ]
        steps.go_on(np.array([row for _, row, _ in kept]), np.array([[beam.tokens[-1]] for beam in beams]))
    finished.sort(key=lambda f: -f.rank_score)
    return finished


def _best(
    grown: list[tuple[float, int, int]],
    beams: list[_Beam],
    arcs: list[tuple[Ints, list[Arc], Floats]],
    count: int,
) -> list[tuple[float, int, int]]:
    """Return the best of the paths grown by one token, without those that go round in circles.

    Once it has said something twice, the decoder goes on saying it, whatever is heard.
    """
    kept = []
    for item in sorted(grown):
        _, row, place = item
        word = arcs[row][1][place].word
        if word is not None and _repeats((*beams[row].words, word)):
            continue
        kept.append(item)
        if len(kept) == count:
            break
    return kept


def _repeats(words: tuple[str, ...]) -> bool:
    """Return whether the words end in two or more said twice over."""
    return any(words[-n:] == words[-2 * n : -n] for n in range(2, len(words) // 2 + 1))


class _Steps:
    """The decoder run over the beams twice, side by side: hearing the utterance, and hearing nothing."""

    def __init__(self, decoder: Decoder, encoding: Encoding, tokens: Tokens, *, listening_only: bool) -> None:
        self._decoder, self._encoding, self._listening_only = decoder, encoding, listening_only
        self._position = 0
        self._caches: tuple[Cache | None, Cache | None] = (None, None)
        self.heard = self.expected = np.zeros((1, 1), np.float32)
        """Log-probabilities of the next token (B x V), with and without the sound."""
        self._run(tokens)

    def go_on(self, rows: npt.NDArray[np.intp], tokens: Tokens) -> None:
        """Keep the beams ``rows`` and add one token (B x 1) to each."""
        heard, expected = self._caches
        self._caches = (
            select(heard, rows) if heard is not None else None,
            select(expected, rows) if expected is not None else None,
        )
        self._run(tokens)

    def _run(self, tokens: Tokens) -> None:
        decoder, beams = self._decoder, len(tokens)
        hidden, heard = decoder.step(self._encoding, tokens, self._position, self._caches[0])
        if self._listening_only:
            self._caches = (heard, None)
            self.heard = decoder.log_probabilities(hidden[:, -1])
            self.expected = np.zeros_like(self.heard)
        else:
            without, expected = decoder.step(None, tokens, self._position, self._caches[1])
            self._caches = (heard, expected)
            # One product with the vocabulary's matrix, the dearest of all, for both.
            scores = decoder.log_probabilities(np.concatenate([hidden[:, -1], without[:, -1]]))
            self.heard, self.expected = scores[:beams], scores[beams:]
        self._position += tokens.shape[1]


def _grown(
    beam: _Beam,
    graph: TokenGraph,
    arcs: tuple[Ints, list[Arc], Floats],
    place: int,
    heard: float,
    score: float,
) -> _Beam:
    token, arc = int(arcs[0][place]), arcs[1][place]
    word_raw = beam.word_raw + heard
    done = arc.word is not None
    return _Beam(
        score,
        beam.raw + heard,
        (*beam.tokens, token),
        (*beam.words, arc.word) if arc.word is not None else beam.words,
        0.0 if done else word_raw,
        min(beam.weakest, word_raw) if done else beam.weakest,
        graph.target(beam.state, arc),
    )


def free_decode(
    decoder: Decoder,
    encoding: Encoding,
    prompt: tuple[int, ...],
    end: int,
    forbidden: Array,
    *,
    beam: int,
    most_tokens: int,
) -> tuple[tuple[int, ...], float]:
    """Return the best unconstrained token sequence and its log-likelihood in nats.

    ``forbidden`` (V) is added to every step: 0 where a token may be said, very low where not.
    Normalised by nothing: longer readings compete with shorter ones as they are.
    """
    hidden, cache = decoder.step(encoding, np.array([prompt]), 0, None)
    scores = decoder.log_probabilities(hidden[:, -1]) + forbidden
    beams: list[tuple[float, tuple[int, ...]]] = [(0.0, ())]
    best: tuple[float, tuple[int, ...]] = (-np.inf, ())
    for position in range(len(prompt), len(prompt) + most_tokens):
        totals = np.array([score for score, _ in beams])[:, None] + scores
        for row, (_, tokens) in enumerate(beams):
            best = max(best, (float(totals[row, end]), tokens))
        totals[:, end] = -np.inf
        flat = totals.ravel()
        keep = np.argpartition(-flat, beam)[:beam]
        keep = keep[np.lexsort((keep, -flat[keep]))]
        rows, picked = np.divmod(keep, totals.shape[1])
        beams = [(float(flat[k]), (*beams[r][1], int(t))) for k, r, t in zip(keep, rows, picked, strict=True)]
        if best[0] >= beams[0][0]:
            break
        cache = select(cache, rows)
        hidden, cache = decoder.step(encoding, picked[:, None], position, cache)
        scores = decoder.log_probabilities(hidden[:, -1]) + forbidden
    return best[1], best[0]
