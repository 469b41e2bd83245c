"""The recognisers that are measured, each an adapter in a module of its own.

An adapter is made and used only in a process of its own (:mod:`tests.benchmarks.hearing.worker`), so
nothing heavy is imported here.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import numpy as np

from tests.benchmarks.hearing.mixing import Pcm
from tests.benchmarks.hearing.results import Answer, Identity
from voicelog.errors import VoicelogError
from voicelog.phrases.graph import PhraseGraph

NAMES = ("voicelog", "pocketsphinx", "whisper")
"""In the order they are run; the first is ours, the others are compared with it."""


@dataclass(frozen=True, slots=True)
class Setup:
    """What an adapter is made with."""

    grammar: Path
    model: Path | None
    """Whisper's weights, for those that use them; None is the embedded model."""
    threads: int
    prompt: str
    cutoff: float
    """0 to 100: a text less like its nearest phrase is refused (free Whisper only)."""


class System(Protocol):
    """A recogniser of phrases of one grammar. Made ready by its constructor."""

    identity: Identity

    def answer(self, pcm: Pcm) -> Answer:
        """Decode mono samples at 16 kHz."""
        ...


def make_system(name: str, setup: Setup) -> System:
    """Return the system of that name, ready. Raises :class:`VoicelogError`."""
    try:
        match name:
            case "voicelog":
                from tests.benchmarks.hearing.systems.ours import Ours

                return Ours(setup)
            case "pocketsphinx":
                from tests.benchmarks.hearing.systems.sphinx import Sphinx

                return Sphinx(setup)
            case "whisper":
                from tests.benchmarks.hearing.systems.free_whisper import FreeWhisper

                return FreeWhisper(setup)
    except ImportError as error:
        raise VoicelogError(
            f"a package that it needs is not installed ({error})",
            where=name,
            remedy="pip install '.[bench]', or leave the system out with --systems",
        ) from error
    raise VoicelogError(f"there is no system {name}", remedy=f"choose from {', '.join(NAMES)}")


def slots_of(graph: PhraseGraph, words: tuple[str, ...]) -> dict[str, str] | None:
    """Return rule name to the words it matched, as ``voicelog decode`` reports them.

    None when the words are no phrase of the grammar. Where a rule matched more than once its words
    are joined by a comma.
    """
    parses = graph.parse(words)
    if not parses:
        return None
    slots: dict[str, str] = {}
    for span in parses[0]:
        slots[span.name] = f"{slots[span.name]}, {span.value}" if span.name in slots else span.value
    return slots


def whole_beginning(graph: PhraseGraph, words: tuple[str, ...]) -> tuple[str, ...]:
    """Return the longest whole phrase that the words begin with; empty when there is none."""
    state = graph.initial
    longest = 0
    for number, word in enumerate(words, start=1):
        after = graph.after(state, word)
        if after is None:
            break
        state = after
        if graph.may_end(state):
            longest = number
    return words[:longest]


@dataclass(slots=True)
class Stopwatch:
    """Started when it is made; says how long decoding and then matching took."""

    _clock: float = field(default_factory=time.perf_counter)
    _cpu: float = field(default_factory=time.process_time)
    _decoded: tuple[float, float] = (0.0, 0.0)

    def decoded(self) -> None:
        """The words are there."""
        self._decoded = time.perf_counter(), time.process_time()

    def times(self) -> dict[str, float]:
        """Return the fields of an answer that tell times; matching ends now."""
        clock, cpu = self._decoded
        return {
            "decode_s": clock - self._clock,
            "cpu_s": cpu - self._cpu,
            "match_s": time.perf_counter() - clock,
        }


def as_floats(pcm: Pcm) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    """Return 16-bit samples in [-1, 1)."""
    return (pcm / 32768.0).astype(np.float32)
