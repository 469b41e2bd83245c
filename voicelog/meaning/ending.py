"""Whether what was said up to a pause is all that was to be said; pure.

Asked while the pause lasts, so that a whole phrase is answered soon and one that was only begun is
waited for. A wrong answer costs time or a question, never a pass: what follows too soon after a
phrase and is not understood makes the phrase doubtful (:mod:`voicelog.walk.same_breath`).
"""

from __future__ import annotations

from voicelog.hearing.recogniser import Decoding, Ending
from voicelog.meaning.interpret import Interpretation
from voicelog.phrases.commands import language_of
from voicelog.sheet.model import Lexicon


def ending(decoding: Decoding, meant: Interpretation, lexicon: Lexicon) -> Ending:
    """Return how the phrase up to a pause stands, from its decoding and its interpretation."""
    if decoding.unfinished:
        return "unfinished"
    if meant.act in ("refused", "naming", "timed") or meant.argument == "remark":
        # A test's name may go on with a reading, and a reading of "fifty" with "five".
        # A name and what is then said of it may be one phrase or two; either is understood.
        return "unsure"
    words = decoding.hypotheses[0].words
    language = language_of(lexicon)
    joints = {word for phrase in (*language.and_, *language.is_) for word in phrase.split()}
    if words[-1] in joints:
        return "unfinished"
    if any(draft.doubts for draft in meant.drafts) or _may_grow(meant, words, lexicon):
        return "unsure"
    return "whole"


def _may_grow(meant: Interpretation, words: tuple[str, ...], lexicon: Lexicon) -> bool:
    """Return whether the last thing said is a number without its unit: "fifty" may be "fifty five"."""
    if not meant.drafts or meant.drafts[-1].claim.reading_id is None:
        return False
    unit = meant.drafts[-1].claim.unit or ""
    measure = lexicon.measures.get(unit)
    endings = {phrase.split()[-1] for phrase in measure.say} if measure is not None else set()
    return words[-1] not in endings
