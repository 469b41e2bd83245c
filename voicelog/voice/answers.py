"""What is answered by ear to an update: one tone at most, and what is spoken after it.

Pure. A tone is for what was said: the gravest reply has it. Nothing but a reply of the kind "taken"
ever gives the tone "taken".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from voicelog.sheet.model import Lexicon
from voicelog.voice.spoken import for_the_ear
from voicelog.voice.tones import Tone
from voicelog.walk.carried import ACKNOWLEDGED
from voicelog.walk.decide import taken
from voicelog.walk.replies import Reply, ReplyKind, Update
from voicelog.walk.state import WalkState

ReadBack = Literal["every", "defects", "tones", "nothing"]
LEVELS: dict[ReadBack, str] = {
    "every": "every entry is read back",
    "defects": "defects and readings are read back",
    "tones": "tones alone",
    "nothing": "no sound",
}

_TONES: dict[ReplyKind, Tone] = {
    "trouble": "trouble",
    "not understood": "not understood",
    "doubt": "doubt",
    "taken": "taken",
}
"""The gravest first."""


@dataclass(frozen=True, slots=True)
class Sentence:
    """One thing to be spoken."""

    kind: ReplyKind
    words: str


@dataclass(frozen=True, slots=True)
class Answer:
    """A tone, and what is spoken after it."""

    tone: Tone | None
    sentences: tuple[Sentence, ...] = ()


SILENCE = Answer(None)


def answer_to(update: Update, level: ReadBack) -> Answer:
    """Return what is answered to an update at a level.

    Questions, cautions, answers to the operator and trouble are spoken at every level that speaks;
    trouble first, the rest in the order given. What was taken is spoken at ``every``, and at
    ``defects`` unless it is a sound condition, plainly said and taken without a question.
    """
    if level == "nothing" or not update.replies:
        return SILENCE
    kinds = {reply.kind for reply in update.replies}
    tone = next((sound for kind, sound in _TONES.items() if kind in kinds), None)
    if level == "tones":
        return Answer(tone)
    plain = _plain_passes(update.state) if level == "defects" else frozenset()
    lexicon = update.state.sheet.lexicon
    spoken = [reply for reply in update.replies if _is_spoken(reply, level, plain)]
    spoken.sort(key=lambda reply: reply.kind != "trouble")
    sentences = (_sentence(reply, lexicon) for reply in spoken)
    return Answer(tone, tuple(s for s in sentences if s.words))


def _sentence(reply: Reply, lexicon: Lexicon) -> Sentence:
    return Sentence(reply.kind, for_the_ear(reply.text, lexicon))


def _is_spoken(reply: Reply, level: ReadBack, plain: frozenset[str]) -> bool:
    if reply.kind == "not understood":
        # Talk near the microphone is refused too: to answer each time with words would be chatter.
        return level == "every"
    return reply.kind != "taken" or reply.text not in plain


def _plain_passes(state: WalkState) -> frozenset[str]:
    """Return what is not worth saying: read-backs of sound conditions that were taken as they were said,
    and that a defect was acknowledged, since the next one follows.

    Whatever else was taken, a correction or a settled doubt among them, is worth saying.
    """
    return frozenset((ACKNOWLEDGED,)) | frozenset(
        taken(entry.claim, state)
        for entry in state.standing()
        if entry.claim.polarity == "sound"
        and entry.claim.reading_id is None
        and not entry.logged.doubts
        and entry.logged.corrects is None
    )
