"""The phrase graph against a brute-force reading of the same expressions."""

from __future__ import annotations

import random
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicelog.errors import GrammarError
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.expression import (
    Choice,
    Expression,
    Grammar,
    Maybe,
    Null,
    Repeat,
    Rule,
    Sequence,
    Tag,
    Void,
    Words,
    sequence,
    words,
)
from voicelog.phrases.parses import Span

MOST = 6
"""Words of the longest phrase that the brute force makes."""


def phrases_of(expression: Expression) -> set[tuple[str, ...]]:
    """Every phrase of up to MOST words, straight from the definitions."""
    match expression:
        case Words(said):
            return {said} if len(said) <= MOST else set()
        case Sequence(items):
            found: set[tuple[str, ...]] = {()}
            for item in items:
                found = {a + b for a, b in product(found, phrases_of(item)) if len(a + b) <= MOST}
            return found
        case Choice(items):
            return set().union(*(phrases_of(item) for item in items))
        case Maybe(item):
            return phrases_of(item) | {()}
        case Repeat(item, minimum):
            one = phrases_of(item)
            found, grown = set(one), set(one)
            while grown:
                grown = {a + b for a, b in product(grown, one) if len(a + b) <= MOST} - found
                found |= grown
            return found | ({()} if minimum == 0 else set())
        case Tag(_, _, item):
            return phrases_of(item)
        case Null():
            return {()}
        case _:
            return set()


EXPRESSIONS = st.recursive(
    st.lists(st.sampled_from("ab"), min_size=1, max_size=2).map(lambda w: Words(tuple(w))) | st.just(Null()),
    lambda inner: (
        st.lists(inner, min_size=1, max_size=3).map(lambda i: Sequence(tuple(i)))
        | st.lists(inner, min_size=1, max_size=3).map(lambda i: Choice(tuple(i)))
        | inner.map(Maybe)
        | st.builds(Repeat, inner, st.sampled_from([0, 1]))
        | inner.map(lambda i: Tag("t", "v", i))
    ),
    max_leaves=6,
)


@settings(max_examples=200, deadline=None)
@given(EXPRESSIONS)
def test_the_graph_accepts_exactly_what_the_expression_says(expression: Expression) -> None:
    """Over all sequences of up to four words, acceptance and parsing agree with the definition."""
    graph = compile_grammar(Grammar("g", {"g": Choice((expression, Words(("z",))))}, ("g",)))
    allowed = phrases_of(expression)
    for length in range(5):
        for said in product("ab", repeat=length):
            assert graph.accepts(said) == (said in allowed)
            assert bool(graph.parse(said)) == (said in allowed)


def test_every_tagging_of_an_ambiguous_phrase_is_returned() -> None:
    """Words that two tags can both take come back twice, so that a caller can ask."""
    either = Choice((Tag("point", "hose", words("upper hose")), Tag("point", "pipe", words("upper hose"))))
    parses = compile_grammar(Grammar("g", {"g": either}, ("g",))).parse(("upper", "hose"))
    assert {parse[0].value for parse in parses} == {"hose", "pipe"}


def test_spans_give_their_words_and_places_outer_first() -> None:
    """A span knows where it begins and ends; where two cover the same words, the outer is first."""
    inner = Tag("value", "1/2", words("one half"))
    grammar = Grammar("g", {"g": sequence(words("play"), Tag("reading", "play", inner))}, ("g",))
    (parse,) = compile_grammar(grammar).parse(("play", "one", "half"))
    assert parse == (
        Span("reading", "play", ("one", "half"), 1, 3),
        Span("value", "1/2", ("one", "half"), 1, 3),
    )


def test_named_rules_become_spans_when_asked_for() -> None:
    """In a JSGF grammar the slots are the named rules reached by reference."""
    grammar = Grammar("g", {"g": sequence(words("a"), Rule("size")), "size": words("large")}, ("g",), True)
    (parse,) = compile_grammar(grammar).parse(("a", "large"))
    assert [(s.name, s.value) for s in parse] == [("size", "large")]


@pytest.mark.parametrize(
    ("rules", "says"),
    [
        ({"g": Rule("missing")}, "not defined"),
        ({"g": Sequence((Words(("a",)), Rule("g")))}, "refers to itself"),
        ({"g": Void()}, "no phrase"),
    ],
)
def test_a_grammar_that_cannot_be_used_is_refused_in_words(rules: dict[str, Expression], says: str) -> None:
    """Undefined rules, recursion and a grammar without a phrase are named, with a remedy."""
    with pytest.raises(GrammarError, match=says) as caught:
        compile_grammar(Grammar("g", rules, ("g",)))
    assert caught.value.remedy


def test_samples_are_phrases() -> None:
    """What the graph offers as a sample it also accepts."""
    grammar = Grammar("g", {"g": Repeat(Choice((words("a b"), words("c"))))}, ("g",))
    graph = compile_grammar(grammar)
    rng = random.Random(1)
    assert all(graph.accepts(graph.sample(rng)) for _ in range(50))
