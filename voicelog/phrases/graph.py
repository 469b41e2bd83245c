"""The phrase graph: every phrase that can be said now, as a finite-state graph with tagged spans.

Recognisers walk it through :meth:`PhraseGraph.words` and :meth:`PhraseGraph.after`, a deterministic
view of its network (:mod:`~voicelog.phrases.network`) whose states are made as they are reached. What
a phrase means is read off afterwards by :meth:`PhraseGraph.parse`, which returns *every* tagging of
the words: where the words are ambiguous the caller sees it and can ask.
"""

from __future__ import annotations

import random
from collections.abc import Iterable

from voicelog.phrases.network import Network, Targets, Telling
from voicelog.phrases.parses import Parse, parses


class PhraseGraph:
    """A compiled grammar, over its network. :func:`voicelog.phrases.compiling.compile_grammar` builds it."""

    def __init__(self, network: Network) -> None:
        self._network = network
        self._states: dict[Telling, int] = {}
        self._members: list[Telling] = []
        self._followed: list[Targets | None] = []
        self._after: dict[tuple[int, str], int] = {}
        self._from_hub: dict[int, Targets] = {}
        self.likely: frozenset[str] = frozenset()
        """First words of what is probably said next; empty where nothing is expected."""

    @property
    def size(self) -> int:
        """How many nodes the graph has by now."""
        return self._network.size

    # walking --------------------------------------------------------------------------------

    def _state(self, nodes: Iterable[int]) -> int:
        # What is only passed through makes no difference to what may be said next; without it,
        # the many ways to come to the same place are one state.
        told = [self._network.telling(node) for node in nodes]
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
        return self._state({self._network.start})

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
        return self._network.final in own or any(
            self._network.final in self._network.through_hub(hub) for hub in hubs
        )

    def _targets(self, state: int) -> Targets:
        targets = self._followed[state]
        if targets is None:
            targets = self._followed[state] = self._network.gather(self._members[state][0])
        return targets

    def _hub_targets(self, hub: int) -> Targets:
        if hub not in self._from_hub:
            self._from_hub[hub] = self._network.gather(self._network.through_hub(hub))
        return self._from_hub[hub]

    def accepts(self, words: tuple[str, ...]) -> bool:
        """Return whether the words are a phrase of the grammar."""
        state: int | None = self.initial
        for word in words:
            state = self.after(state, word) if state is not None else None
        return state is not None and self.may_end(state)

    def parse(self, words: tuple[str, ...]) -> tuple[Parse, ...]:
        """Return every distinct tagging of the words; none when they are not a phrase.

        At most :data:`~voicelog.phrases.parses.MOST_PARSES`, in a fixed order.
        """
        return parses(self._network, words)

    # for engines with a grammar of their own ------------------------------------------------

    def pairs(self) -> frozenset[tuple[str | None, str | None]]:
        """Return every two words that may follow each other in a phrase.

        None before the first word stands for the beginning, after the last for the end. It is what
        an n-gram of order two can hold of the graph, and far cheaper than walking its states.
        """
        network = self._network
        network.open_all()
        after: dict[str | None, set[int]] = {None: {network.start}}
        for node in range(network.size):
            for word, targets in network.by_word[node].items():
                after.setdefault(word, set()).update(targets)
        found: set[tuple[str | None, str | None]] = set()
        for first, nodes in after.items():
            told = [network.telling(node) for node in nodes]
            own = frozenset[int]().union(*(members for members, _ in told))
            for hub in frozenset[int]().union(*(hubs for _, hubs in told)):
                own |= network.through_hub(hub)
            found |= {(first, second) for node in own for second in network.by_word[node]}
            if network.final in own and first is not None:
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
