"""How far apart two pronunciations are to the ear.

A sound lost or gained costs 1. A sound changed into another costs a half for being another, and up
to a half more for the articulatory features that differ, as panphon weighs them (Mortensen and others
2016, "PanPhon: A Resource for Mapping IPA Segments to Articulatory Feature Vectors", COLING). So
"fifteen" and "fifty" are 1 apart. Features alone rank worse against what the recogniser takes for
what: they make every pair of vowels nearly the same. ``tests/benchmarks/heard_apart.py`` measures it.
Biopython's aligner finds the cheapest way from one phrase to the other.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from itertools import combinations
from typing import Any

from voicelog.errors import VoicelogError
from voicelog.sounds.pronunciation import INSTALL, Pronunciations

_LETTERS = "".join(chr(code) for code in range(33, 127))
"""The aligner wants a letter for each segment; English has some forty segments."""


class Ear:
    """Measures distances between phrases. Deterministic; symmetric; 0 for what sounds the same."""

    def __init__(self, phrases: Iterable[str]) -> None:
        """Take the phrases that will be compared. VoicelogError where a library is not installed."""
        self.pronunciations = Pronunciations.of(phrases)
        self._found: dict[tuple[str, str], float | None] = {}
        self._spelt: dict[str, tuple[str, ...]] = {}

    def apart(self, one: str, other: str) -> float | None:
        """Return the sounds between two phrases at their nearest, or None without a pronunciation."""
        key = (one, other) if one <= other else (other, one)
        if key not in self._found:
            self._found[key] = self._measured(*key)
        return self._found[key]

    def _measured(self, one: str, other: str) -> float | None:
        ways = [(a, b) for a in self._spell(one) for b in self._spell(other)]
        if not ways:
            return None
        # An empty text would be an error to the aligner, and no phrase is without a sound.
        return min(0.0 if a == b else -self._aligner.score(a, b) for a, b in ways) or 0.0

    def _spell(self, phrase: str) -> tuple[str, ...]:
        if phrase not in self._spelt:
            ways = self.pronunciations.ways(phrase)
            self._spelt[phrase] = tuple("".join(self._letters[s] for s in way) for way in ways)
        return self._spelt[phrase]

    @cached_property
    def _letters(self) -> dict[str, str]:
        segments = {s for ways in self.pronunciations.words.values() for way in ways for s in way}
        return dict(zip(sorted(segments), _LETTERS, strict=False))

    @cached_property
    def _aligner(self) -> Any:
        try:
            from Bio import Align
            from panphon.distance import Distance
        except ImportError as error:
            raise VoicelogError(
                f"what measures sounds is not installed ({error.name})", remedy=INSTALL
            ) from None
        bio: Any = Align  # it has no types of its own
        features = Distance()
        one_sound: float = features.weighted_feature_edit_distance("t", "")
        matrix = bio.substitution_matrices.Array("".join(self._letters.values()), dims=2)
        for (a, x), (b, y) in combinations(self._letters.items(), 2):
            differ = features.weighted_feature_edit_distance(a, b) / one_sound
            matrix[x, y] = matrix[y, x] = -(1 + min(differ, 1.0)) / 2
        aligner = bio.PairwiseAligner(mode="global")
        aligner.substitution_matrix = matrix
        aligner.gap_score = -1.0
        return aligner
