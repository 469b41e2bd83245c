"""Which engine listens: the embedded one, Vosk, or both, as the user has chosen."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from voicelog.errors import ModelError
from voicelog.hearing.recogniser import Decoding, LiveWords, Recogniser, Streaming, Utterance
from voicelog.hearing.together import together
from voicelog.hearing.vosk.recogniser import VoskRecogniser
from voicelog.phrases.graph import PhraseGraph

Decides = Literal["whisper", "vosk", "both"]


@dataclass(frozen=True, slots=True)
class Engines:
    """What the user has chosen. ModelError at construction for a choice that cannot be carried out."""

    model: Path | None = None
    """Another Whisper model's folder."""
    vosk: Path | None = None
    """A Vosk model's folder."""
    decides: Decides | None = None
    """Whose answer counts. None is both where there is a Vosk model, and Whisper where not."""

    def __post_init__(self) -> None:
        if self.decides in ("vosk", "both") and self.vosk is None:
            raise ModelError(
                f"--decides {self.decides} needs a Vosk model",
                remedy="give its folder with --vosk FOLDER; models_readme says which to get",
            )
        if self.decides == "vosk" and self.model is not None:
            raise ModelError(
                "--model is a Whisper model, and only Vosk decides",
                remedy="leave --model out, or give --decides both",
            )


def make_recogniser(engines: Engines) -> Recogniser:
    """Return the recogniser of a choice, loaded. Raises :class:`ModelError`."""
    if engines.decides == "vosk" and engines.vosk is not None:
        return VoskRecogniser(engines.vosk)
    from voicelog.hearing.whisper import WhisperRecogniser  # not loaded where Vosk alone decides

    if engines.vosk is None:
        return WhisperRecogniser(engines.model)
    # Vosk first: what is wrong with the user's folder is told before the long part.
    vosk = VoskRecogniser(engines.vosk)
    whisper = WhisperRecogniser(engines.model)
    return WithLiveWords(whisper, vosk) if engines.decides == "whisper" else Together(whisper, vosk, vosk)


class WithLiveWords:
    """One engine decides; words while they are spoken come from another, and are only shown."""

    def __init__(self, decider: Recogniser, live: Streaming) -> None:
        self._decider = decider
        self._live = live
        self.name = decider.name
        self.model_sha256 = decider.model_sha256

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Decode with the engine that decides."""
        return self._decider.decode(utterance, graph)

    def dictate(self, utterance: Utterance) -> str:
        """Transcribe freely with the engine that decides."""
        return self._decider.dictate(utterance)

    def begin(self, graph: PhraseGraph) -> LiveWords:
        """Begin to listen to an utterance with the other."""
        return self._live.begin(graph)


class Together:
    """Two engines that hear every utterance; :mod:`voicelog.hearing.together` makes one answer of two.

    The record names both, joined by a plus sign, and so their SHA-256.
    """

    def __init__(self, first: Recogniser, second: Recogniser, live: Streaming) -> None:
        self._first, self._second, self._live = first, second, live
        self.name = f"{first.name} + {second.name}"
        self.model_sha256 = f"{first.model_sha256}+{second.model_sha256}"

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Decode with both, one after the other, and put the two together."""
        return together(self._first.decode(utterance, graph), self._second.decode(utterance, graph))

    def dictate(self, utterance: Utterance) -> str:
        """Transcribe freely with the first."""
        return self._first.dictate(utterance)

    def begin(self, graph: PhraseGraph) -> LiveWords:
        """Begin to listen to an utterance with the streaming one."""
        return self._live.begin(graph)
