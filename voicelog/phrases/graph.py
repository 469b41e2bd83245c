"""The phrase graph: every phrase that can be said now, as a finite-state graph with tagged spans.

A grammar becomes a non-deterministic graph of words. What a rule matches, and how a list of phrases
goes on after a word, is added when a walk first comes there, so that a large sheet costs nothing
until it is spoken of. Recognisers walk it through :meth:`PhraseGraph.words` and
:meth:`PhraseGraph.after`, a deterministic view whose states are likewise made as they are reached.
What a phrase means
is read off afterwards by :meth:`PhraseGraph.parse`, which returns *every* tagging of the words:
where the words are ambiguous the caller sees it and can ask.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from voicelog.errors import GrammarError
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
)

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


@dataclass(frozen=True, slots=True)
class _Mark:
    """On an arc without a word: a tag opens or closes here; its value counts where it closes."""

    opens: bool
    name: str
    value: str | None


_Members = tuple[frozenset[int], frozenset[int]]
"""A state: the nodes that words leave from or where a phrase may end, and the hubs it leads to."""
Targets = dict[str, frozenset[int]]


class PhraseGraph:
    """A compiled grammar. Build it with :func:`compile_grammar`."""

    def __init__(self) -> None:
        self._words: list[dict[str, list[int]]] = []
        self._silent: list[list[tuple[int, _Mark | None]]] = []
        self._closed: dict[int, Callable[[], None]] = {}
        self.start = self._node()
        self.final = self._node()
        self._hubs: set[int] = set()
        self._states: dict[_Members, int] = {}
        self._members: list[_Members] = []
        self._followed: list[Targets | None] = []
        self._after: dict[tuple[int, str], int] = {}
        self._sources: dict[int, list[int]] | None = None
        self._reached: dict[int, frozenset[int]] = {}
        self._tells: dict[int, _Members] = {}
        self._from_hub: dict[int, Targets] = {}
        self.likely: frozenset[str] = frozenset()
        """First words of what is probably said next; empty where nothing is expected."""

    # building -------------------------------------------------------------------------------

    def _node(self) -> int:
        self._words.append({})
        self._silent.append([])
        return len(self._words) - 1

    def _link(self, start: int, end: int, mark: _Mark | None = None) -> None:
        self._silent[start].append((end, mark))
        if self._sources is not None:
            self._sources.setdefault(end, []).append(start)

    def _open(self, node: int) -> None:
        """Add what leaves a node, where that was put off."""
        adding = self._closed.pop(node, None)
        if adding is not None:
            adding()

    @property
    def size(self) -> int:
        """How many nodes the graph has by now."""
        return len(self._words)

    # walking --------------------------------------------------------------------------------

    def _closure(self, nodes: Iterable[int]) -> frozenset[int]:
        return frozenset().union(*map(self._reach, nodes))

    def _reach(self, start: int) -> frozenset[int]:
        """Return the nodes that can be reached from one without a word, itself included."""
        known = self._reached.get(start)
        if known is None:
            nodes = {start}
            todo = [start]
            while todo:
                passed = todo.pop()
                self._open(passed)
                for node, _ in self._silent[passed]:
                    if node not in nodes:
                        nodes.add(node)
                        todo.append(node)
            known = self._reached[start] = frozenset(nodes)
        return known

    def _telling(self, start: int) -> _Members:
        """Return what words leave from, or a phrase may end at, reached from a node without a word."""
        known = self._tells.get(start)
        if known is None:
            own, hubs, seen, todo = set[int](), set[int](), {start}, [start]
            while todo:
                node = todo.pop()
                if node in self._hubs and node != start:
                    hubs.add(node)
                    continue
                self._open(node)
                if self._words[node] or node == self.final:
                    own.add(node)
                for after, _ in self._silent[node]:
                    if after not in seen:
                        seen.add(after)
                        todo.append(after)
            known = self._tells[start] = frozenset(own), frozenset(hubs)
        return known

    def _state(self, nodes: Iterable[int]) -> int:
        # What is only passed through makes no difference to what may be said next; without it,
        # the many ways to come to the same place are one state.
        told = [self._telling(node) for node in nodes]
        members = (
            frozenset[int]().union(*(own for own, _ in told)),
            frozenset[int]().union(*(hubs for _, hubs in told)),
        )
        state = self._states.get(members)
        if state is None:
            state = self._states[members] = len(self._members)
            self._members.append(members)
            self._followed.append(None)
        return state

    @property
    def initial(self) -> int:
        """The state before the first word."""
        return self._state({self.start})

    def words(self, state: int) -> tuple[str, ...]:
        """Return the words that may come next."""
        own = self.own_words(state)
        shared = [self.hub_words(hub) for hub in self.hubs(state)]
        return own if not shared else tuple(sorted({*own, *(w for words in shared for w in words)}))

    def own_words(self, state: int) -> tuple[str, ...]:
        """Return the words that may come next here beside those of the state's hubs, sorted."""
        return tuple(self._targets(state))

    def hubs(self, state: int) -> tuple[int, ...]:
        """Return the hubs that a state can go on from.

        A hub is where a repetition begins again. Many states lead there, so what may be said from
        it is kept once, and not in every one of them.
        """
        return tuple(sorted(self._members[state][1]))

    def hub_words(self, hub: int) -> tuple[str, ...]:
        """Return the words that may come next from a hub, sorted."""
        return tuple(self._hub_targets(hub))

    def after(self, state: int, word: str) -> int | None:
        """Return the state after a word; None when it may not come next."""
        known = self._after.get((state, word))
        if known is None:
            nodes = set(self._targets(state).get(word, ()))
            for hub in self._members[state][1]:
                nodes |= self._hub_targets(hub).get(word, frozenset())
            if not nodes:
                return None
            known = self._after[state, word] = self._state(nodes)
        return known

    def may_end(self, state: int) -> bool:
        """Return whether a phrase may end in this state."""
        own, hubs = self._members[state]
        return self.final in own or any(self.final in self._hub_members(hub) for hub in hubs)

    def _targets(self, state: int) -> Targets:
        targets = self._followed[state]
        if targets is None:
            targets = self._followed[state] = self._gather(self._members[state][0])
        return targets

    def _hub_targets(self, hub: int) -> Targets:
        if hub not in self._from_hub:
            self._from_hub[hub] = self._gather(self._hub_members(hub))
        return self._from_hub[hub]

    def _hub_members(self, hub: int) -> frozenset[int]:
        """Return what words leave from, or a phrase may end at, from a hub and those it leads to."""
        own, todo, seen = set[int](), [hub], {hub}
        while todo:
            members, further = self._telling(todo.pop())
            own |= members
            todo += further - seen
            seen |= further
        return frozenset(own)

    def _gather(self, nodes: frozenset[int]) -> Targets:
        """Return the nodes that each word leads to; their closure is made when the word is said."""
        gathered: dict[str, set[int]] = {}
        for node in nodes:
            for word, after in self._words[node].items():
                gathered.setdefault(word, set()).update(after)
        # Sorted, so that ties in a search do not depend on the order of a set.
        return {word: frozenset(gathered[word]) for word in sorted(gathered)}

    def accepts(self, words: tuple[str, ...]) -> bool:
        """Return whether the words are a phrase of the grammar."""
        state: int | None = self.initial
        for word in words:
            state = self.after(state, word) if state is not None else None
        return state is not None and self.may_end(state)

    # meaning --------------------------------------------------------------------------------

    def parse(self, words: tuple[str, ...]) -> tuple[Parse, ...]:
        """Return every distinct tagging of the words; none when they are not a phrase.

        At most :data:`MOST_PARSES`, in a fixed order.
        """
        reached = [self._closure({self.start})]
        for word in words:
            stepped = {n for node in reached[-1] for n in self._words[node].get(word, ())}
            if not stepped:
                return ()
            reached.append(self._closure(stepped))
        if self.final not in reached[-1]:
            return ()
        alive = self._alive(words, reached)
        found: dict[Parse, None] = {}
        self._derive(words, alive, found)
        return tuple(found)

    def _alive(self, words: tuple[str, ...], reached: list[frozenset[int]]) -> list[set[int]]:
        """Return per position the nodes from which the rest of the phrase can be finished."""
        backward = self._backward()
        alive: list[set[int]] = [set() for _ in reached]
        for place in range(len(words), -1, -1):
            if place == len(words):
                good = {self.final}
            else:
                good = {
                    node
                    for node in reached[place]
                    if not alive[place + 1].isdisjoint(self._words[node].get(words[place], ()))
                }
            todo = list(good)
            while todo:
                for node in backward.get(todo.pop(), ()):
                    if node in reached[place] and node not in good:
                        good.add(node)
                        todo.append(node)
            alive[place] = good
        return alive

    def _backward(self) -> dict[int, list[int]]:
        """Return the arcs without a word, target to sources; made when first needed."""
        if self._sources is None:
            self._sources = {}
            for source, targets in enumerate(self._silent):
                for target, _ in targets:
                    self._sources.setdefault(target, []).append(source)
        return self._sources

    def _derive(self, words: tuple[str, ...], alive: list[set[int]], found: dict[Parse, None]) -> None:
        # Depth first with an explicit stack: (node, place, silent nodes passed since the last
        # word, open spans, closed spans).
        Open = tuple[str, int]
        stack: list[tuple[int, int, frozenset[int], tuple[Open, ...], tuple[Span, ...]]] = [
            (self.start, 0, frozenset(), (), ())
        ]
        while stack and len(found) < MOST_PARSES:
            node, place, passed, opened, closed = stack.pop()
            if node == self.final and place == len(words):
                # Inner spans close first; where two cover the same words the outer comes first.
                order = sorted(enumerate(closed), key=lambda c: (c[1].start, -c[1].end, -c[0]))
                found.setdefault(tuple(span for _, span in order))
                continue
            if place < len(words):
                for target in self._words[node].get(words[place], ()):
                    if target in alive[place + 1]:
                        stack.append((target, place + 1, frozenset(), opened, closed))
            for target, mark in self._silent[node]:
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

    # for engines with a grammar of their own ------------------------------------------------

    def pairs(self) -> frozenset[tuple[str | None, str | None]]:
        """Return every two words that may follow each other in a phrase.

        None before the first word stands for the beginning, after the last for the end. It is what
        an n-gram of order two can hold of the graph, and far cheaper than walking its states.
        """
        while self._closed:
            self._open(next(iter(self._closed)))
        after: dict[str | None, set[int]] = {None: {self.start}}
        for node in range(self.size):
            for word, targets in self._words[node].items():
                after.setdefault(word, set()).update(targets)
        found: set[tuple[str | None, str | None]] = set()
        for first, nodes in after.items():
            told = [self._telling(node) for node in nodes]
            own = frozenset[int]().union(*(members for members, _ in told))
            for hub in frozenset[int]().union(*(hubs for _, hubs in told)):
                own |= self._hub_members(hub)
            found |= {(first, second) for node in own for second in self._words[node]}
            if self.final in own and first is not None:
                found.add((first, None))
        return frozenset(found)

    # for people and tests -------------------------------------------------------------------

    def sample(self, rng: random.Random, most_words: int = 40) -> tuple[str, ...]:
        """Return a phrase chosen at random: where it may end it does so half the time."""
        while True:
            state, said = self.initial, list[str]()
            while len(said) <= most_words:
                nexts = self.words(state)
                if self.may_end(state) and (not nexts or rng.random() < 0.5):
                    return tuple(said)
                if not nexts:
                    break
                said.append(rng.choice(nexts))
                after = self.after(state, said[-1])
                assert after is not None  # it is one of the words that may come next
                state = after


