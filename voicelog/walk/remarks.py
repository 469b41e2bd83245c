"""A remark: the parts it was dictated in, and their transcripts, which come after the sound. Pure.

Each utterance of a dictation is a part, with its own sound, committed before anything is made of it.
Parts of one remark name the first of them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from rapidfuzz import fuzz

from voicelog.walk.events import RemarkLogged, RemarkTranscribed

NO_TRANSCRIPT = "no transcript yet; the sound is the original"
WITHOUT_WORDS = "remark without words"
_NOT_YET = "[no transcript yet]"
_ALIKE = 60.0
"""From 0 to 100: how much the end of a transcript must be like "end of remark" to be left out of it.
Seen of spoken ones: "and of remark" 92, "and a remark" 82, "and over a mark" 64."""

Parts = tuple[tuple[datetime, RemarkLogged], ...]


@dataclass(frozen=True, slots=True)
class Remark:
    """One dictation, in one or more parts."""

    parts: Parts
    """When each was committed; never empty."""

    @property
    def at(self) -> datetime:
        """When the first part was committed."""
        return self.parts[0][0]

    @property
    def first(self) -> RemarkLogged:
        """The part whose id is the remark's."""
        return self.parts[0][1]

    @property
    def point_id(self) -> str | None:
        """The point that it is about; None for the unit as a whole."""
        return self.first.point_id

    @property
    def transcribed(self) -> bool:
        """Whether every part has its words."""
        return all(part.transcribed for _, part in self.parts)

    @property
    def clips(self) -> tuple[str, ...]:
        """The SHA-256 of each part's sound, in order."""
        return tuple(part.heard.clip for _, part in self.parts if part.heard.clip)

    @property
    def words(self) -> str:
        """What is shown for its words: every part's, or that there are none yet."""
        if not any(part.heard.text for _, part in self.parts):
            return WITHOUT_WORDS if self.transcribed else NO_TRANSCRIPT
        said = (part.heard.text if part.transcribed else _NOT_YET for _, part in self.parts)
        return " ".join(words for words in said if words)


def remarks_in(parts: Iterable[tuple[datetime, RemarkLogged]]) -> tuple[Remark, ...]:
    """Return the remarks that parts belong to, in the order they were begun."""
    found: dict[str, Parts] = {}
    for at, part in parts:
        key = part.continues or part.remark_id
        found[key] = (*found.get(key, ()), (at, part))
    return tuple(Remark(of_one) for of_one in found.values())


def transcribed(remark: RemarkLogged, event: RemarkTranscribed) -> RemarkLogged:
    """Return the part with the words of the event, if it is the one they are of."""
    if remark.remark_id != event.remark_id:
        return remark
    heard = remark.heard.model_copy(update={"text": event.text})
    return remark.model_copy(update={"heard": heard, "transcribed": True})


def owed(parts: Iterable[tuple[datetime, RemarkLogged]]) -> tuple[RemarkLogged, ...]:
    """Return the parts whose sound is kept and whose words are still to be made, in order."""
    return tuple(part for _, part in parts if not part.transcribed and part.heard.clip)


def words_of(remark: RemarkLogged) -> str:
    """Return what is shown for the words of a part."""
    return remark.heard.text or (WITHOUT_WORDS if remark.transcribed else NO_TRANSCRIPT)


def without_ending(text: str, endings: Iterable[str]) -> str:
    """Return a transcript without the words at its end that end a remark, however they were spelled.

    For a sound in which the ending was heard. The transcript is left as it is where its end is like
    none of ``endings``.
    """
    words = text.split()
    found: list[tuple[float, int]] = []
    for ending in endings:
        length = len(ending.split())
        for count in range(max(1, length - 1), min(len(words), length + 1) + 1):
            tail = " ".join(words[-count:]).lower().strip(" .,!?;:")
            found.append((fuzz.ratio(tail, ending), count))
    alike, count = max(found, default=(0.0, 0), key=lambda item: (item[0], -item[1]))
    return " ".join(words[:-count]).rstrip(" ,;") if alike >= _ALIKE else text
