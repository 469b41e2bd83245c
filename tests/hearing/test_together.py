"""Two engines' answers made into one: what the sum, agreement and disagreement may come to.

Whether something passes is asked of interpretation itself.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.meaning.test_doubt_never_passes import mutated, speaks_of_defect
from voicelog.hearing.recogniser import Decoding, Hypothesis
from voicelog.hearing.together import LONE, together
from voicelog.meaning.interpret import DEFAULT, interpret
from voicelog.meaning.understand import Context
from voicelog.phrases.graph import PhraseGraph
from voicelog.sheet.model import Sheet

STOP = "left_front"
REFUSED = "not a phrase that can be said here"
ALPHABET = ("dry", "wet", "dripping", "tight", "loose")


def decoding(shares: dict[str, float], outside: float, refused: str = "", free: str = "") -> Decoding:
    """A decoding of phrases by their posteriors, best first."""
    ranked = sorted(shares.items(), key=lambda item: -item[1])
    found = tuple(Hypothesis(tuple(text.split()), math.log(max(p, 1e-9)), p) for text, p in ranked)
    return Decoding(found, outside, free, 0.0, refused)


@st.composite
def decodings(draw: st.DrawFn, refusing: bool = True, first: str = "") -> Decoding:
    """Any decoding of a few phrases, refused or not; with ``first`` the likeliest of them."""
    phrases = draw(st.lists(st.sampled_from(ALPHABET), unique=True, min_size=1))
    weights = draw(st.lists(st.floats(1e-4, 1.0), min_size=len(phrases) + 1, max_size=len(phrases) + 1))
    if first:
        phrases = [first, *(p for p in phrases if p != first)]
        weights[0] = 1.001 * max(weights)
        weights = [*weights[: len(phrases)], weights[-1]]
    total = math.fsum(weights)
    refused = REFUSED if refusing and draw(st.booleans()) else ""
    shares = {p: w / total for p, w in zip(phrases, weights, strict=False)}
    return decoding(shares, weights[-1] / total, refused)


def likeliest(of: Decoding) -> str | None:
    """The likeliest phrase, or None where none of them is likelier."""
    top = of.hypotheses[0]
    return top.text if top.posterior > of.outside else None


def posterior(of: Decoding, text: str) -> float:
    return sum(h.posterior for h in of.hypotheses if h.text == text)


@given(decodings(), decodings())
def test_posteriors_sum_to_one(a: Decoding, b: Decoding) -> None:
    """Phrases and "none of them" are one distribution, in order, whatever the two said."""
    both = together(a, b)
    shares = [h.posterior for h in both.hypotheses]
    assert math.fsum([*shares, both.outside]) == pytest.approx(1.0)
    assert shares == sorted(shares, reverse=True)
    assert all(0 <= share <= 1 for share in [*shares, both.outside])


@given(decodings(), decodings())
def test_neither_engine_comes_first(a: Decoding, b: Decoding) -> None:
    """The posteriors are the same with the engines the other way round."""
    one, other = together(a, b), together(b, a)
    assert one.outside == pytest.approx(other.outside)
    assert {h.text: pytest.approx(h.posterior) for h in one.hypotheses} == {
        h.text: h.posterior for h in other.hypotheses
    }


@given(decodings(refusing=False, first="dry"), decodings(refusing=False, first="dry"))
def test_agreement_is_never_below_the_average_and_keeps_rivals(a: Decoding, b: Decoding) -> None:
    """The agreed phrase has at least the average; a rival at least a quarter of the most it was given."""
    agreed = "dry"
    assert likeliest(a) == likeliest(b) == agreed
    both = together(a, b)
    assert posterior(both, agreed) >= (posterior(a, agreed) + posterior(b, agreed)) / 2 - 1e-9
    for rival in set(ALPHABET) - {agreed}:
        most = max(posterior(a, rival), posterior(b, rival))
        assert posterior(both, rival) >= 0.25 * most - 1e-9


@given(st.floats(0.5001, 1.0), st.floats(0.5001, 1.0))
def test_agreement_without_a_rival_never_lowers(p: float, q: float) -> None:
    """Where both hear one phrase and nothing beside it, it is at least as sure as for the surer one."""
    both = together(decoding({"dry": p}, 1 - p), decoding({"dry": q}, 1 - q))
    assert posterior(both, "dry") >= max(p, q) - 1e-9


def test_agreement_raises() -> None:
    """Two that are fairly sure of the same are surer together."""
    a, b = decoding({"dry": 0.9, "wet": 0.05}, 0.05), decoding({"dry": 0.92}, 0.08)
    assert posterior(together(a, b), "dry") > 0.96


@given(decodings(refusing=False), decodings(refusing=False))
def test_disagreement_never_reaches_a_threshold_and_keeps_both(a: Decoding, b: Decoding) -> None:
    """With different answers neither is logged without asking, and both stay to be asked about."""
    assume(likeliest(a) != likeliest(b))
    both = together(a, b)
    assert all(h.posterior <= 0.75 + 1e-9 for h in both.hypotheses)
    assert DEFAULT.defect > 0.75 and DEFAULT.command > 0.75
    for text in (a.hypotheses[0].text, b.hypotheses[0].text):
        assert posterior(both, text) > 0


@given(decodings(refusing=False), decodings(refusing=False))
def test_a_refusal_never_raises_and_a_lone_engine_never_passes(a: Decoding, b: Decoding) -> None:
    """What one hears and the other refuses is lowered: enough for a defect, too little for a pass."""
    refused = Decoding(b.hypotheses, b.outside, "", 0.0, REFUSED)
    both = together(a, refused)
    for h in a.hypotheses:
        assert posterior(both, h.text) <= h.posterior
    assert math.fsum(h.posterior for h in both.hypotheses) < DEFAULT.sound
    assert DEFAULT.defect < LONE < DEFAULT.sound


def test_two_refusals_refuse() -> None:
    """Nothing is heard that neither heard."""
    a, b = decoding({"dry": 0.4}, 0.6, REFUSED), Decoding((), 1.0, "radio", 0.0, REFUSED)
    both = together(a, b)
    assert both.best is None and both.refused == REFUSED
    assert both.free_text == "radio"


@settings(deadline=None, max_examples=150)
@given(st.integers(0, 10**6), st.floats(0.3, 1.0), st.floats(0.3, 1.0), st.floats(0.0, 0.3), st.booleans())
def test_a_defect_against_a_pass_is_never_a_pass(
    engine_bay: Sheet,
    graph_at: Callable[[str], PhraseGraph],
    seed: int,
    p: float,
    q: float,
    outside: float,
    third: bool,
) -> None:
    """One engine's defect and the other's sound phrase never come to a sound claim without a doubt."""
    graph, rng = graph_at(STOP), random.Random(seed)
    first = graph.sample(rng, 12)
    second = mutated(first, graph, rng) if third else graph.sample(rng, 12)
    defect, other = (first, second) if speaks_of_defect(first, graph, engine_bay) else (second, first)
    assume(defect != other and speaks_of_defect(defect, graph, engine_bay))
    assume(not speaks_of_defect(other, graph, engine_bay))
    a = decoding({" ".join(defect): p * (1 - outside)}, 1 - p * (1 - outside))
    b = decoding({" ".join(other): q * (1 - outside)}, 1 - q * (1 - outside))
    context = Context(engine_bay, STOP)
    said = [
        {draft.claim for draft in interpret(decoding({" ".join(words): 1.0}, 0.0), graph, context).drafts}
        for words in (first, second)
    ]
    meant = interpret(together(a, b), graph, context)
    for draft in meant.drafts:
        agreed = draft.claim in said[0] & said[1]  # of another point, in the same breath
        assert draft.claim.polarity == "defect" or draft.doubts or agreed


@settings(deadline=None, max_examples=100)
@given(st.floats(0.05, 0.49), st.floats(0.9, 1.0))
def test_a_likely_defect_of_one_engine_outlives_the_others_certainty(
    engine_bay: Sheet, graph_at: Callable[[str], PhraseGraph], defect: float, sure: float
) -> None:
    """Both hear "dry" first; what one of them takes for a defect is still asked about."""
    dry, dripping = "left lift cylinder dry", "left lift cylinder dripping"
    a = decoding({dry: 1 - defect, dripping: defect}, 0.0)
    b = decoding({dry: sure}, 1 - sure)
    meant = interpret(together(a, b), graph_at(STOP), Context(engine_bay, STOP))
    assert meant.drafts and meant.drafts[0].claim.polarity == "sound"
    assert meant.drafts[0].doubts
