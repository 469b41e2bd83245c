"""Beam search that can only follow the phrase graph.

Scores are Whisper's own log-probabilities over the full vocabulary, never renormalised over what
the graph allows, so that a phrase's likelihood can be compared with that of free decoding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from voicelog.hearing.decoder import Cache, Decoder, Encoding, select
from voicelog.hearing.tokens import Arc, Floats, Ints, TokenGraph
from voicelog.hearing.weights import Array


@dataclass(frozen=True, slots=True)
class SearchOptions:
    """How the search ranks and prunes."""

    beam: int = 8
    token_bonus: float = 0.0
    """Nats added per token while searching."""
    expectation_weight: float = 0.5
    """Share of the decoder's own expectation of text that is taken back out while ranking.

    The decoder is also a language model, trained on other text than check sheets: in noise it
    falls back on what people usually say, and on saying little. Dividing that part out again is
    internal language model subtraction (McDermott et al. 2019, "A density ratio approach")."""
    prior_weight: float = 0.5
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


class Expectation:
    """What the decoder expects next where nothing is heard, for the tokens a graph allows.

    Independent of the sound, so it is kept from one utterance to the next.
    """

    MOST = 20_000
    """Places kept; a few hundred bytes each."""

    def __init__(self, decoder: Decoder, prompt: tuple[int, ...], end: int) -> None:
        self._decoder, self._prompt, self._end = decoder, prompt, end
        self._known: dict[tuple[int, tuple[int, ...]], Array] = {}

    def of(self, places: list[tuple[int, tuple[int, ...]]], nexts: list[Ints]) -> list[Array]:
        """Return per place the log-probabilities of its next tokens and, last, of the end of text.

        A place is a state of one token graph and the tokens that led there, all of one length.
        """
        missing = [i for i, place in enumerate(places) if place not in self._known]
        if missing:
            if len(self._known) + len(missing) > self.MOST:
                self._known.clear()
                missing = list(range(len(places)))
            tokens = np.array([(*self._prompt, *places[i][1]) for i in missing])
            hidden, _ = self._decoder.step(None, tokens, 0, None)
            scores = self._decoder.log_probabilities(hidden[:, -1])
            for row, i in enumerate(missing):
                self._known[places[i]] = scores[row, np.append(nexts[i], self._end)]
        return [self._known[place] for place in places]


def search(
    decoder: Decoder,
    encoding: Encoding,
    graph: TokenGraph,
    prompt: tuple[int, ...],
    end: int,
    options: SearchOptions,
    expectation: Expectation | None = None,
    seconds: float = 30.0,
) -> list[Found]:
    """Return the finished paths, best first; token paths of the same words stay apart.

    ``seconds`` of speech bound how many tokens there can be.
    """
    most = min(options.most_tokens, 6 + int(options.tokens_per_second * seconds))
    hidden, cache = decoder.step(encoding, np.array([prompt]), 0, None)
    scores = decoder.log_probabilities(hidden[:, -1])
    position = len(prompt)
    beams = [_Beam(0.0, 0.0, (), (), 0.0, 0.0, graph.initial)]
    finished: list[Found] = []
    best_finished = -np.inf
    while position < len(prompt) + most:
        arcs = [graph.arcs(beam.state) for beam in beams]
        offsets = _offsets(beams, [tokens for tokens, _, _ in arcs], options, expectation)
        grown: list[tuple[float, int, int]] = []
        for row, beam in enumerate(beams):
            tokens, _, priors = arcs[row]
            if graph.may_end(beam.state):
                score = beam.score + float(scores[row, end] + offsets[row][-1])
                score += options.prior_weight * graph.end_log_prior(beam.state)
                raw = beam.raw + float(scores[row, end])
                finished.append(Found(beam.words, raw, score, beam.weakest, beam.tokens))
                best_finished = max(best_finished, score)
            if not len(tokens):
                continue
            heard = scores[row, tokens]
            ranked = beam.score + heard + offsets[row][:-1] + options.token_bonus
            ranked += options.prior_weight * priors
            best = np.argsort(-ranked, kind="stable")[: options.beam]
            grown += [(-float(ranked[place]), row, int(place)) for place in best]
        kept = sorted(grown)[: options.beam]
        if not kept or best_finished > -kept[0][0]:
            break
        beams = [
            _grown(beams[row], graph, arcs[row], place, float(scores[row, arcs[row][0][place]]), -negated)
            for negated, row, place in kept
        ]
        cache = select(cache, np.array([row for _, row, _ in kept]))
        scores, cache = _next(decoder, encoding, beams, position, cache)
        position += 1
    finished.sort(key=lambda f: -f.rank_score)
    return finished


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


def _offsets(
    beams: list[_Beam], nexts: list[Ints], options: SearchOptions, expectation: Expectation | None
) -> list[Array]:
    """Return per beam what to add to each next token's score and, last, to the end's."""
    if expectation is None or options.expectation_weight == 0.0:
        return [np.zeros(len(tokens) + 1, np.float32) for tokens in nexts]
    expected = expectation.of([(beam.state, beam.tokens) for beam in beams], nexts)
    return [np.asarray(-options.expectation_weight * e, np.float32) for e in expected]


def _next(
    decoder: Decoder, encoding: Encoding, beams: list[_Beam], position: int, cache: Cache
) -> tuple[Array, Cache]:
    last = np.array([[beam.tokens[-1]] for beam in beams])
    hidden, grown = decoder.step(encoding, last, position, cache)
    return decoder.log_probabilities(hidden[:, -1]), grown


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