def compile_grammar(grammar: Grammar) -> PhraseGraph:
    """Compile a grammar to its phrase graph.

    Raises :class:`GrammarError` for an undefined rule, for recursion (the graph is finite) and
    for a grammar without a phrase.
    """
    _check(grammar)
    graph = PhraseGraph()
    compiler = _Compiler(graph, grammar)
    for name in grammar.public:
        compiler.add(grammar.rules[name], graph.start, graph.final)
    if not graph.may_end(graph.initial) and not graph.words(graph.initial):
        raise GrammarError(
            f"grammar {grammar.name!r} has no phrase",
            where=grammar.source,
            remedy="give at least one public rule that matches some words",
        )
    if grammar.likely:
        expected = compile_grammar(replace(grammar, public=(grammar.likely,), likely=""))
        graph.likely = frozenset(expected.words(expected.initial))
    return graph


def _check(grammar: Grammar) -> None:
    """Raise :class:`GrammarError` for a rule that is not defined or that refers to itself."""
    done, path = set[str](), list[str]()

    def visit(expression: Expression) -> None:
        match expression:
            case Sequence(items) | Choice(items):
                for item in items:
                    visit(item)
            case Maybe(item) | Repeat(item) | Tag(_, _, item):
                visit(item)
            case Rule(name):
                rule(name)
            case Words() | Null() | Void():
                pass

    def rule(name: str) -> None:
        if name not in grammar.rules:
            raise GrammarError(
                f"rule <{name}> is used but not defined", where=grammar.source, remedy=f"define <{name}>"
            )
        if name in path:
            raise GrammarError(
                f"rule <{name}> refers to itself",
                where=grammar.source,
                remedy="write the repetition with * or +; a phrase graph is finite",
            )
        if name not in done:
            path.append(name)
            visit(grammar.rules[name])
            path.pop()
            done.add(name)

    for name in grammar.public:
        rule(name)


