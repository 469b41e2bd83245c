"""Every tagging of a phrase: what its words may mean is read off the network that accepts them.

Where the words are ambiguous the caller sees it and can ask.
"""

from __future__ import annotations

from dataclasses import dataclass

from voicelog.phrases.network import Network

MOST_PARSES = 64
"""Taggings of one phrase that are told apart; far more than any sensible phrase has."""


@dataclass(frozen=True, slots=True)
class Span:
    """A tagged stretch of a phrase: words ``start`` up to but not including ``end``."""

    name: str
    value: str
    words: tuple[str, ...]
    start: int
    end: int


Parse = tuple[Span, ...]
"""The spans of one tagging, by start, outer before inner."""


def parses(network: Network, words: tuple[str, ...]) -> tuple[Parse, ...]:
    """Return every distinct tagging of the words; none when they are not a phrase.

    At most :data:`MOST_PARSES`, in a fixed order.
    """
    reached = [network.closure({network.start})]
    for word in words:
        stepped = {n for node in reached[-1] for n in network.by_word[node].get(word, ())}
        if not stepped:
            return ()
        reached.append(network.closure(stepped))
    if network.final not in reached[-1]:
        return ()
    return _derived(network, words, _alive(network, words, reached))


def _alive(network: Network, words: tuple[str, ...], reached: list[frozenset[int]]) -> list[set[int]]:
    """Return per position the nodes from which the rest of the phrase can be finished."""
    backward = network.backward()
    alive: list[set[int]] = [set() for _ in reached]
    for place in range(len(words), -1, -1):
        if place == len(words):
            good = {network.final}
        else:
            good = {
                node
                for node in reached[place]
                if not alive[place + 1].isdisjoint(network.by_word[node].get(words[place], ()))
            }
        todo = list(good)
        while todo:
            for node in backward.get(todo.pop(), ()):
                if node in reached[place] and node not in good:
                    good.add(node)
                    todo.append(node)
        alive[place] = good
    return alive


def _derived(network: Network, words: tuple[str, ...], alive: list[set[int]]) -> tuple[Parse, ...]:
    found: dict[Parse, None] = {}
    # Depth first with an explicit stack: (node, place, silent nodes passed since the last
    # word, open spans, closed spans).
    Open = tuple[str, int]
    stack: list[tuple[int, int, frozenset[int], tuple[Open, ...], tuple[Span, ...]]] = [
        (network.start, 0, frozenset(), (), ())
    ]
    while stack and len(found) < MOST_PARSES:
        node, place, passed, opened, closed = stack.pop()
        if node == network.final and place == len(words):
            # Inner spans close first; where two cover the same words the outer comes first.
            order = sorted(enumerate(closed), key=lambda c: (c[1].start, -c[1].end, -c[0]))
            found.setdefault(tuple(span for _, span in order))
            continue
        if place < len(words):
            for target in network.by_word[node].get(words[place], ()):
                if target in alive[place + 1]:
                    stack.append((target, place + 1, frozenset(), opened, closed))
        for target, mark in network.silent[node]:
            if target in passed or target not in alive[place]:
                continue
            now_open, now_closed = opened, closed
            if mark is not None and mark.opens:
                now_open = (*opened, (mark.name, place))
            elif mark is not None:
                name, begin = opened[-1]
                spoken = words[begin:place]
                said = " ".join(spoken) if mark.value is None else mark.value
                now_open = opened[:-1]
                now_closed = (*closed, Span(name, said, spoken, begin, place))
            stack.append((target, place, passed | {node}, now_open, now_closed))
    return tuple(found)
