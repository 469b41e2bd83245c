"""What a benchmark says, what is then true, and what came of it: plain data, one JSON object a row.

Truth is written down by the program that makes the phrase, from the point, condition and value
it chose. It never comes from the parser under test.
"""

from __future__ import annotations

import zlib
from fractions import Fraction
from typing import Literal

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """Immutable, and closed: an unknown field is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Fact(Frozen):
    """One fact of one point: a condition, or a reading's value."""

    point_id: str
    condition_id: str | None = None
    reading_id: str | None = None
    value: Fraction | None = None
    sound: bool
    """For a reading: within its limit."""


class Said(Frozen):
    """Words to speak, where, and what they mean."""

    text: str
    """Lower-case words, as the phrase graph spells them where it has them."""
    kind: str
    stop_id: str
    before: tuple[str, ...] = ()
    """Typed at the stop before it is spoken, so that the walk is in some state."""
    facts: tuple[Fact, ...] = ()
    """What is true of it; nothing for what is not in the grammar."""
    near: str = ""
    """The phrase of the grammar that it was made from, for a near miss."""
    apart: int | None = None
    """Phonemes by which a near miss differs from that phrase, by espeak-ng's pronunciation."""


Source = Literal["voice", "file", "song", "noise"]


class Case(Frozen):
    """One sound to be heard: what is said, by whom, in how much noise."""

    set: str
    number: int
    said: Said
    source: Source = "voice"
    speaker: str = ""
    """The speaker, the sound file, or the song."""
    ratio: float | None = None
    """Decibels; None without noise."""
    seconds: float = 0.0
    """For noise alone."""
    live: bool = False
    """Heard as a stream, through the endpointer."""

    @property
    def id(self) -> str:
        """Unique in the run."""
        ratio = "clean" if self.ratio is None else f"{self.ratio:g}dB"
        return f"{self.set}/{self.number:05d}/{self.speaker.rsplit('/', 1)[-1]}/{ratio}"

    @property
    def seed(self) -> int:
        """Which stretch of noise it is heard in."""
        return zlib.crc32(f"{self.id} {self.said.text}".encode())


class Logged(Frozen):
    """An entry, as it was committed."""

    fact: Fact
    posterior: dict[str, float]
    doubts: tuple[str, ...] = ()
    """The slots in doubt; none when it was taken without asking."""
    reason: str = ""
    """Of the doubt."""
    candidates: tuple[Fact, ...] = ()
    """What was asked about."""
    by_name: bool = True
    """False where no point was heard, and the walk took the one at hand."""


class Row(Frozen):
    """What came of one case."""

    case: Case
    utterances: int
    """How many the endpointer made of it; 1 where it was given as one."""
    logged: tuple[Logged, ...] = ()
    acts: tuple[str, ...] = ()
    """Everything else that was committed or moved, apart from not understood: commands, namings..."""
    text: str = ""
    """The best phrase, also where it was refused."""
    free_text: str = ""
    outside: float = 0.0
    """The engine's posterior that it was no phrase of the graph."""
    reason: str = ""
    """Why it was not understood."""
    hypotheses: tuple[tuple[str, float], ...] = ()
    """The likeliest phrases and their posteriors."""
    audio_s: float = 0.0
    decode_s: float = 0.0
