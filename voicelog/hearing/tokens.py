"""The phrase graph as the recogniser's tokens see it.

A state of the search is a state of the word graph plus the tokens of the word already begun.
States are numbered and made as they are reached; each holds its outgoing tokens as arrays.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from voicelog.phrases.graph import PhraseGraph

Ints = npt.NDArray[np.int64]
Spell = Callable[[str, bool], tuple[tuple[int, ...], ...]]
"""Word, whether it begins the phrase -> its token sequences, every way it may be written."""


END_PRIOR = 0.5
"""How likely a phrase is to end where it may."""


@dataclass(slots=True)
class _Trie:
    children: dict[int, _Trie]
    words: list[str]
    """Words complete here."""


@dataclass(frozen=True, slots=True)
class Arc:
    """Where one token leads: on within a word, or to the end of one."""

    word: str | None
    """The word it completes; None within a word."""
    word_state: int
    """The state of the word graph before that word."""
    trie: _Trie | None
    """Where in the words' spellings it leads; None at the end of a word."""
    log_prior: float
    """Nats: how likely the word is among those that may come next, each as likely as the other."""


class TokenGraph:
    """Token arcs over a phrase graph; grows as it is used."""

    def __init__(self, graph: PhraseGraph, spell: Spell) -> None:
        self.graph = graph
        self._spell = spell
        self._keys: dict[tuple[int, int], int] = {}
        self._states: list[tuple[int, _Trie | None]] = []
        self._arcs: list[tuple[Ints, list[Arc]] | None] = []
        self._tries: dict[int, _Trie] = {}
        self.initial = self._state(graph.initial, None)

    def _state(self, word_state: int, trie: _Trie | None) -> int:
        key = (word_state, id(trie) if trie is not None else 0)
        if key not in self._keys:
            self._keys[key] = len(self._states)
            self._states.append((word_state, trie))
            self._arcs.append(None)
        return self._keys[key]

    def _trie(self, word_state: int) -> _Trie:
        if word_state not in self._tries:
            root = _Trie({}, [])
            begins = word_state == self.graph.initial
            for word in self.graph.words(word_state):
                for tokens in self._spell(word, begins):
                    node = root
                    for token in tokens:
                        node = node.children.setdefault(token, _Trie({}, []))
                    node.words.append(word)
            self._tries[word_state] = root
        return self._tries[word_state]

    def arcs(self, state: int) -> tuple[Ints, list[Arc]]:
        """Return the tokens that may come next and, for each, where it leads.

        A token may be listed more than once: when it completes a word and also begins a longer one.
        """
        known = self._arcs[state]
        if known is None:
            word_state, trie = self._states[state]
            prior = -math.log(len(self.graph.words(word_state)) or 1)
            if self.graph.may_end(word_state):
                prior += math.log(1.0 - END_PRIOR)
            node = trie if trie is not None else self._trie(word_state)
            tokens, arcs = list[int](), list[Arc]()
            for token, child in node.children.items():
                for word in child.words:
                    tokens.append(token)
                    arcs.append(Arc(word, word_state, None, prior))
                if child.children:
                    tokens.append(token)
                    arcs.append(Arc(None, word_state, child, 0.0))
            known = self._arcs[state] = np.array(tokens, np.int64), arcs
        return known

    def target(self, arc: Arc) -> int:
        """Return the state that an arc leads to."""
        if arc.word is None:
            return self._state(arc.word_state, arc.trie)
        after = self.graph.after(arc.word_state, arc.word)
        assert after is not None  # the arc was made from the words that may come next
        return self._state(after, None)

    def end_log_prior(self, state: int) -> float:
        """Return how likely the phrase is to end where it may, in nats."""
        word_state, _ = self._states[state]
        return math.log(END_PRIOR) if self.graph.words(word_state) else 0.0

    def may_end(self, state: int) -> bool:
        """Return whether a phrase may end here."""
        word_state, trie = self._states[state]
        return trie is None and self.graph.may_end(word_state)
