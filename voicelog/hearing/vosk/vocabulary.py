"""The words that a Vosk model knows, read from its files without loading the model.

A model with a dynamic graph carries its words as the symbol table inside ``Gr.fst`` (the binary
form of OpenFst: ``fst.h``, ``symbol-table.cc``); some have them as ``words.txt`` beside it.
"""

from __future__ import annotations

import struct
import unicodedata
from dataclasses import dataclass, field
from functools import cached_property
from typing import BinaryIO

from rapidfuzz import fuzz, process

from voicelog.errors import ModelError
from voicelog.hearing.vosk.folder import VoskFolder

_FST_MAGIC = 2125659606
_SYMBOLS_MAGIC = 2125658996
_HAS_INPUT_SYMBOLS, _HAS_OUTPUT_SYMBOLS = 1, 2
_LONGEST = 10_000
"""Bytes in the longest string that can be one; more means that this is no such file."""
_ALIKE = 60.0
"""Percentage of likeness (rapidfuzz ratio over letters) from which a known word is offered."""


@dataclass(frozen=True)
class Vocabulary:
    """The words of a model."""

    words: frozenset[str] = field(repr=False)

    def suggestion(self, word: str) -> str | None:
        """Return what to say instead of an unknown word: its parts, or the word most like it."""
        return self._parts(word) or self._alike(word)

    def _parts(self, word: str) -> str | None:
        """Return a compound as two known words, the parts as even as can be."""
        middle = len(word) / 2
        for cut in sorted(range(2, len(word) - 1), key=lambda place: abs(place - middle)):
            if word[:cut] in self.words and word[cut:] in self.words:
                return f"{word[:cut]} {word[cut:]}"
        return None

    def _alike(self, word: str) -> str | None:
        # By letters: a syllable of Korean is one character until it is taken apart.
        found = process.extractOne(_letters(word), self._spelled, scorer=fuzz.ratio, score_cutoff=_ALIKE)
        return self._plain[found[2]] if found else None

    @cached_property
    def _plain(self) -> list[str]:
        return sorted(word for word in self.words if word.isalpha())

    @cached_property
    def _spelled(self) -> list[str]:
        return [_letters(word) for word in self._plain]


def _letters(word: str) -> str:
    return unicodedata.normalize("NFD", word)


def read_vocabulary(model: VoskFolder) -> Vocabulary:
    """Return the words of a model. Raises :class:`ModelError` when they cannot be read."""
    listed = model.language_model.with_name("words.txt")
    try:
        if listed.is_file():
            lines = listed.read_text(encoding="utf-8").splitlines()
            return Vocabulary(frozenset(line.split()[0] for line in lines if line.strip()))
        with model.language_model.open("rb") as file:
            return Vocabulary(frozenset(_symbols(file)))
    except (OSError, ValueError, struct.error) as error:
        raise ModelError(
            f"the model's words cannot be read ({error})",
            where=str(model.path),
            remedy="unpack the whole model again",
        ) from error


def _symbols(file: BinaryIO) -> list[str]:
    """Return the symbols of the table inside an FST; ValueError when there is none."""
    if _int32(file) != _FST_MAGIC:
        raise ValueError("Gr.fst is not a finite-state transducer")
    _text(file)  # its type
    _text(file)  # its arcs' type
    _int32(file)  # version
    flags = _int32(file)
    file.read(8 * 4)  # properties, start, states, arcs
    if not flags & (_HAS_INPUT_SYMBOLS | _HAS_OUTPUT_SYMBOLS):
        raise ValueError("Gr.fst carries no words")
    if _int32(file) != _SYMBOLS_MAGIC:
        raise ValueError("the table of words in Gr.fst is damaged")
    _text(file)  # where the table came from
    file.read(8)  # next free number
    (count,) = struct.unpack("<q", file.read(8))
    words = []
    for _ in range(count):
        words.append(_text(file))
        file.read(8)  # its number
    return words


def _int32(file: BinaryIO) -> int:
    return int(struct.unpack("<i", file.read(4))[0])


def _text(file: BinaryIO) -> str:
    length = _int32(file)
    if not 0 <= length <= _LONGEST:
        raise ValueError("Gr.fst is damaged")
    return file.read(length).decode("utf-8")
