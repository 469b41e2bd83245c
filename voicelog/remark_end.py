"""Whether "end of remark" was said in an utterance, at its end or alone.

Found by the phrase graph, never in a transcript. A phrase cannot be searched for in the middle of
free speech, so the last seconds of the utterance are decoded by themselves, as long as the words
may take: people say them in some 0.8 to 1.5 s, and the sound kept after speech is 0.2 s.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from voicelog.hearing.recogniser import RATE, Decoding, Utterance
from voicelog.meaning.interpret import Interpretation

TAILS_S = (1.25, 1.0, 1.5, 1.75)
"""Seconds from the end, in the order they are tried. ``tests/benchmarks/remarks.py`` tells what is
heard of them in synthetic voices."""
HOPELESS = 0.995
"""Posterior that the phrase was not said in a tail at which no other is tried. Seen where it was said, in
tails that cut its first word: 0.8 at most; of other dictation, 152 of 160 were above."""
NAME = "end of remark"

Hears = Callable[[Utterance], tuple[Decoding, Interpretation]]
Where = Literal["alone", "at the end"]


@dataclass(frozen=True, slots=True)
class RemarkEnd:
    """The end of a remark, as it was heard."""

    where: Where
    """``alone``: nothing else was said in the utterance."""
    text: str
    """The phrase."""
    free_text: str


def remark_end(utterance: Utterance, hears: Hears) -> RemarkEnd | None:
    """Return the end of the remark in an utterance; None where it goes on.

    ``hears`` decodes a stretch of sound against what ends a remark. Where other words may stand
    before the phrase it is not alone: they are kept as part of the remark.
    """
    length_s = len(utterance.samples) / RATE
    if length_s <= max(TAILS_S):
        decoding, meant = hears(utterance)
        if meant.argument == NAME:
            alone = len(decoding.free_text.split()) <= len(meant.text.split())
            return RemarkEnd("alone" if alone else "at the end", meant.text, decoding.free_text)
    for tail_s in TAILS_S:
        if tail_s >= length_s:
            break
        decoding, meant = hears(_last(utterance, tail_s))
        if meant.argument == NAME:
            return RemarkEnd("at the end", meant.text, decoding.free_text)
        if decoding.outside > HOPELESS:
            break
    return None


def _last(utterance: Utterance, seconds: float) -> Utterance:
    samples = utterance.samples[-round(seconds * RATE) :]
    return Utterance(samples, utterance.end_s - seconds, utterance.complete)
