"""A doubt never becomes a pass: rule 1 as properties over generated decodings.

What a hypothesis says is worked out here from the words of the lexicon alone, not with the code
under test.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from hypothesis import given, settings
from hypothesis import strategies as st

from voicelog.hearing.recogniser import Decoding, Hypothesis
from voicelog.meaning.interpret import DEFAULT, Thresholds, interpret
from voicelog.meaning.understand import Context
from voicelog.phrases.graph import PhraseGraph
from voicelog.sheet.model import Sheet

STOPS = ("left_front", "engine_front", "battery_box", "right_middle")


def decodings(graph: PhraseGraph, seed: int, weights: list[float], outside: float) -> Decoding:
    """A decoding of random phrases of the graph; the phrases nearest each other are the hard ones."""
    rng = random.Random(seed)
    total = sum(weights)
    first = graph.sample(rng)
    phrases = {first: None}
    while len(phrases) < len(weights):
        phrases.setdefault(mutated(first, graph, rng) if rng.random() < 0.7 else graph.sample(rng))
    found = sorted(zip(phrases, weights, strict=False), key=lambda pair: -pair[1])
    hypotheses = tuple(
        Hypothesis(words, -float(n), (1 - outside) * weight / total)
        for n, (words, weight) in enumerate(found)
    )
    return Decoding(hypotheses, outside, "", 0.0)


def mutated(words: tuple[str, ...], graph: PhraseGraph, rng: random.Random) -> tuple[str, ...]:
    """Another way to end the same phrase: what a beam confuses."""
    keep = rng.randrange(len(words) + 1)
    state = graph.initial
    said: list[str] = []
    for word in words[:keep]:
        said.append(word)
        state = graph.after(state, word) or 0
    for _ in range(40):
        nexts = graph.words(state)
        if graph.may_end(state) and (not nexts or rng.random() < 0.5):
            return tuple(said)
        if not nexts:
            break
        said.append(rng.choice(nexts))
        state = graph.after(state, said[-1]) or 0
    return graph.sample(rng)


def speaks_of_defect(words: tuple[str, ...], graph: PhraseGraph, sheet: Sheet) -> bool:
    """Whether every tagging of the words has a condition that the lexicon lists as a defect."""
    parses = graph.parse(words)
    return bool(parses) and all(
        any(s.name == "condition" and sheet.lexicon.conditions[s.value].polarity == "defect" for s in parse)
        for parse in parses
    )


@settings(max_examples=300, deadline=None)
@given(
    seed=st.integers(0, 10**9),
    stop=st.sampled_from(STOPS),
    weights=st.lists(st.floats(0.001, 1.0), min_size=1, max_size=6),
    outside=st.floats(0.0, 0.6),
)
def test_only_near_certainty_is_logged_as_sound(
    engine_bay: Sheet,
    graph_at: Callable[[str], PhraseGraph],
    seed: int,
    stop: str,
    weights: list[float],
    outside: float,
) -> None:
    """No sound claim stands undoubted unless the words that say it hold nearly all the probability."""
    graph = graph_at(stop)
    decoding = decodings(graph, seed, weights, outside)
    context = Context(engine_bay, stop, at_hand=(engine_bay.stop(stop).points[0].id,))
    meant = interpret(decoding, graph, context)
    for draft in meant.drafts:
        if draft.claim.polarity != "sound" or draft.doubts:
            continue
        # Every hypothesis that names this condition or value in some tagging.
        agreeing = sum(
            h.posterior
            for h in decoding.hypotheses
            if any(
                span.value in (draft.claim.condition_id, str(draft.claim.value))
                for parse in graph.parse(h.words)
                for span in parse
            )
        )
        assert agreeing >= DEFAULT.sound - 1e-9


@settings(max_examples=300, deadline=None)
@given(
    seed=st.integers(0, 10**9),
    stop=st.sampled_from(STOPS),
    defect_share=st.floats(0.011, 0.999),
    outside=st.floats(0.0, 0.3),
)
def test_a_likely_enough_defect_is_never_outvoted_into_a_pass(
    engine_bay: Sheet,
    graph_at: Callable[[str], PhraseGraph],
    seed: int,
    stop: str,
    defect_share: float,
    outside: float,
) -> None:
    """Where one point may be sound or defective, it is logged as a defect or asked about."""
    rng = random.Random(seed)
    graph = graph_at(stop)
    point = rng.choice(engine_bay.stop(stop).points)
    said = {
        polarity: [
            phrase
            for c in engine_bay.lexicon.conditions_of(point.aspects)
            if c.polarity == polarity
            for phrase in c.say
        ]
        for polarity in ("sound", "defect")
    }
    mass = 1 - outside
    sound = tuple(f"{point.full_name} {rng.choice(said['sound'])}".split())
    defect = tuple(f"{point.full_name} {rng.choice(said['defect'])}".split())
    assert speaks_of_defect(defect, graph, engine_bay)
    pair = [
        Hypothesis(sound, -1.0, mass * (1 - defect_share)),
        Hypothesis(defect, -2.0, mass * defect_share),
    ]
    pair.sort(key=lambda h: -h.posterior)
    if mass * defect_share <= DEFAULT.opposite:
        return
    meant = interpret(Decoding(tuple(pair), outside, "", 0.0), graph, Context(engine_bay, stop))
    for draft in meant.drafts:
        assert draft.claim.polarity == "defect" or draft.doubts
        if draft.doubts:
            polarities = {c.claim.polarity for d in draft.doubts for c in d.candidates}
            assert "defect" in polarities


@settings(max_examples=200, deadline=None)
@given(
    share=st.floats(0.011, 0.989), first=st.sampled_from(["1/2", "3/4"]), second=st.sampled_from(["1", "7/8"])
)
def test_a_value_that_may_cross_its_limit_is_asked_about(
    engine_bay: Sheet, graph_at: Callable[[str], PhraseGraph], share: float, first: str, second: str
) -> None:
    """Candidates on both sides of a limit are a doubt unless the one outside it is near certain."""
    said = {"1/2": "one half", "3/4": "three quarters", "1": "one", "7/8": "seven eighths"}
    graph = graph_at("engine_front")
    pair = [
        Hypothesis(tuple(f"fan belt deflection {said[v]}".split()), -1.0, p)
        for v, p in ((first, 1 - share), (second, share))
    ]
    pair.sort(key=lambda h: -h.posterior)
    meant = interpret(Decoding(tuple(pair), 0.0, "", 0.0), graph, Context(engine_bay, "engine_front"))
    (draft,) = meant.drafts
    assert draft.doubts or draft.claim.judgement == "above"


def test_thresholds_that_would_let_a_doubt_pass_cannot_be_made() -> None:
    """A sound claim never needs less than a defect, nor leaves room for the opposite."""
    for wrong in ({"sound": 0.7}, {"opposite": 0.2}, {"heard": 0.95}):
        try:
            Thresholds(**wrong)
        except ValueError:
            continue
        raise AssertionError(f"{wrong} was accepted")


def test_nothing_sound_is_logged_of_a_sound_that_broke_off(
    engine_bay: Sheet, graph_at: Callable[[str], PhraseGraph]
) -> None:
    """However sure the words are, what was lost may have been a "not"."""
    graph = graph_at("left_front")
    for said, doubted in (("left brake hose intact", True), ("left brake hose cracked", False)):
        decoding = Decoding((Hypothesis(tuple(said.split()), -1.0, 1.0),), 0.0, "", 0.0)
        meant = interpret(decoding, graph, Context(engine_bay, "left_front"), whole=False)
        assert bool(meant.drafts[0].doubts) == doubted


@settings(max_examples=100, deadline=None)
@given(share=st.floats(0.02, 0.6), extra=st.sampled_from(["cracked", "and chafed", "loose"]))
def test_a_defect_that_only_a_longer_reading_has_is_not_dropped_for_a_pass(
    engine_bay: Sheet, graph_at: Callable[[str], PhraseGraph], share: float, extra: str
) -> None:
    """Where "intact" may have been "intact and chafed", the pass is asked about and the defect offered."""
    short = ("left", "brake", "hose", "intact")
    long = (*short, *extra.split())
    pair = [Hypothesis(short, -1.0, 1 - share), Hypothesis(long, -2.0, share)]
    pair.sort(key=lambda h: -h.posterior)
    graph = graph_at("left_front")
    meant = interpret(Decoding(tuple(pair), 0.0, "", 0.0), graph, Context(engine_bay, "left_front"))
    sound = [d for d in meant.drafts if d.claim.polarity == "sound" and not d.doubts]
    defects = [d for d in meant.drafts if d.claim.polarity == "defect"]
    assert defects or not sound
    if not defects:
        offered = [c.claim.polarity for d in meant.drafts for doubt in d.doubts for c in doubt.candidates]
        assert "defect" in offered
