"""A walk that is spoken to from a table: what is heard, with which posteriors, and what comes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from voicelog.conduct import Conductor
from voicelog.defects import acts
from voicelog.hearing.recogniser import RATE, Decoding, Hypothesis, Utterance
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.walk.events import Event
from voicelog.walk.replies import Update

Weighed = Sequence[tuple[str, float]]
"""Phrases with their posteriors, likeliest first; what they lack to 1 was none of them."""


class Scripted:
    """A recogniser that hears what it is told, as surely as it is told."""

    name = "scripted"
    model_sha256 = ""

    def __init__(self) -> None:
        self.heard: Weighed = ()
        self.free_text = ""
        self.dictation = ""

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Return the phrases that can be said now; refused where the likeliest cannot."""
        said = [(tuple(text.split()), p) for text, p in self.heard]
        known = [(words, p) for words, p in said if graph.accepts(words)]
        free = self.free_text or (self.heard[0][0] if self.heard else "")
        if not known or known[0] != said[0]:
            return Decoding((), 1.0, free, 0.0, "not a phrase that can be said here")
        hypotheses = tuple(Hypothesis(words, -float(n), p) for n, (words, p) in enumerate(known))
        return Decoding(hypotheses, 1.0 - sum(p for _, p in known), free, 0.0)

    def dictate(self, utterance: Utterance) -> str:
        """Return the words of a remark."""
        return self.dictation or self.free_text or self.heard[0][0]


@dataclass(frozen=True)
class Saying:
    """A walk and its ear."""

    walk: Conductor
    ear: Scripted
    store: Store

    def say(self, *heard: str | tuple[str, float], free: str = "", dictation: str = "") -> Update:
        """Have the walk hear a phrase, or phrases with their posteriors."""
        self.ear.heard = [(h, 1.0) if isinstance(h, str) else h for h in heard]
        self.ear.free_text, self.ear.dictation = free, dictation
        return self.walk.hear(Utterance(np.zeros(RATE // 4, np.float32), 0.0))

    @property
    def events(self) -> list[Event]:
        """Everything on record of the walk."""
        return [stored.event for stored in self.store.events(self.walk.walk_id)]


def next_walk(saying: Saying, found: Sequence[str], repaired: Sequence[str] = ()) -> Saying:
    """Return the unit's next walk, after one that found defects, and the shop's repair of some."""
    for phrase in found:
        saying.say(phrase)
    saying.walk.finish()
    store, walk = saying.store, saying.walk
    for defect_id in repaired:
        store.defects.do(defect_id, lambda d: acts.repair(d, by="K. Osei", role="mechanic", findings="new"))
        store.defects.do(defect_id, lambda d: acts.certify(d, by="K. Osei", role="mechanic"))
    following = Conductor(store, walk._sheet, walk._unit, saying.ear, clock=walk._clock)
    following.begin("R. Alder")
    return Saying(following, saying.ear, store)


def replies(update: Update) -> list[str]:
    """Return what was said back, as ``kind: text``."""
    return [f"{reply.kind}: {reply.text}" for reply in update.replies]
