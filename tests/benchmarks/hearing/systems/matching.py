"""The phrase of a grammar that is nearest to a text.

A grammar may have many millions of phrases, so they are not listed. The nearest one is searched for
in the phrase graph, best first: each word of the grammar may stand for none to three words of the
text at the cost of their edit distance in letters, and a word of the text may be left out at the
cost of its letters. The phrase found is a nearest one of all. How like it is to the text is
rapidfuzz's ratio.
"""

from __future__ import annotations

import heapq
import re
from dataclasses import dataclass
from itertools import count

from num2words import num2words
from rapidfuzz import fuzz, process
from rapidfuzz.distance import Levenshtein

from voicelog.phrases.graph import PhraseGraph

LONGEST_SPAN = 3
"""Words of the text that one word of the grammar may stand for ("cap of chino")."""
_SHORT = {"oz": "ounce", "lb": "pound", "lbs": "pounds"}


@dataclass(frozen=True, slots=True)
class Nearest:
    """A phrase, and how like the text it is, 0 to 100."""

    words: tuple[str, ...]
    likeness: float


def words_of(graph: PhraseGraph) -> list[str]:
    """Return every word of a grammar, sorted."""
    found, seen, todo = set[str](), {graph.initial}, [graph.initial]
    while todo:
        state = todo.pop()
        for word in graph.words(state):
            found.add(word)
            after = graph.after(state, word)
            if after is not None and after not in seen:
                seen.add(after)
                todo.append(after)
    return sorted(found)


def normalised(text: str) -> list[str]:
    """Return the words of a written text as they are spoken: lower case, numbers in words."""
    split = re.findall(
        r"\d+|[^\W\d_]+(?:'[^\W\d_]+)*", text.lower().replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    )
    spoken = [num2words(int(w)).replace("-", " ") if w.isdigit() else _SHORT.get(w, w) for w in split]
    return " ".join(spoken).split()


class NearestPhrase:
    """Finds the nearest phrase of one grammar."""

    def __init__(self, graph: PhraseGraph) -> None:
        self._graph = graph
        self._words = words_of(graph)

    def to(self, text: list[str]) -> Nearest | None:
        """Return the phrase nearest to the words of a text; None for no words."""
        if not text:
            return None
        costs = self._costs(text)
        order = count()
        begin = (self._graph.initial, 0)
        came: dict[tuple[int, int], tuple[tuple[int, int], str | None]] = {}
        done: set[tuple[int, int]] = set()
        best = {begin: 0}
        queue = [(0, next(order), begin)]
        while queue:
            cost, _, node = heapq.heappop(queue)
            if node in done:
                continue
            done.add(node)
            state, place = node
            if place == len(text) and self._graph.may_end(state):
                return self._found(text, node, came)
            steps: list[tuple[tuple[int, int], int, str | None]] = []
            if place < len(text):
                steps.append(((state, place + 1), len(text[place]) + 1, None))
            for word in self._graph.words(state):
                after = self._graph.after(state, word)
                assert after is not None  # it is one of the words that may come next
                steps += [((after, end), c, word) for end, c in costs[word, place]]
            for target, more, said in steps:
                if target not in done and cost + more < best.get(target, 1 << 30):
                    best[target] = cost + more
                    came[target] = (node, said)
                    heapq.heappush(queue, (cost + more, next(order), target))
        return None

    def _costs(self, text: list[str]) -> dict[tuple[str, int], list[tuple[int, int]]]:
        """Return, per word of the grammar and place in the text, where it may end and at what cost."""
        spans = [
            (place, end)
            for place in range(len(text))
            for end in range(place + 1, min(place + LONGEST_SPAN, len(text)) + 1)
        ]
        joined = ["".join(text[place:end]) for place, end in spans]
        distances = process.cdist(self._words, joined, scorer=Levenshtein.distance)
        costs: dict[tuple[str, int], list[tuple[int, int]]] = {}
        for row, word in enumerate(self._words):
            for place in range(len(text) + 1):
                costs[word, place] = [(place, len(word) + 1)]
            for column, (place, end) in enumerate(spans):
                costs[word, place].append((end, int(distances[row, column]) + end - place - 1))
        return costs

    def _found(
        self,
        text: list[str],
        node: tuple[int, int],
        came: dict[tuple[int, int], tuple[tuple[int, int], str | None]],
    ) -> Nearest:
        backwards: list[str] = []
        while node in came:
            node, said = came[node]
            if said is not None:
                backwards.append(said)
        words = tuple(reversed(backwards))
        return Nearest(words, fuzz.ratio(" ".join(text), " ".join(words)))
