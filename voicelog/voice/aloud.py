"""The voice as a view: takes every update, as the screens do, and answers it by ear."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from voicelog.errors import AudioError, VoicelogError
from voicelog.sheet.model import Lexicon
from voicelog.voice.answers import Answer, ReadBack, Sentence, answer_to
from voicelog.voice.floor import Floor
from voicelog.voice.mixer import Mixer
from voicelog.voice.output import SoundOutput, output_rate
from voicelog.voice.player import Player
from voicelog.voice.spoken import for_the_ear
from voicelog.voice.synthesis import INSTALL, find_speaker
from voicelog.walk.replies import Reply, Update


class Aloud:
    """Answers updates by ear, and adds to each what the screen must tell of the voice."""

    def __init__(self, player: Player | None, level: ReadBack, notices: tuple[Reply, ...] = ()) -> None:
        self._player = player
        self._level = level
        self._notices = notices

    def hear(self, update: Update) -> Update:
        """Answer the update by ear; return it for the screen, with what befell the voice."""
        if self._player is not None:
            self._player.answer(answer_to(update, self._level))
            self._notices += self._player.notices()
        notices, self._notices = self._notices, ()
        return replace(update, replies=(*update.replies, *notices)) if notices else update

    def fail(self, error: VoicelogError, lexicon: Lexicon) -> None:
        """Say that the walk cannot go on; the screen shows the error itself."""
        if self._player is not None:
            words = for_the_ear(f"{error.what}. {error.remedy}", lexicon)
            sentences = (Sentence("trouble", words),) if self._level != "tones" else ()
            self._player.answer(Answer("trouble", sentences))

    def let_finish(self) -> None:
        """Wait until what is being said has been said."""
        if self._player is not None:
            self._player.let_finish()


@contextmanager
def aloud(
    level: ReadBack, floor: Floor, *, device: str | None, language: str, headset: bool
) -> Iterator[Aloud]:
    """Answer by ear for as long as the ``with`` statement lasts.

    Without a voice there are tones only, and without a sound output nothing: the walk goes on, and
    the first update says so. ``language`` is its English name.
    """
    if level == "nothing":
        yield Aloud(None, level)
        return
    speaker = find_speaker(language) if level != "tones" else None
    notices: tuple[Reply, ...] = ()
    if speaker is None and level != "tones":
        notices = (Reply("caution", no_speaker(language)),)
    try:
        mixer = Mixer(output_rate(device))
        output = SoundOutput(device, mixer, floor)
    except AudioError as error:
        text = f"nothing can be heard: {error.where}, {error.what}; {error.remedy}"
        yield Aloud(None, level, (Reply("trouble", text),))
        return
    with Player(output, mixer, speaker, floor, headset=headset) as player:
        yield Aloud(player, level, notices)


def no_speaker(language: str) -> str:
    """Return what to tell where no voice speaks the language."""
    remedy = INSTALL if language == "English" else "apt install espeak-ng, which speaks many languages"
    return f"no voice that speaks {language} is installed, so there are tones only; {remedy}"
