"""Two engines' decodings of the same utterance made into one. Pure.

Each engine gives a distribution over the phrases of the graph and "none of them". What becomes of
two depends on what they say, and only one of the four cases can make anything surer:

``agree``: both engines' likeliest outcome is the same phrase, and neither refuses. The two are
    pooled as a product of experts (a logarithmic opinion pool, Heskes 1998), ``(a * b) ** POWER``,
    normalised. With POWER 1 they would count as independent witnesses, which they are not: they
    heard the same noise. With POWER 1/2 (the geometric mean) the second witness would add nothing.
    An outcome that an engine does not list is given FLOOR there, since a pruned search did not say
    that it was impossible. Three bounds hold the product. A rival phrase keeps at least RIVAL of
    what the engine that believes it most gives it: a defect that one engine holds for likely stays
    a doubt, however sure the other is of "sound". No rival gets more than the average of the two.
    "None of them" gets no more than the engine that believes it least gives it. So the agreed phrase
    is never below the average of the two, and never below the surer one where there is no rival.

``disagree``: both engines have an answer, and not the same. The two are averaged (a linear opinion
    pool), and "none of them" with them. A phrase that is likeliest for one of them has at most 1
    there and at most 1/2 in the other, so at most 3/4: below every threshold of interpretation.
    Both answers stay as candidates, so that interpretation asks. Two phrases of one meaning are
    told apart here and put together there, where their posteriors add up.

``one refuses``: the other's posteriors are multiplied by LONE, and the rest goes to "none of them".
    LONE is below the threshold for "sound" and above the one for a defect: on the word of one
    engine alone, against the other, a defect can be logged and a pass cannot.

``both refuse``: refused.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from voicelog.hearing.recogniser import Decoding, Hypothesis

POWER = 0.75
FLOOR = 1e-3
RIVAL = 0.25
LONE = 0.95
MOST_HYPOTHESES = 16

Phrase = tuple[str, ...]
Shares = dict[Phrase | None, float]
"""Posterior by phrase; None is "none of them"."""


def together(first: Decoding, second: Decoding) -> Decoding:
    """Return one decoding of two of the same utterance against the same graph.

    ``log_likelihood`` of a hypothesis is the logarithm of its posterior, and the free one that of
    "none of them": the engines' own are of different scales. The free text is the first engine's,
    or the second's where that is empty. ``together(a, b)`` and ``together(b, a)`` hold the same
    posteriors.
    """
    a, b = _shares(first), _shares(second)
    if first.refused and second.refused:
        return _decoding(_linear(a, b), first, second, refused=first.refused)
    if first.best is None or second.best is None:
        heard = b if first.best is None else a
        return _decoding({p: LONE * share for p, share in heard.items()}, first, second)
    if _likeliest(a) == _likeliest(b) and _likeliest(a) is not None:
        return _decoding(_product(a, b), first, second)
    return _decoding(_linear(a, b), first, second)


def _shares(decoding: Decoding) -> Shares:
    shares: Shares = {None: decoding.outside}
    for hypothesis in decoding.hypotheses:
        shares[hypothesis.words] = shares.get(hypothesis.words, 0.0) + hypothesis.posterior
    return shares


def _likeliest(shares: Shares) -> Phrase | None:
    return max(shares, key=lambda phrase: (shares[phrase], phrase is None, phrase or ()))


def _linear(a: Shares, b: Shares) -> Shares:
    return {p: (a.get(p, 0.0) + b.get(p, 0.0)) / 2 for p in _outcomes(a, b)}


def _product(a: Shares, b: Shares) -> Shares:
    """Return the bounded, tempered product of two distributions with the same likeliest phrase."""
    raw = {p: (max(a.get(p, 0.0), FLOOR) * max(b.get(p, 0.0), FLOOR)) ** POWER for p in _outcomes(a, b)}
    total = math.fsum(raw.values())
    agreed = _likeliest(a)
    pooled: Shares = {}
    for p, weight in raw.items():
        in_a, in_b = a.get(p, 0.0), b.get(p, 0.0)
        if p is None:
            pooled[p] = min(weight / total, in_a, in_b)
        elif p != agreed:
            pooled[p] = min(max(weight / total, RIVAL * max(in_a, in_b)), (in_a + in_b) / 2)
    return {**pooled, agreed: 1.0 - math.fsum(pooled.values())}


def _outcomes(a: Shares, b: Shares) -> Iterable[Phrase | None]:
    return sorted({*a, *b}, key=lambda phrase: (phrase is not None, phrase or ()))


def _decoding(shares: Shares, first: Decoding, second: Decoding, refused: str = "") -> Decoding:
    phrases = sorted(
        ((p, s) for p, s in shares.items() if p is not None), key=lambda item: (-item[1], item[0])
    )
    kept = [(p, s) for p, s in phrases[:MOST_HYPOTHESES] if s > 0]
    outside = min(1.0, max(0.0, 1.0 - math.fsum(s for _, s in kept)))
    if not kept and not refused:
        refused = first.refused or second.refused or "not a phrase that can be said here"
    return Decoding(
        hypotheses=tuple(Hypothesis(p, _log(s), s) for p, s in kept),
        outside=outside,
        free_text=first.free_text or second.free_text,
        free_log_likelihood=_log(outside),
        refused=refused,
        audio_s=max(first.audio_s, second.audio_s),
        decode_s=first.decode_s + second.decode_s,
        unfinished=first.unfinished or second.unfinished,
        ending=min(first.ending, second.ending),
    )


def _log(share: float) -> float:
    return math.log(max(share, 1e-30))
