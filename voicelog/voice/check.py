"""Trying the voice out: which one is found, and the tones with what they mean."""

from __future__ import annotations

from collections.abc import Callable

from voicelog.voice.aloud import no_speaker
from voicelog.voice.answers import Answer, Sentence
from voicelog.voice.floor import Floor
from voicelog.voice.mixer import Mixer
from voicelog.voice.output import SoundOutput, output_rate
from voicelog.voice.player import Player
from voicelog.voice.synthesis import find_speaker
from voicelog.voice.tones import MEANINGS


def voice_found(language: str = "English") -> tuple[bool, str]:
    """Return whether there is a voice for the language, and its name or what to install."""
    speaker = find_speaker(language)
    return (True, speaker.name) if speaker is not None else (False, no_speaker(language))


def play_tones(device: str | None, tell: Callable[[str], None]) -> None:
    """Tell and play each tone, and say what it means if there is a voice.

    Raises :class:`AudioError` without a sound output.
    """
    mixer, floor = Mixer(output_rate(device)), Floor()
    with Player(SoundOutput(device, mixer, floor), mixer, find_speaker(), floor) as player:
        for name, meaning in MEANINGS.items():
            tell(f"{name}: {meaning}")
            player.answer(Answer(name, (Sentence("answer", f"{name}, {meaning.replace(':', ',')}"),)))
            player.let_finish()
        for notice in player.notices():
            tell(f"{notice.kind}: {notice.text}")
