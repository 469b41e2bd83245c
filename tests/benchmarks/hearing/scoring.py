"""Right, refused or wrong, as the data set's publisher counts it.

An utterance is right when every labelled slot has exactly its labelled words. No slots at all is a
refusal. Everything else is wrong: an answer given, and false. A slot that nobody labelled does not
make an answer wrong by that rule; such answers are counted beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

Slots = Mapping[str, str]


class Outcome(StrEnum):
    """What came of an utterance."""

    RIGHT = "right"
    REFUSED = "refused"
    WRONG = "wrong"


def agree(slots: Slots, label: Slots) -> bool:
    """Return whether every labelled slot has its labelled words."""
    return all(slots.get(name, "").strip() == words for name, words in label.items())


def outcome(slots: Slots | None, label: Slots) -> Outcome:
    """Return what came of an utterance."""
    if not slots:
        return Outcome.REFUSED
    return Outcome.RIGHT if agree(slots, label) else Outcome.WRONG


def added(slots: Slots | None, label: Slots, names: frozenset[str]) -> bool:
    """Return whether an answer has a slot of ``names`` that its label lacks."""
    return any(name in names and name not in label for name in slots or ())


def slot_words(slots: Slots | None, names: frozenset[str]) -> str:
    """Return the words of the slots of ``names`` in the order of the names; for a word error rate."""
    return " ".join(words for name, words in sorted((slots or {}).items()) if name in names)
