"""The phrase graph as the recogniser's tokens see it.

A state of the search is a state of the word graph plus the tokens of the word already begun.
States are numbered and made as they are reached. The spellings of the words that may come next
are tries; those of a hub of the graph are shared by all states that lead there.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from voicelog.phrases.graph import PhraseGraph

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float32]
Spell = Callable[[str, bool], tuple[tuple[int, ...], ...]]
"""Word, whether it begins the phrase -> its token sequences, every way it may be written."""

END_PRIOR = 0.5
"""How likely a phrase is to end where it may."""
LIKELY_PRIOR = 0.5
"""How likely what is said begins as the graph says that it probably does; the rest is for all else."""


class _Trie:
    __slots__ = ("_arcs", "children", "words")

    def __init__(self) -> None:
        self.children: dict[int, _Trie] = {}
        self.words: list[str] = []
        """Words complete here."""
        self._arcs: tuple[Ints, list[Arc]] | None = None

    def add(self, tokens: tuple[int, ...], word: str) -> None:
        node = self
        for token in tokens:
            node = node.children.setdefault(token, _Trie())
        node.words.append(word)

    def arcs(self) -> tuple[Ints, list[Arc]]:
        if self._arcs is None:
            tokens, arcs = list[int](), list[Arc]()
            for token, child in self.children.items():
                for word in child.words:
                    tokens.append(token)
                    arcs.append(Arc(word, None))
                if child.children:
                    tokens.append(token)
                    arcs.append(Arc(None, child))
            self._arcs = np.array(tokens, np.int64), arcs
        return self._arcs


@dataclass(frozen=True, slots=True)
class Arc:
    """Where one token leads: on within a word, or to the end of one."""

    word: str | None
    """The word it completes; None within a word."""
    trie: _Trie | None
    """Where in the words' spellings it leads; None at the end of a word."""


class TokenGraph:
    """Token arcs over a phrase graph; grows as it is used."""

    def __init__(self, graph: PhraseGraph, spell: Spell) -> None:
        self.graph = graph
        self._spell = spell
        self._keys: dict[tuple[int, int], int] = {}
        self._states: list[tuple[int, _Trie | None]] = []
        self._arcs: list[tuple[Ints, list[Arc], Floats] | None] = []
        self._hub_tries: dict[int, _Trie] = {}
        self.initial = self._state(graph.initial, None)

    def _state(self, word_state: int, trie: _Trie | None) -> int:
        key = (word_state, id(trie) if trie is not None else 0)
        if key not in self._keys:
            self._keys[key] = len(self._states)
            self._states.append((word_state, trie))
            self._arcs.append(None)
        return self._keys[key]

    def _tries(self, word_state: int) -> list[_Trie]:
        """Return the spellings of what may come next: of the hubs, and of the state's other words."""
        graph = self.graph
        if word_state == graph.initial:
            return [self._trie(graph.words(word_state), True)]
        hubs = graph.hubs(word_state)
        for hub in hubs:
            if hub not in self._hub_tries:
                self._hub_tries[hub] = self._trie(graph.hub_words(hub), False)
        shared = {word for hub in hubs for word in graph.hub_words(hub)}
        own = tuple(word for word in graph.own_words(word_state) if word not in shared)
        return [*(self._hub_tries[hub] for hub in hubs), self._trie(own, False)]

    def _trie(self, words: tuple[str, ...], begins: bool) -> _Trie:
        root = _Trie()
        for word in words:
            for tokens in self._spell(word, begins):
                root.add(tokens, word)
        return root

    def arcs(self, state: int) -> tuple[Ints, list[Arc], Floats]:
        """Return the tokens that may come next, where each leads, and each one's log prior.

        A token may be listed more than once: when it completes a word and also begins a longer
        one. The prior (nats) is paid at the end of a word: among many words that may come next,
        each is less likely than among few.
        """
        known = self._arcs[state]
        if known is None:
            word_state, trie = self._states[state]
            parts = [t.arcs() for t in (self._tries(word_state) if trie is None else [trie])]
            tokens = np.concatenate([part[0] for part in parts])
            arcs = [arc for part in parts for arc in part[1]]
            prior = self._log_prior(word_state)
            priors = np.array([prior(arc.word) if arc.word is not None else 0.0 for arc in arcs], np.float32)
            known = self._arcs[state] = tokens, arcs, priors
        return known

    def _log_prior(self, word_state: int) -> Callable[[str], float]:
        """Return the log prior (nats) of each word that may come next, as a function of the word."""
        graph = self.graph
        words = graph.words(word_state)
        goes_on = math.log(1.0 - END_PRIOR) if graph.may_end(word_state) else 0.0
        expected = len(graph.likely & set(words)) if word_state == graph.initial else 0
        others = len(words) - expected
        if not expected or not others:
            alike = goes_on - math.log(len(words) or 1)
            return lambda _: alike
        likely = goes_on + math.log(LIKELY_PRIOR / expected)
        unlikely = goes_on + math.log((1.0 - LIKELY_PRIOR) / others)
        return lambda word: likely if word in graph.likely else unlikely

    def target(self, state: int, arc: Arc) -> int:
        """Return the state that an arc out of ``state`` leads to."""
        word_state, _ = self._states[state]
        if arc.word is None:
            return self._state(word_state, arc.trie)
        after = self.graph.after(word_state, arc.word)
        assert after is not None  # the arc was made from the words that may come next
        return self._state(after, None)

    def may_end(self, state: int) -> bool:
        """Return whether a phrase may end here."""
        word_state, trie = self._states[state]
        return trie is None and self.graph.may_end(word_state)

    def between_words(self, state: int) -> bool:
        """Return whether the last word is whole and no other is begun."""
        return self._states[state][1] is None

    def end_log_prior(self, state: int) -> float:
        """Return how likely the phrase is to end where it may, in nats."""
        word_state, _ = self._states[state]
        return math.log(END_PRIOR) if self.graph.words(word_state) else 0.0
