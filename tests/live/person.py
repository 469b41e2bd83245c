"""A person at a walk who has nothing but a voice and an ear.

What is said is played into the virtual microphone. When to say the next line is told by what the
loudspeaker gives, as recorded: after its tone, or once it has been quiet for a while. The program is
never asked.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.signal import correlate

from tests.benchmarks.voices import speak
from tests.virtual_sound import ANSWERS, RATE, SPEECH, Recording, VirtualSound
from voicelog.hearing.recogniser import RATE as SPEECH_RATE
from voicelog.hearing.recogniser import Samples
from voicelog.voice.tones import MEANINGS, PATTERNS, Tone, tone

Heard = Tone | Literal["speech", "nothing"]
"""What an answer begins with."""
AUDIBLE = 0.003
"""Of full scale, from which on anything counts as sounding."""
QUIET_S = 0.9
"""How long the voice is silent before it has surely said all."""
PATIENCE_S = 8.0
"""How long an answer is waited for before the line is said again."""
_LOOK_S = 0.05
_LIKE_A_TONE = 0.8


@dataclass(frozen=True, slots=True)
class Turn:
    """A line that was said once, and its answer."""

    said: str
    at: datetime
    """When it was begun to be said."""
    answer: Heard
    delay_s: float | None
    """From the end of speech to the beginning of the answer, both in the recording; where nothing was said,
    from what befell the walk."""
    spoken_s: float = 0.0
    """How long the answer sounded, tone and speech."""


class Person:
    """Speaks with a synthetic voice; hears with a recording of the virtual sound.

    ``beside_voice`` says that the voice of the loudspeaker is in the microphone's sound too.
    """

    def __init__(
        self, sound: VirtualSound, recording: Recording, voice: str = "slt", *, beside_voice: bool = False
    ) -> None:
        self._sound, self._recording, self._voice = sound, recording, voice
        self._beside_voice = beside_voice

    def say(self, text: str, *, wait: bool = True, patience_s: float = PATIENCE_S) -> Turn:
        """Say a line and wait for its answer; with ``wait`` until all of it has been said."""
        words = _words(text, self._voice)
        at, before = datetime.now(UTC), self._recording.frames()
        self._sound.say(words, SPEECH_RATE)
        return self._answered(text, at, before, wait, patience_s)

    def listen(self, first: int, *, patience_s: float = PATIENCE_S) -> Turn:
        """Say nothing, and hear out what is said from a frame of the recording on."""
        return self._answered("", datetime.now(UTC), first, True, patience_s)

    def _answered(self, text: str, at: datetime, before: int, wait: bool, patience_s: float) -> Turn:
        until = time.monotonic() + patience_s
        while time.monotonic() < until:
            time.sleep(_LOOK_S)
            piece = self._recording.so_far(before)
            end = self._end_of_speech(piece, text) if text else 0
            answers = np.abs(piece[:, ANSWERS]).max(axis=1, initial=0.0) > AUDIBLE
            begin = _begins(answers, end)
            if begin is None or len(piece) - begin < RATE // 2:
                continue
            kind = told(piece[begin:, ANSWERS].mean(axis=1))
            last = self._until_quiet(before) if wait else len(piece)
            return Turn(text, at, kind, (begin - end) / RATE, (last - begin) / RATE)
        return Turn(text, at, "nothing", None)

    def _end_of_speech(self, piece: npt.NDArray[np.float32], text: str) -> int:
        spoken = np.flatnonzero(np.abs(piece[:, SPEECH]) > AUDIBLE)
        if not len(spoken):
            return 0
        if self._beside_voice:  # what comes after the words may be the loudspeaker
            length = len(_words(text, self._voice)) * RATE // SPEECH_RATE
            return min(int(spoken[0]) + length, len(piece))
        return int(spoken[-1]) + 1

    def _until_quiet(self, before: int) -> int:
        """Wait until the voice has been silent for a while; return where it ended."""
        while True:
            piece = self._recording.so_far(before)
            sounding = np.flatnonzero(np.abs(piece[:, ANSWERS]).max(axis=1, initial=0.0) > AUDIBLE)
            if not len(sounding) or len(piece) - sounding[-1] > QUIET_S * RATE:
                return int(sounding[-1]) if len(sounding) else len(piece)
            time.sleep(_LOOK_S)


def told(answer: npt.NDArray[np.float32]) -> Heard:
    """Return the tone that an answer begins with, or that it is speech."""
    best: tuple[float, Heard] = (_LIKE_A_TONE, "speech")
    for name in MEANINGS:
        # The first pulse tells them apart; on a busy machine the gap after it may be played longer.
        template = tone(name, RATE)[: round(PATTERNS[name][0].seconds * RATE)]
        piece = np.pad(answer[: len(template) + RATE // 20], (RATE // 20, RATE // 20))
        products = np.abs(correlate(piece, template, mode="valid"))
        power = np.convolve(piece.astype(np.float64) ** 2, np.ones(len(template)), "valid")
        likeness = float((products / (np.sqrt(power) * np.linalg.norm(template) + 1e-6)).max())
        best = max(best, (likeness, name))
    return best[1]


def _begins(sounding: npt.NDArray[np.bool_], end: int) -> int | None:
    """Return where an answer begins after ``end``; what sounds across ``end`` is an earlier one."""
    after = sounding[end:]
    begin = 0
    if len(after) and sounding[max(0, end - RATE // 20) : end + RATE // 20].any():
        gap = RATE // 8
        quiet = np.flatnonzero(np.convolve(after, np.ones(gap), "valid") == 0)
        if not len(quiet):
            return None
        begin = int(quiet[0])
    found = np.flatnonzero(after[begin:])
    return end + begin + int(found[0]) if len(found) else None


@cache
def _words(text: str, voice: str) -> Samples:
    words = speak(text, voice)
    loud = np.flatnonzero(np.abs(words) > 0.01)
    return np.asarray(0.6 * words[loud[0] : loud[-1] + 1] / np.abs(words).max(), np.float32)


def room(seconds: float, seed: int = 0) -> Samples:
    """Return the quiet of a room: a microphone never gives digital silence."""
    rng = np.random.default_rng(seed)
    return (0.0004 * rng.standard_normal(round(seconds * SPEECH_RATE))).astype(np.float32)


def delays(turns: Sequence[Turn]) -> list[float]:
    """Return the seconds from the end of speech to the answer, of the lines that had a tone."""
    tones = [t for t in turns if t.said and t.answer not in ("speech", "nothing")]
    return [t.delay_s for t in tones if t.delay_s is not None]
