"""How sure to be of a decoding: posteriors of the hypotheses and of "none of them".

Two questions are kept apart. *Which* phrase of the graph, given that it was one: a softmax over
the hypotheses' scores, sharpened by a temperature because the scores of near phrases differ by less
than they should. *Whether* it was one at all: a logistic in how much worse the best phrase explains
the sound than unconstrained text does, in its nats a token, and in its weakest word, because a
phrase that is one word off explains all but one word well: both how unlikely that word is and how
little the sound speaks for it. The constants are fitted by tests/benchmarks/calibrate.py on human
speech: orders and near misses at 0 to 24 dB, and orders against a check sheet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from voicelog.hearing.search import Found


@dataclass(frozen=True, slots=True)
class Confidence:
    """Constants of the posterior; see the module's text."""

    temperature: float = 0.5
    explains_weight: float = 1.5
    """Nats of rank for each nat of log odds that the phrase was not what was said. A search can
    fall for a long phrase that is in the graph, and that the sound does not speak for."""
    gap_weight: float = 0.0823
    """Per nat that free decoding beats the best phrase by."""
    weakest_weight: float = 0.3335
    """Per nat of the weakest word's log-likelihood below zero."""
    evidence_weight: float = 0.4673
    """Per nat that the sound speaks less for any one word."""
    most_evidence: float = 6.0
    """Nats; a word that the sound speaks for more is no surer for it."""
    token_weight: float = 0.8497
    """Per nat that the phrase costs a token."""
    offset: float = -7.518
    short_tokens: int = 3
    short_floor: float = 2.5
    short_weight: float = 4.0
    """Of hundreds of words one always fits a noise after a fashion. A phrase of up to
    ``short_tokens`` must do better than ``short_floor`` nats a token: spoken ones were seen at
    0.6 to 1.6, those found in noise alone at 3.4 to 6."""
    refuse_above: float = 0.7
    """Posterior of being outside the graph at which there is no answer at all; below it the
    posterior of what was understood is low, and interpretation asks or refuses."""

    def __post_init__(self) -> None:
        if self.temperature <= 0 or not 0 < self.refuse_above <= 1:
            raise ValueError("temperature must be positive and refuse_above in (0, 1]")


def signs(best: Found, free_log_likelihood: float, confidence: Confidence) -> tuple[float, ...]:
    """Return what speaks against the best phrase, in nats, in the order of the weights.

    How far free decoding beats it, its weakest word, the evidence that its least heard word lacks
    of ``most_evidence``, and what it costs a token.
    """
    per_token = -best.log_likelihood / (len(best.tokens) + 1)  # the end of text is one too
    return (
        max(0.0, free_log_likelihood - best.log_likelihood),
        -best.weakest_word,
        max(0.0, confidence.most_evidence - best.least_evidence),
        per_token,
    )


def log_odds_outside(found: Found, free_log_likelihood: float, confidence: Confidence) -> float:
    """Return the log odds that what was said is not this phrase, nor one like it."""
    c = confidence
    weights = (c.gap_weight, c.weakest_weight, c.evidence_weight, c.token_weight)
    against = signs(found, free_log_likelihood, c)
    log_odds = c.offset + math.fsum(w * sign for w, sign in zip(weights, against, strict=True))
    if len(found.tokens) <= c.short_tokens:
        log_odds += c.short_weight * max(0.0, against[3] - c.short_floor)
    return log_odds


def outside(best: Found, free_log_likelihood: float, confidence: Confidence) -> float:
    """Return the posterior that what was said is no phrase of the graph."""
    log_odds = log_odds_outside(best, free_log_likelihood, confidence)
    return 1.0 / (1.0 + math.exp(-max(-60.0, min(60.0, log_odds))))


def ranked(found: list[Found], free_log_likelihood: float, confidence: Confidence) -> list[Found]:
    """Return the phrases, best first, ranked also by how well each explains the sound by itself."""
    weight = confidence.explains_weight
    scored = [
        replace(f, rank_score=f.rank_score - weight * log_odds_outside(f, free_log_likelihood, confidence))
        for f in found
    ]
    return sorted(scored, key=lambda f: (-f.rank_score, f.words))


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
                max(known.ending, path.ending),
                known.tokens,
            )
    return sorted(merged.values(), key=lambda f: (-f.rank_score, f.words))


def _add(a: float, b: float) -> float:
    top = max(a, b)
    return top + math.log(math.exp(a - top) + math.exp(b - top))