def _phrases(expression: Expression) -> tuple[tuple[str, ...], ...] | None:
    """Return the phrases of an expression that is nothing but a list of them; None for any other."""
    match expression:
        case Words(words):
            return (words,)
        case Choice(items):
            inner = [_phrases(item) for item in items]
            found = [phrases for phrases in inner if phrases is not None]
            return tuple(p for phrases in found for p in phrases) if len(found) == len(items) else None
        case _:
            return None


class _Compiler:
    """Adds the paths of an expression between two nodes.

    No path is ever added into ``start`` or out of ``end``, so that loops stay local.
    """

    def __init__(self, graph: PhraseGraph, grammar: Grammar) -> None:
        self.graph = graph
        self.grammar = grammar

    def add(self, expression: Expression, start: int, end: int) -> None:
        graph = self.graph
        match expression:
            case Words(words):
                node = start
                for word in words[:-1]:
                    after = graph._node()
                    graph._words[node].setdefault(word, []).append(after)
                    node = after
                graph._words[node].setdefault(words[-1], []).append(end)
            case Sequence(items):
                node = start
                for item in items[:-1]:
                    after = graph._node()
                    self.add(item, node, after)
                    node = after
                self.add(items[-1], node, end)
            case Choice(items):
                self._choice(items, start, end)
            case Maybe(item):
                graph._link(start, end)
                self.add(item, start, end)
            case Repeat(item, minimum):
                first, last = graph._node(), graph._node()
                graph._hubs.add(first)
                graph._link(start, first)
                self.add(item, first, last)
                graph._link(last, first)
                graph._link(last, end)
                if minimum == 0:
                    graph._link(start, end)
            case Rule(name):
                self._rule(name, start, end)
            case Tag(name, value, item):
                self._tagged(name, value, item, start, end)
            case Null():
                graph._link(start, end)
            case Void():
                pass

    def _choice(self, items: tuple[Expression, ...], start: int, end: int) -> None:
        """Add one of the items; those that are only words share their beginnings.

        A list of numbers has thousands of phrases that begin alike. Which value a tag has is
        decided where it closes, so that they can share their way there.
        """
        lists: dict[str | None, list[tuple[tuple[str, ...], str | None]]] = {}
        for item in items:
            name, value, inner = (
                (item.name, item.value, item.item) if isinstance(item, Tag) else (None, None, item)
            )
            phrases = _phrases(inner)
            if phrases is None:
                self.add(item, start, end)
            else:
                lists.setdefault(name, []).extend((phrase, value) for phrase in phrases)
        for name, entries in lists.items():
            self._list(name, entries, start, end)

    def _list(
        self, name: str | None, entries: list[tuple[tuple[str, ...], str | None]], start: int, end: int
    ) -> None:
        root = self.graph._node()
        self.graph._link(start, root, _Mark(True, name, None) if name is not None else None)
        self._spread(name, list(dict.fromkeys(entries)), 0, root, end)

    def _spread(
        self,
        name: str | None,
        entries: list[tuple[tuple[str, ...], str | None]],
        said: int,
        node: int,
        end: int,
    ) -> None:
        """Add, once a walk comes to ``node``, how the phrases go on of which ``said`` words are said."""
        graph = self.graph

        def add() -> None:
            further: dict[str, list[tuple[tuple[str, ...], str | None]]] = {}
            for phrase, value in entries:
                if len(phrase) == said:
                    graph._link(node, end, _Mark(False, name, value) if name is not None else None)
                else:
                    further.setdefault(phrase[said], []).append((phrase, value))
            for word, group in further.items():
                after = graph._node()
                graph._words[node].setdefault(word, []).append(after)
                self._spread(name, group, said + 1, after, end)

        graph._closed[node] = add

    def _tagged(self, name: str, value: str | None, item: Expression, start: int, end: int) -> None:
        graph = self.graph
        first, last = graph._node(), graph._node()
        graph._link(start, first, _Mark(True, name, value))
        self.add(item, first, last)
        graph._link(last, end, _Mark(False, name, value))

    def _rule(self, name: str, start: int, end: int) -> None:
        graph, item = self.graph, self.grammar.rules[name]
        gate = graph._node()
        graph._link(start, gate)

        def add() -> None:
            if self.grammar.rule_spans:
                self._tagged(name, None, item, gate, end)
            else:
                self.add(item, gate, end)

        graph._closed[gate] = add
