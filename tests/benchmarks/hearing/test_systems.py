"""What an adapter makes of a recogniser's answer."""

from __future__ import annotations

import itertools

import pytest
from rapidfuzz.distance import Levenshtein

from tests.benchmarks.hearing.systems import whole_beginning
from tests.benchmarks.hearing.systems.matching import NearestPhrase, normalised
from tests.benchmarks.hearing.systems.ours import answer_of
from voicelog.hearing.recogniser import Decoding, Hypothesis
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.jsgf import read_jsgf

GRAMMAR = """#JSGF V1.0;
grammar orders;
public <order> = (get me | i want) [a] [<size>] <drink>;
<size> = small | large | eight ounce;
<drink> = mocha | iced mocha | cappuccino;
"""


@pytest.fixture(scope="module")
def graph() -> PhraseGraph:
    return compile_grammar(read_jsgf(GRAMMAR))


def test_a_slots_posterior_is_that_of_all_hypotheses_that_agree(graph: PhraseGraph) -> None:
    """Also when the utterance is refused."""
    heard = (("get me a large mocha", 0.5), ("i want a large iced mocha", 0.3), ("get me a small mocha", 0.1))
    hypotheses = tuple(Hypothesis(tuple(text.split()), -1.0, p) for text, p in heard)
    for refused in ("", "not a phrase"):
        answer = answer_of(Decoding(hypotheses, 0.1, "free", -1.0, refused), graph)
        assert (answer.slots is None) == bool(refused)
        assert answer.posterior == 0.5
        found = {claim.slot: (claim.value, round(claim.posterior, 9)) for claim in answer.claims}
        assert found["size"] == ("large", 0.8)
        assert found["drink"] == ("mocha", 0.6)


def test_no_hypothesis_has_posterior_nought(graph: PhraseGraph) -> None:
    """It counts as an utterance that is not right, and was not thought to be."""
    answer = answer_of(Decoding((), 1.0, "free", -1.0, "nothing"), graph)
    assert (answer.slots, answer.best_slots, answer.posterior, answer.claims) == (None, None, 0.0, ())


@pytest.mark.parametrize(
    ("written", "spoken"),
    [
        ("Get me an 8-ounce mocha.", "get me an eight ounce mocha"),
        ("8oz, please!", "eight ounce please"),
        ("I\N{RIGHT SINGLE QUOTATION MARK}d like 12", "i'd like twelve"),
        ("...", ""),
    ],
)
def test_written_text_as_it_is_spoken(written: str, spoken: str) -> None:
    """Numbers and units in words, no punctuation."""
    assert " ".join(normalised(written)) == spoken


@pytest.mark.parametrize(
    ("text", "phrase"),
    [
        ("get me a large mocha", "get me a large mocha"),
        ("get me a large cap of chino", "get me a large cappuccino"),
        ("well i wanted ice mocha please", "i want iced mocha"),
        ("and get me eat ounce mock a", "get me eight ounce mocha"),
    ],
)
def test_the_nearest_phrase(graph: PhraseGraph, text: str, phrase: str) -> None:
    """As a person would choose it."""
    found = NearestPhrase(graph).to(text.split())
    assert found is not None
    assert " ".join(found.words) == phrase


def test_the_nearest_phrase_is_nearest_of_all(graph: PhraseGraph) -> None:
    """Against every phrase of the grammar, listed, where each text is one letter off a phrase."""
    sizes, drinks = ("", "small", "large", "eight ounce"), ("mocha", "iced mocha", "cappuccino")
    every = [
        " ".join(" ".join(parts).split())
        for parts in itertools.product(("get me", "i want"), ("", "a"), sizes, drinks)
    ]
    assert all(graph.accepts(tuple(phrase.split())) for phrase in every)
    nearest = NearestPhrase(graph)
    for phrase in every:
        text = phrase[:-1] + "x"
        found = nearest.to(text.split())
        assert found is not None
        least = min(Levenshtein.distance(text, other) for other in every)
        assert Levenshtein.distance(text, " ".join(found.words)) == least
        assert found.likeness > 85


@pytest.mark.parametrize(
    ("heard", "whole"),
    [
        ("get me a large mocha", "get me a large mocha"),
        ("get me mocha large", "get me mocha"),
        ("get me a large", ""),
        ("mocha", ""),
        ("", ""),
    ],
)
def test_words_that_break_off(graph: PhraseGraph, heard: str, whole: str) -> None:
    """The loose end is dropped; nothing is guessed."""
    assert " ".join(whole_beginning(graph, tuple(heard.split()))) == whole


def test_no_text_is_like_no_phrase(graph: PhraseGraph) -> None:
    """Nothing heard, nothing found; something else is far from all."""
    nearest = NearestPhrase(graph)
    assert nearest.to([]) is None
    far = nearest.to(["thank", "you", "for", "watching"])
    assert far is not None
    assert far.likeness < 60
