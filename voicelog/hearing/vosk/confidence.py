"""How sure to be of what Vosk heard: the same posteriors as every recogniser gives.

Three things say that what was said is no phrase of the graph, and each can only lower:

* Vosk's grammar is loose, so that its alternatives are at times no phrase. Their share, by a
  softmax over the alternatives' likelihoods, is the first.
* How much better the model's own language explains the sound than the best phrase does, in nats a
  second, is the second: a logistic. Korean phrases were seen at -5 to 7, sentences that were not
  for the sheet at 6 to 15.
* The confidence of the phrase's weakest word, which Vosk computes over all of its lattice and not
  only over the alternatives listed, is the most that the best phrase can be believed.

The constants are fitted by tests/benchmarks/korean_vosk.py, on synthetic Korean speech alone: with
another model they mean something a little different.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from voicelog.hearing.recogniser import Hypothesis

Phrase = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class VoskConfidence:
    """Constants of the posterior; see the module's text."""

    temperature: float = 1.0
    """Of the softmax; above 1 would bring the alternatives closer."""
    gap_middle: float = 7.0
    """Nats a second at which it is as likely as not that no phrase was said."""
    gap_weight: float = 1.2
    """Per nat a second."""
    refuse_above: float = 0.5
    """Posterior of being outside the graph at which there is no answer."""

    def __post_init__(self) -> None:
        if self.temperature <= 0 or not 0 < self.refuse_above <= 1:
            raise ValueError("temperature must be positive and refuse_above in (0, 1]")


@dataclass(frozen=True, slots=True)
class Alternative:
    """One reading of the sound; with the grammar it need not be a phrase of the graph."""

    words: Phrase
    log_likelihood: float
    """Nats, acoustic and language together."""


def posteriors(
    alternatives: list[Alternative],
    free_log_likelihood: float,
    seconds: float,
    word_confidence: dict[str, float],
    is_phrase: Callable[[Phrase], bool],
    confidence: VoskConfidence,
) -> tuple[tuple[Hypothesis, ...], float]:
    """Return the phrases among the alternatives, best first, and the posterior of none of them.

    ``word_confidence`` is that of the words of Vosk's consensus; a word that is not in it has
    lost to another, and is believed no more than half.
    """
    phrases = [(a, s) for a, s in _shares(alternatives, confidence.temperature) if is_phrase(a.words)]
    if not phrases:
        return (), 1.0
    best = phrases[0][0]
    gap = (free_log_likelihood - best.log_likelihood) / max(seconds, 0.1)
    inside = 1.0 - _logistic(confidence.gap_weight * (max(0.0, gap) - confidence.gap_middle))
    cap = min((word_confidence.get(word, 0.5) for word in best.words), default=0.5)
    inside *= min(1.0, cap / phrases[0][1])
    found = tuple(Hypothesis(a.words, a.log_likelihood, share * inside) for a, share in phrases)
    return found, max(0.0, 1.0 - math.fsum(h.posterior for h in found))


def _shares(alternatives: list[Alternative], temperature: float) -> list[tuple[Alternative, float]]:
    """Return each distinct reading with its share, best first."""
    distinct: dict[Phrase, Alternative] = {}
    for a in sorted(alternatives, key=lambda a: (-a.log_likelihood, a.words)):
        distinct.setdefault(a.words, a)
    ranked = list(distinct.values())
    if not ranked:
        return []
    weights = [math.exp((a.log_likelihood - ranked[0].log_likelihood) / temperature) for a in ranked]
    total = math.fsum(weights)
    return [(a, w / total) for a, w in zip(ranked, weights, strict=True)]


def _logistic(log_odds: float) -> float:
    return 1.0 / (1.0 + math.exp(-max(-60.0, min(60.0, log_odds))))
