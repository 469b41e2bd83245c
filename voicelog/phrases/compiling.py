"""From a grammar to its phrase graph.

What a rule matches, and how a list of phrases goes on after a word, is added when a walk first comes
there, so that a large sheet costs nothing until it is spoken of.
"""

from __future__ import annotations

from dataclasses import replace

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
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.network import Mark, Network


def compile_grammar(grammar: Grammar) -> PhraseGraph:
    """Compile a grammar to its phrase graph.

    Raises :class:`GrammarError` for an undefined rule, for recursion (the graph is finite) and
    for a grammar without a phrase.
    """
    _check(grammar)
    network = Network()
    compiler = _Compiler(network, grammar)
    for name in grammar.public:
        compiler.add(grammar.rules[name], network.start, network.final)
    graph = PhraseGraph(network)
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

    def __init__(self, network: Network, grammar: Grammar) -> None:
        self.network = network
        self.grammar = grammar

    def add(self, expression: Expression, start: int, end: int) -> None:
        network = self.network
        match expression:
            case Words(words):
                node = start
                for word in words[:-1]:
                    after = network.node()
                    network.word(node, word, after)
                    node = after
                network.word(node, words[-1], end)
            case Sequence(items):
                node = start
                for item in items[:-1]:
                    after = network.node()
                    self.add(item, node, after)
                    node = after
                self.add(items[-1], node, end)
            case Choice(items):
                self._choice(items, start, end)
            case Maybe(item):
                network.link(start, end)
                self.add(item, start, end)
            case Repeat(item, minimum):
                first, last = network.node(), network.node()
                network.hubs.add(first)
                network.link(start, first)
                self.add(item, first, last)
                network.link(last, first)
                network.link(last, end)
                if minimum == 0:
                    network.link(start, end)
            case Rule(name):
                self._rule(name, start, end)
            case Tag(name, value, item):
                self._tagged(name, value, item, start, end)
            case Null():
                network.link(start, end)
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
        root = self.network.node()
        self.network.link(start, root, Mark(True, name, None) if name is not None else None)
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
        network = self.network

        def add() -> None:
            further: dict[str, list[tuple[tuple[str, ...], str | None]]] = {}
            for phrase, value in entries:
                if len(phrase) == said:
                    network.link(node, end, Mark(False, name, value) if name is not None else None)
                else:
                    further.setdefault(phrase[said], []).append((phrase, value))
            for word, group in further.items():
                after = network.node()
                network.word(node, word, after)
                self._spread(name, group, said + 1, after, end)

        network.put_off(node, add)

    def _tagged(self, name: str, value: str | None, item: Expression, start: int, end: int) -> None:
        network = self.network
        first, last = network.node(), network.node()
        network.link(start, first, Mark(True, name, value))
        self.add(item, first, last)
        network.link(last, end, Mark(False, name, value))

    def _rule(self, name: str, start: int, end: int) -> None:
        network, item = self.network, self.grammar.rules[name]
        gate = network.node()
        network.link(start, gate)

        def add() -> None:
            if self.grammar.rule_spans:
                self._tagged(name, None, item, gate, end)
            else:
                self.add(item, gate, end)

        network.put_off(gate, add)
