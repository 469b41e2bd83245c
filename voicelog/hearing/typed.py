"""The keyboard as a recogniser: the same phrases, typed, through the same interpretation."""

from __future__ import annotations

from voicelog.hearing.recogniser import Decoding, Hypothesis
from voicelog.phrases.graph import PhraseGraph


def typed_decoding(text: str, graph: PhraseGraph) -> Decoding:
    """Return the decoding of typed words: certain when they are a phrase, refused when they are not."""
    words = tuple(text.lower().replace(",", " ").split())
    if not words or not graph.accepts(words):
        return Decoding((), 1.0, text, 0.0, "not a phrase that can be said here")
    return Decoding((Hypothesis(words, 0.0, 1.0),), 0.0, text, 0.0)
