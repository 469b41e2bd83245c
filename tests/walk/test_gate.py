"""The safety gate: nothing is logged at a stop before its cautions are affirmed, whatever is heard."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.opening import affirm_all
from tests.walk.saying import Saying
from voicelog.conduct import Conductor
from voicelog.errors import RecordError
from voicelog.graphs import Graphs
from voicelog.hearing.recogniser import Decoding, Hypothesis
from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import DEFAULT, interpret
from voicelog.phrases.gate_grammar import denials
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.agenda import agenda
from voicelog.walk.decide import context_of, decide
from voicelog.walk.events import (
    CautionAffirmed,
    CautionRefused,
    EntryLogged,
    StopEntered,
    WalkResumed,
    WalkStarted,
)
from voicelog.walk.state import WalkState, apply, fold

AT = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)


def begun(sheet: Sheet) -> WalkState:
    """Return a walk that has just begun."""
    words = dict.fromkeys(WalkStarted.model_fields, "x") | {
        "kind": "walk started",
        "operator": "R. Alder",
        "extent": "daily",
    }
    first = StopEntered(stop_id=sheet.stops[0].id)
    return fold(sheet, ((AT, event) for event in (WalkStarted(**words), first)))


@pytest.fixture(scope="module")
def graphs_of(small_bay: Sheet) -> Graphs:
    return Graphs(small_bay, {})


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 10**9), share=st.floats(0.3, 1.0), steps=st.integers(1, 25))
def test_a_stop_never_opens_and_nothing_counts_there_without_every_affirmation(
    small_bay: Sheet, graphs_of: Graphs, seed: int, share: float, steps: int
) -> None:
    """Whatever is heard, each standing entry comes after every caution of its stop and of the sheet,
    and each affirmation was heard as surely as a sound claim."""
    rng = random.Random(seed)
    state = begun(small_bay)
    affirmed = set[tuple[str, int]]()
    for _ in range(steps):
        graph = graphs_of.now(state)
        first, second = graph.sample(rng, 8), graph.sample(rng, 8)
        if rng.random() < 0.5 and graph.accepts(("affirmative",)):
            first = ("affirmative",)
        weights = [(first, share)] + ([(second, 1.0 - share)] if second != first else [])
        hypotheses = tuple(Hypothesis(words, -1.0, p) for words, p in weights)
        decoding = Decoding(hypotheses, 0.0, " ".join(first), 0.0)
        meant = interpret(decoding, graph, context_of(state))
        before = state
        for event in decide(state, meant, Heard(text=" ".join(first))).events:
            if isinstance(event, CautionAffirmed):
                asked = before.caution
                assert asked is not None
                said = {"affirmative", "affirm", *asked.caution.say}
                assert sum(p for words, p in weights if " ".join(words) in said) >= DEFAULT.sound
                assert (asked.stop_id, asked.number) == (event.stop_id, event.number)
                affirmed.add((event.stop_id, event.number))
            state = apply(state, event, AT)
        for entry in state.standing():
            stop = small_bay.stop(small_bay.points[entry.claim.point_id].stop_id)
            needed = {("", n) for n in range(1, len(small_bay.gate) + 1)}
            needed |= {(stop.id, n) for n in range(1, len(stop.gate) + 1)}
            assert needed <= affirmed
        if state.finished is not None:
            return


def test_affirmations_lapse_when_a_walk_is_resumed(
    gated: Saying, small_bay: Sheet, engine_61: Unit, clock: Callable[[], datetime]
) -> None:
    """What was started, moved or lowered meanwhile is not known: everything is asked once more."""
    affirm_all(gated.walk)
    assert gated.walk.state.caution is None
    again = Conductor(gated.store, small_bay, engine_61, gated.ear, clock=clock)
    update = again.resume(gated.walk.walk_id, "R. Alder")
    assert [r.text for r in update.replies] == [
        "walk resumed: left front; 0 of 10 covered",
        "Chock the wheels. Wheels chocked?",
    ]
    affirm_all(again)
    assert [r.kind for r in again.typed("brake hose chafed").replies] == ["taken"]


def test_each_answer_to_a_caution_is_on_record(gated: Saying) -> None:
    """Who affirmed or refused which caution, in which words."""
    gated.say("negative")
    gated.say("chocks in place")
    refused, affirmed = (e for e in gated.events if isinstance(e, CautionRefused | CautionAffirmed))
    assert isinstance(refused, CautionRefused) and isinstance(affirmed, CautionAffirmed)
    for event in (refused, affirmed):
        assert (event.stop_id, event.number, event.by) == ("", 1, "R. Alder")
        assert event.caution == "Chock the wheels."
        assert gated.store.clip(event.heard.clip or "")
    assert affirmed.heard.text == "chocks in place"


def test_what_is_held_is_found_by_the_officer(gated: Saying) -> None:
    """A claim about a stop that was never opened is a doubt of the walk, first among its items."""
    affirm_all(gated.walk)
    gated.say("fan belt intact")
    gated.say("walk complete")
    first = agenda(gated.walk.state)[0]
    assert (first.kind, first.point_id) == ("doubt", "fan_belt")
    assert "cautions of engine front were not affirmed" in first.detail
    assert gated.walk.state.status("fan_belt") == "doubt"


@pytest.mark.parametrize(
    "affirmed, denied",
    [
        ("wheels chocked", "wheels not chocked"),
        ("engine off", "engine on"),
        ("engine off", "engine not off"),
        ("key out", "key in"),
        ("cab prop engaged", "cab prop disengaged"),
        ("hot parts are cool", "hot parts are not cool"),
        ("nobody near the belts", "somebody near the belts"),
        ("parking brake set and in neutral", "parking brake set and in gear"),
        ("hands dry and covers closed", "hands dry and covers open"),
        ("exhaust is outside", "exhaust is inside"),
        ("ears covered", "ears uncovered"),
    ],
)
def test_the_opposite_of_an_affirmation_has_words_of_its_own(affirmed: str, denied: str) -> None:
    """Where the graph had none, the opposite would be heard as the affirmation."""
    assert denied in denials((affirmed,))
    assert affirmed not in denials((affirmed,))


def test_a_walk_that_stood_by_still_does_when_it_is_resumed(
    gated: Saying, small_bay: Sheet, engine_61: Unit, clock: Callable[[], datetime]
) -> None:
    """Talk that was not for the walk before a power cut is not for it after: it says so, and waits."""
    affirm_all(gated.walk)
    gated.say("stand by")
    again = Conductor(gated.store, small_bay, engine_61, gated.ear, clock=clock)
    update = again.resume(gated.walk.walk_id, "R. Alder")
    assert update.replies[0].text.startswith("walk resumed: still standing by, say resume; left front")
    assert isinstance(gated.events[-1], WalkResumed) and update.ear == "standing by"
    assert [r.kind for r in again.typed("left brake hose intact").replies] == ["not understood"]
    assert [r.kind for r in again.typed("resume").replies] == ["answer", "caution"]


def test_a_walk_recorded_before_there_was_a_gate_still_reads(small_bay: Sheet) -> None:
    """Its entries count as they did; cautions are only asked where it is taken up again."""
    state = begun(small_bay)
    words = {
        "kind": "entry logged",
        "entry_id": "e1",
        "claim": {"point_id": "fan_belt", "condition_id": "chafed", "polarity": "defect"},
        "heard": {"text": "fan belt chafed"},
        "posterior": {"claim": 0.99},
    }
    state = apply(state, EntryLogged.model_validate(words), AT)
    assert state.status("fan_belt") == "defect"
    assert apply(state, WalkResumed(operator="R. Alder"), AT).standing_by is False


def test_a_store_that_cannot_write_does_not_open_a_stop(
    gated: Saying, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is not on the disk was not affirmed."""

    def full(*_: object, **__: object) -> None:
        raise RecordError("the disk is full", remedy="make room")

    monkeypatch.setattr(Store, "append", full)
    update = gated.say("wheels chocked")
    assert [r.kind for r in update.replies] == ["trouble"]
    asked = gated.walk.state.caution
    assert asked is not None and asked.number == 1
