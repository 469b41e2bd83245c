"""A phrase graph as Vosk takes a grammar: a list of lines of known words.

Vosk does not follow the lines. It counts them into a language model of order two, in which half of
each word's weight goes to any other word. So all that it can keep of a graph is which two words
follow each other. The lines made here hold each such pair, as few words in all as can be; what
comes back is held against the graph itself.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from voicelog.phrases.graph import PhraseGraph

MOST_WORDS = 40
"""Words in a line, before the shortest way to its end."""

Follows = dict[str | None, list[str | None]]


@dataclass(frozen=True, slots=True)
class VoskGrammar:
    """What Vosk is given for a graph."""

    lines: tuple[str, ...]
    """Empty when no phrase of the graph is made of known words alone."""
    unknown: tuple[str, ...]
    """Words of the graph that the model does not know, sorted; phrases with them cannot be heard."""


def vosk_grammar(graph: PhraseGraph, knows: Callable[[str], bool]) -> VoskGrammar:
    """Return the grammar of a graph for a model that ``knows`` some words."""
    pairs = graph.pairs()
    known = {word: knows(word) for word in {w for pair in pairs for w in pair if w is not None}}
    follows: Follows = {}
    for first, second in pairs:
        if all(word is None or known[word] for word in (first, second)):
            follows.setdefault(first, []).append(second)
    for seconds in follows.values():
        seconds.sort(key=lambda word: (word is None, word or ""))  # so that the lines are always the same
    unknown = tuple(sorted(word for word, is_known in known.items() if not is_known))
    return VoskGrammar(tuple(" ".join(line) for line in _lines(follows)), unknown)


def _lines(follows: Follows) -> list[list[str]]:
    """Return lines that hold every pair that lies on some way from the beginning to the end."""
    ways_in, ways_out = _ways_in(follows), _ways_out(follows)
    left = {
        word: [s for s in seconds if s is None or s in ways_out]
        for word, seconds in follows.items()
        if word is None or (word in ways_in and word in ways_out)
    }
    lines = []
    for word in sorted(left, key=lambda w: (w is not None, w or "")):
        while left[word]:
            line = [] if word is None else list(ways_in[word])
            at: str | None = word
            while left.get(at) and len(line) < MOST_WORDS:
                at = left[at].pop(0)
                if at is None:
                    break
                line.append(at)
            if at is not None:
                line += ways_out[at]
            if line:
                lines.append(line)
    return lines


def _ways_in(follows: Follows) -> dict[str, tuple[str, ...]]:
    """Return the shortest way from the beginning to each word, the word included."""
    ways: dict[str | None, tuple[str, ...]] = {None: ()}
    todo: deque[str | None] = deque([None])
    while todo:
        word = todo.popleft()
        for second in follows.get(word, ()):
            if second is not None and second not in ways:
                ways[second] = (*ways[word], second)
                todo.append(second)
    return {word: way for word, way in ways.items() if word is not None}


def _ways_out(follows: Follows) -> dict[str, tuple[str, ...]]:
    """Return the shortest way from each word to the end, the word left out."""
    before: dict[str | None, list[str]] = {}
    for word in sorted(w for w in follows if w is not None):
        for second in follows[word]:
            before.setdefault(second, []).append(word)
    ways: dict[str | None, tuple[str, ...]] = {None: ()}
    todo: deque[str | None] = deque([None])
    while todo:
        second = todo.popleft()
        for word in before.get(second, ()):
            if word not in ways:
                ways[word] = () if second is None else (second, *ways[second])
                todo.append(word)
    return {word: way for word, way in ways.items() if word is not None}
