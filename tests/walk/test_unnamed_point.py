"""What is heard without a point's name, and whether the walk may take it to be of the next point."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from voicelog.conduct import Conductor
from voicelog.hearing.recogniser import Decoding, Utterance
from voicelog.hearing.typed import typed_decoding
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit

Hear = Callable[[str], tuple[str, str]]
"""From a phrase to the kind and text of the first reply."""


class HearsExactly:
    """A recogniser that is sure of the phrase it is told to hear."""

    name = "hears exactly"
    model_sha256 = ""
    phrase = ""

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        return typed_decoding(self.phrase, graph)

    def dictate(self, utterance: Utterance) -> str:
        return self.phrase


@pytest.fixture
def hear(
    tmp_path: Path,
    engine_bay: Sheet,
    engine_61: Unit,
    clock: Callable[[], datetime],
    graphs: dict[str, PhraseGraph],
) -> Hear:
    recogniser = HearsExactly()
    store = Store.open(tmp_path, clock=clock)
    conductor = Conductor(store, engine_bay, engine_61, recogniser, clock=clock, graphs=graphs)
    conductor.begin("R. Alder")
    conductor.typed("go to left middle")

    def hear(phrase: str) -> tuple[str, str]:
        recogniser.phrase = phrase
        reply = conductor.hear(Utterance(np.zeros(16_000, np.float32), 0.0)).replies[0]
        return reply.kind, reply.text

    return hear


@pytest.mark.parametrize("phrase", ["clean", "dirty", "down half a quart", "down five quarts"])
def test_what_is_heard_of_no_named_point_is_asked(
    hear: Callable[[str], tuple[str, str]], phrase: str
) -> None:
    """The name may have been lost in noise: the next point passes only if a person says so."""
    kind, question = hear(phrase)
    assert kind == "doubt"
    assert question.startswith("engine oil ")
    assert hear("affirmative")[0] == "taken"


def test_what_is_heard_after_a_name_is_of_that_point(hear: Hear) -> None:
    """Naming the point, or saying something of it, makes it the one at hand."""
    hear("engine oil")
    assert hear("clean") == ("taken", "engine oil clear")
    assert hear("down half a quart")[0] == "taken"
