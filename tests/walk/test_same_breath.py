"""A pass that is taken after a short pause, and what may follow it in the same breath."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from voicelog.conduct import Conductor
from voicelog.hearing.recogniser import RATE, Decoding, Utterance
from voicelog.hearing.typed import typed_decoding
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit


class Hears:
    """A recogniser that is sure of what it is told to hear, and counts how often it was asked."""

    name, model_sha256, phrase, asked = "hears", "", "", 0

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        self.asked += 1
        return typed_decoding(self.phrase, graph)

    def dictate(self, utterance: Utterance) -> str:
        return self.phrase


@pytest.fixture
def recogniser() -> Hears:
    return Hears()


@pytest.fixture
def conductor(
    tmp_path: Path,
    engine_bay: Sheet,
    engine_61: Unit,
    clock: Callable[[], datetime],
    graphs: dict[str, PhraseGraph],
    recogniser: Hears,
) -> Conductor:
    store = Store.open(tmp_path, clock=clock)
    conductor = Conductor(store, engine_bay, engine_61, recogniser, clock=clock, graphs=graphs)
    conductor.begin("R. Alder")
    conductor.typed("go to engine front")
    return conductor


def said(seconds: float, start_s: float, *, same_breath: bool = False) -> Utterance:
    return Utterance(np.zeros(round(seconds * RATE), np.float32), start_s, True, same_breath)


@pytest.mark.parametrize(
    ("phrase", "following", "kind", "status"),
    [
        ("water pump dry", "not", "doubt", "doubt"),
        ("water pump dry", "except the lower fitting", "doubt", "doubt"),
        ("water pump dry tight", "er no", "doubt", "doubt"),
        # A defect needs no second asking.
        ("water pump dripping", "not much", "not understood", "defect"),
        # What is understood speaks for itself.
        ("water pump dry", "and loose", "taken", "defect"),
        ("water pump dry", "where am i", "answer", "sound"),
    ],
)
def test_what_follows_at_once(
    conductor: Conductor, recogniser: Hears, phrase: str, following: str, kind: str, status: str
) -> None:
    """A pass is asked about when what follows it in the same breath is not understood."""
    recogniser.phrase = phrase
    assert conductor.hear(said(1.5, 10.0)).replies[0].kind == "taken"
    recogniser.phrase = following
    reply = conductor.hear(said(0.6, 11.6, same_breath=True)).replies[0]
    assert reply.kind == kind
    assert conductor.state.status("water_pump") == status


def test_what_follows_later_or_after_something_else_is_no_doubt(
    conductor: Conductor, recogniser: Hears
) -> None:
    """After a pause of ordinary length, or another utterance between, a pass stands."""
    recogniser.phrase = "water pump dry"
    conductor.hear(said(1.5, 10.0))
    recogniser.phrase = "not"
    assert conductor.hear(said(0.6, 12.5)).replies[0].kind == "not understood"
    recogniser.phrase = "where am i"
    conductor.hear(said(1.0, 14.0))
    recogniser.phrase = "not"
    assert conductor.hear(said(0.6, 15.1, same_breath=True)).replies[0].kind == "not understood"
    assert conductor.state.status("water_pump") == "sound"


def test_a_pass_asked_about_is_settled_by_its_answer(conductor: Conductor, recogniser: Hears) -> None:
    """ "Affirmative" lets it stand; "negative" takes it back, and nothing of it is left standing."""
    for answer, status in (("negative", "open"), ("affirmative", "sound")):
        recogniser.phrase = "water pump dry"
        conductor.hear(said(1.5, 10.0))
        recogniser.phrase = "not"
        conductor.hear(said(0.6, 11.6, same_breath=True))
        recogniser.phrase = answer
        conductor.hear(said(0.6, 14.0))
        assert conductor.state.status("water_pump") == status


def test_what_was_decoded_in_the_pause_is_not_decoded_again(conductor: Conductor, recogniser: Hears) -> None:
    """The answer comes from the decoding made in the pause, unless more was said or the stop changed."""
    recogniser.phrase = "water pump dry"
    utterance = said(1.5, 10.0)
    assert conductor.foresee(utterance) == "whole"
    assert conductor.state.entries == {}
    conductor.hear(utterance)
    assert recogniser.asked == 1
    conductor.foresee(said(1.5, 20.0))
    conductor.hear(said(2.5, 20.0))
    assert recogniser.asked == 3
    conductor.foresee(said(1.5, 30.0))
    conductor.typed("go to right front")
    conductor.hear(said(1.5, 30.0))
    assert recogniser.asked == 5


def test_nothing_is_decoded_in_the_pauses_of_what_is_not_for_the_walk(
    conductor: Conductor, recogniser: Hears
) -> None:
    """While standing by a pause is an ordinary one."""
    for begin in ("stand by", "resume"):
        conductor.typed(begin)
        asked = recogniser.asked
        expected = begin == "resume"
        recogniser.phrase = "water pump dry"
        assert (conductor.foresee(said(1.5, 10.0)) == "whole") is expected
        assert (recogniser.asked > asked) is expected
