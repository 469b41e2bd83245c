"""Decoding sound files against a grammar: what ``voicelog decode`` prints."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from voicelog.hearing.audio import read_samples
from voicelog.hearing.recogniser import Recogniser, Utterance
from voicelog.phrases.graph import PhraseGraph


def decode_file(path: Path, graph: PhraseGraph, recogniser: Recogniser) -> dict[str, Any]:
    """Return one file's result.

    Keys: ``file``, ``text`` (the best phrase; None when refused), ``slots`` (rule name to the words
    it matched; None when refused), ``posterior``, ``audio_s``, ``decode_s``. Where a rule matched
    more than once its words are joined by a comma. Raises :class:`AudioError`.
    """
    decoding = recogniser.decode(Utterance(read_samples(path), 0.0), graph)
    best = decoding.best
    slots: dict[str, str] | None = None
    if best is not None:
        slots = {}
        for span in graph.parse(best.words)[0]:
            slots[span.name] = f"{slots[span.name]}, {span.value}" if span.name in slots else span.value
    return {
        "file": str(path),
        "text": best.text if best else None,
        "slots": slots,
        "posterior": round(best.posterior, 4) if best else round(1.0 - decoding.outside, 4),
        "audio_s": round(decoding.audio_s, 3),
        "decode_s": round(decoding.decode_s, 3),
    }
