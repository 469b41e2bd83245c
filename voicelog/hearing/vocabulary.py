"""Words to tokens and back: how phrases are spelt for the model, and what it must not print."""

from __future__ import annotations

import functools
from importlib.resources import files

import numpy as np
from tokenizers import Tokenizer

from voicelog.hearing.matrix import Array
from voicelog.hearing.tokens import Spell

NEVER = np.float32(-1e9)


def token_spelling(tokenizer: Tokenizer) -> Spell:
    """Return the spellings of a word as token sequences, as the model writes it within a sentence."""

    def tokens(text: str) -> tuple[int, ...]:
        return tuple(tokenizer.encode(text, add_special_tokens=False).ids)

    @functools.cache
    def spell(word: str, begins: bool) -> tuple[tuple[int, ...], ...]:
        plain, name = tokens(f" {word}"), tokens(f" {word.capitalize()}")
        # A word that the vocabulary holds as readily as a name is one the model may write so.
        return (plain, name) if 1 < len(plain) >= len(name) else (plain,)

    return spell


def forbidden_tokens(tokenizer: Tokenizer, end: int, size: int) -> Array:
    """Return what to add to free decoding's scores: 0, or very low for tokens it must not print.

    Those are the control tokens above the end of text, and words that should not be put into
    anybody's mouth.
    """
    mask = np.zeros(size, np.float32)
    mask[end + 1 :] = NEVER
    for word in _offensive():
        for form in (" " + word, " " + word.capitalize(), word):
            ids = tokenizer.encode(form, add_special_tokens=False).ids
            if len(ids) == 1:
                mask[ids[0]] = NEVER
    return mask


TRADE_WORDS = frozenset({"stroke", "flange", "nut", "nuts", "screw", "hell", "gas"})
"""On the word list, and ordinary words here."""


@functools.cache
def _offensive() -> frozenset[str]:
    words = (files("better_profanity") / "profanity_wordlist.txt").read_text(encoding="utf-8").split()
    return frozenset(words) - TRADE_WORDS
