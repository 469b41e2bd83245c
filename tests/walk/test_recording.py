"""A recording taken up again goes on where it was heard."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np

from voicelog.conduct import Conductor
from voicelog.hearing.recogniser import RATE, Decoding, Hypothesis, Utterance
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit


class Fixed:
    """A recogniser that always hears the same phrase."""

    name = "fixed"
    model_sha256 = ""

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        return Decoding((Hypothesis(("wheel", "chocks", "in", "place"), -1.0, 1.0),), 0.0, "", 0.0)

    def dictate(self, utterance: Utterance) -> str:
        return ""


def test_the_same_recording_goes_on_and_another_begins_at_its_start(
    tmp_path: Path,
    engine_bay: Sheet,
    engine_61: Unit,
    clock: Callable[[], datetime],
    graphs: dict[str, PhraseGraph],
) -> None:
    """Nothing is logged twice, and nothing of another recording is skipped."""
    store = Store.open(tmp_path, clock=clock)
    walk = Conductor(store, engine_bay, engine_61, Fixed(), clock=clock, graphs=graphs)
    walk.begin("R. Alder", "recording abc")
    assert walk.heard_until("recording abc") == 0.0
    walk.hear(Utterance(np.zeros(RATE, np.float32), 4.0))
    again = Conductor(store, engine_bay, engine_61, Fixed(), clock=clock, graphs=graphs)
    again.resume(walk.walk_id, "R. Alder")
    assert again.heard_until("recording abc") == 5.0
    assert again.heard_until("recording xyz") == 0.0
    assert again.heard_until("microphone") == 0.0
