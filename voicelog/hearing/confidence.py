"""How sure to be of a decoding: posteriors of the hypotheses and of "none of them".

Two questions are kept apart. *Which* phrase of the graph, given that it was one: a softmax over
the hypotheses' scores, flattened by a temperature because a beam sees only the best competitors.
*Whether* it was one at all: a logistic in how much worse the best phrase explains the sound than
unconstrained text does, and in its weakest word, because a phrase that is one word off explains
all but one word well. The constants are fitted by tests/benchmarks/calibrate.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from voicelog.hearing.search import Found


@dataclass(frozen=True, slots=True)
class Confidence:
    """Constants of the posterior; see the module's text."""

    temperature: float = 1.0
    gap_weight: float = 0.176
    """Per nat that free decoding beats the best phrase by."""
    weakest_weight: float = 0.863
    """Per nat of the weakest word's log-likelihood below zero."""
    offset: float = -9.48
    short_tokens: int = 3
    short_floor: float = 2.5
    short_weight: float = 4.0
    """Of hundreds of words one always fits a noise after a fashion. A phrase of up to
    ``short_tokens`` must do better than ``short_floor`` nats a token: spoken ones were seen at
    0.6 to 1.6, those found in noise alone at 3.4 to 6."""
    refuse_above: float = 0.9
    """Posterior of being outside the graph at which there is no answer at all; below it the
    posterior of what was understood is low, and interpretation asks or refuses."""

    def __post_init__(self) -> None:
        if self.temperature <= 0 or not 0 < self.refuse_above <= 1:
            raise ValueError("temperature must be positive and refuse_above in (0, 1]")


def outside(best: Found, free_log_likelihood: float, confidence: Confidence) -> float:
    """Return the posterior that what was said is no phrase of the graph."""
    gap = max(0.0, free_log_likelihood - best.log_likelihood)
    log_odds = confidence.offset + confidence.gap_weight * gap
    log_odds -= confidence.weakest_weight * best.weakest_word
    if len(best.tokens) <= confidence.short_tokens:
        per_token = -best.log_likelihood / (len(best.tokens) + 1)  # the end of text is one too
        log_odds += confidence.short_weight * max(0.0, per_token - confidence.short_floor)
    return 1.0 / (1.0 + math.exp(-max(-60.0, min(60.0, log_odds))))


def share(scores: list[float], temperature: float) -> list[float]:
    """Return the softmax of the scores (nats, best first) at a temperature."""
    top = max(scores)
    weights = [math.exp((score - top) / temperature) for score in scores]
    total = math.fsum(weights)
    return [weight / total for weight in weights]


def merge(found: list[Found]) -> list[Found]:
    """Return one path per phrase, best first: the likelihoods of a phrase's spellings add up."""
    merged: dict[tuple[str, ...], Found] = {}
    for path in found:
        known = merged.get(path.words)
        if known is None:
            merged[path.words] = path
        else:
            merged[path.words] = Found(
                path.words,
                _add(known.log_likelihood, path.log_likelihood),
                _add(known.rank_score, path.rank_score),
                max(known.weakest_word, path.weakest_word),
                max(known.least_evidence, path.least_evidence),
                min(known.widest_gap, path.widest_gap),
                known.tokens,
            )
    return sorted(merged.values(), key=lambda f: (-f.rank_score, f.words))


def _add(a: float, b: float) -> float:
    top = max(a, b)
    return top + math.log(math.exp(a - top) + math.exp(b - top))
