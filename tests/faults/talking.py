"""A walk that never stops talking: what is killed when the engine would take too long to be.

The recogniser says any phrase that can be said where the walk stands, at times with a second one
nearly as likely (which makes a doubt) or none at all; the sound is seeded noise of 0.2 to 2 s.
Everything after it is the product's own: interpretation, decision, sound, commit, plain lines.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from voicelog.clock import now
from voicelog.conduct import Conductor
from voicelog.hearing.recogniser import RATE, Decoding, Hypothesis, Utterance
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.screens.plain import PlainView
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.group_mark import NAME

ENDINGS = ("walk complete", "end of walk")


_OFTEN = (("remark",), tuple(NAME.split()), ("affirmative",), ("affirmative",), ("disregard",))
"""What phrases made up at random would hardly ever be, and what belongs to it."""


class Talker:
    """A recogniser that makes up what was said; meets :class:`voicelog.hearing.recogniser.Recogniser`."""

    name = "made-up phrases"
    model_sha256 = ""

    def __init__(self, seed: int) -> None:
        self._rng = random.Random(seed)

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Return a phrase of the graph as if it had been said."""
        rng = self._rng
        in_remark = graph.accepts(("end", "of", "remark")) and not graph.accepts(("remark",))
        if rng.random() < (0.5 if in_remark else 0.05):
            return Decoding((), 1.0, "the radio", 0.0, "not a phrase that can be said here")
        for said in _OFTEN:
            if rng.random() < 0.05 and graph.accepts(said):
                return Decoding((Hypothesis(said, 0.0, 1.0),), 0.0, " ".join(said), 0.0)
        first, second = self._phrase(graph), self._phrase(graph)
        if first == second or rng.random() < 0.7:
            return Decoding((Hypothesis(first, 0.0, 1.0),), 0.0, " ".join(first), 0.0)
        share = rng.uniform(0.55, 0.98)
        likely, less = Hypothesis(first, 0.0, share), Hypothesis(second, -1.0, 1.0 - share)
        return Decoding((likely, less), 0.0, " ".join(first), 0.0)

    def dictate(self, utterance: Utterance) -> str:
        """Return a remark."""
        return f"clamp {len(utterance.samples) % 100} looks newer than the rest"

    def _phrase(self, graph: PhraseGraph) -> tuple[str, ...]:
        while True:
            said = graph.sample(self._rng, 10)
            # A walk that is over cannot be resumed, and one that stands by takes nothing down.
            if " ".join(said) not in (*ENDINGS, "stand by"):
                return said


class _Ready(Conductor):
    """A conductor that finds the graphs of its sheet compiled; compiling is not what is killed here."""

    ready: Mapping[str, PhraseGraph] = {}

    def _graph(self) -> PhraseGraph:
        plain = not (self.state.in_remark or self.state.standing_by or self.state.caution)
        known = self.ready.get(self.state.stop_id) if plain else None
        return known if known is not None else super()._graph()


def talk(
    folder: Path, sheet: Sheet, unit: Unit, graphs: Mapping[str, PhraseGraph], seed: int, operator: str
) -> None:
    """Begin or take up the walk in ``folder`` and talk until killed, printing plain lines."""
    noise = np.random.default_rng(seed)
    with Store.open(folder, clock=now) as store:
        conductor, view = _Ready(store, sheet, unit, Talker(seed), clock=now), PlainView(sys.stdout)
        conductor.ready = graphs
        stood = store.open_walk(unit.id, sheet.id)
        view.show(conductor.resume(stood, operator) if stood else conductor.begin(operator))
        at_s = 0.0
        conductor.dictation.quiet(True)
        with conductor.dictation.behind():
            while True:
                samples = noise.normal(0, 0.05, noise.integers(RATE // 5, 2 * RATE)).astype(np.float32)
                view.show(conductor.hear(Utterance(samples, at_s)))
                at_s += len(samples) / RATE
