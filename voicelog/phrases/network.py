"""Nodes and arcs of a phrase graph: words, passages without a word, and marks where tags open and close.

Non-deterministic, and made as it is walked: what leaves a node may be put off until a walk first comes
there. :mod:`~voicelog.phrases.compiling` adds the nodes; :mod:`~voicelog.phrases.graph` and
:mod:`~voicelog.phrases.parses` walk them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mark:
    """On an arc without a word: a tag opens or closes here; its value counts where it closes."""

    opens: bool
    name: str
    value: str | None


Telling = tuple[frozenset[int], frozenset[int]]
"""Nodes that words leave from or where a phrase may end, and the hubs that are led to."""
Targets = dict[str, frozenset[int]]
"""The nodes that each word leads to."""


class Network:
    """The nodes, numbered from 0, with what leaves each."""

    def __init__(self) -> None:
        self.by_word: list[dict[str, list[int]]] = []
        """Of each node, the nodes that a word leads to."""
        self.silent: list[list[tuple[int, Mark | None]]] = []
        """Of each node, the nodes that it leads to without a word."""
        self.hubs: set[int] = set()
        """Nodes where a repetition begins again."""
        self._put_off: dict[int, Callable[[], None]] = {}
        self._sources: dict[int, list[int]] | None = None
        self._reached: dict[int, frozenset[int]] = {}
        self._tells: dict[int, Telling] = {}
        self.start = self.node()
        self.final = self.node()

    @property
    def size(self) -> int:
        """How many nodes there are by now."""
        return len(self.by_word)

    # building -------------------------------------------------------------------------------

    def node(self) -> int:
        """Add a node."""
        self.by_word.append({})
        self.silent.append([])
        return len(self.by_word) - 1

    def link(self, start: int, end: int, mark: Mark | None = None) -> None:
        """Add an arc without a word."""
        self.silent[start].append((end, mark))
        if self._sources is not None:
            self._sources.setdefault(end, []).append(start)

    def word(self, start: int, word: str, end: int) -> None:
        """Add an arc with a word."""
        self.by_word[start].setdefault(word, []).append(end)

    def put_off(self, node: int, add: Callable[[], None]) -> None:
        """Have ``add`` called when a walk first comes to the node: it adds what leaves there."""
        self._put_off[node] = add

    def _open(self, node: int) -> None:
        adding = self._put_off.pop(node, None)
        if adding is not None:
            adding()

    def open_all(self) -> None:
        """Add everything that was put off."""
        while self._put_off:
            self._open(next(iter(self._put_off)))

    # walking --------------------------------------------------------------------------------

    def closure(self, nodes: Iterable[int]) -> frozenset[int]:
        """Return the nodes that can be reached from any of these without a word, themselves included."""
        return frozenset().union(*map(self._reach, nodes))

    def _reach(self, start: int) -> frozenset[int]:
        known = self._reached.get(start)
        if known is None:
            nodes = {start}
            todo = [start]
            while todo:
                passed = todo.pop()
                self._open(passed)
                for node, _ in self.silent[passed]:
                    if node not in nodes:
                        nodes.add(node)
                        todo.append(node)
            known = self._reached[start] = frozenset(nodes)
        return known

    def telling(self, start: int) -> Telling:
        """Return what words leave from, or a phrase may end at, reached from a node without a word.

        A hub on the way is named, and not gone through.
        """
        known = self._tells.get(start)
        if known is None:
            own, hubs, seen, todo = set[int](), set[int](), {start}, [start]
            while todo:
                node = todo.pop()
                if node in self.hubs and node != start:
                    hubs.add(node)
                    continue
                self._open(node)
                if self.by_word[node] or node == self.final:
                    own.add(node)
                for after, _ in self.silent[node]:
                    if after not in seen:
                        seen.add(after)
                        todo.append(after)
            known = self._tells[start] = frozenset(own), frozenset(hubs)
        return known

    def through_hub(self, hub: int) -> frozenset[int]:
        """Return what words leave from, or a phrase may end at, from a hub and those it leads to."""
        own, todo, seen = set[int](), [hub], {hub}
        while todo:
            members, further = self.telling(todo.pop())
            own |= members
            todo += further - seen
            seen |= further
        return frozenset(own)

    def gather(self, nodes: frozenset[int]) -> Targets:
        """Return the nodes that each word leads to; their closure is made when the word is said."""
        gathered: dict[str, set[int]] = {}
        for node in nodes:
            for word, after in self.by_word[node].items():
                gathered.setdefault(word, set()).update(after)
        # Sorted, so that ties in a search do not depend on the order of a set.
        return {word: frozenset(gathered[word]) for word in sorted(gathered)}

    def backward(self) -> dict[int, list[int]]:
        """Return the arcs without a word, target to sources; made when first needed."""
        if self._sources is None:
            self._sources = {}
            for source, targets in enumerate(self.silent):
                for target, _ in targets:
                    self._sources.setdefault(target, []).append(source)
        return self._sources
