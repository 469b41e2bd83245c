"""The group mark: what it may never cover, and who lets it stand."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.opening import without_gate
from tests.walk.saying import Saying, Scripted
from voicelog.conduct import Conductor
from voicelog.errors import WalkError
from voicelog.hearing.recogniser import RATE, Utterance
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.agenda import agenda
from voicelog.walk.events import GroupMarkAsked, GroupMarked
from voicelog.walk.review import confirm_marks, reopen_marks, sign
from voicelog.walk.state import WalkState, after

ASK = "mark the rest of this stop sound"
PHRASES = (
    ASK,
    "affirmative",
    "affirmative",
    "negative",
    "disregard",
    "next stop",
    "left lift cylinder dripping",
    "left brake hose chafed",
    "left cab pivot",
    "left slack adjuster travel one inch",
    "fan belt good",
)
HEARD = st.one_of(
    st.sampled_from(PHRASES).map(lambda p: [(p, 1.0)]),
    st.sampled_from((0.5, 0.9, 0.96)).map(lambda p: [("affirmative", p), ("negative", 1 - p)]),
    st.sampled_from((0.6, 0.9)).map(
        lambda p: [("left lift cylinder dripping", p), ("left lift cylinder dry", 1 - p)]
    ),
)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(said=st.lists(HEARD, min_size=2, max_size=9))
def test_no_group_mark_covers_what_was_spoken_of_or_was_not_affirmed(
    small_bay: Sheet,
    engine_61: Unit,
    clock: Any,
    small_graphs: dict[str, PhraseGraph],
    said: list[list[tuple[str, float]]],
) -> None:
    """Only a sure affirmative right after the read-back marks, and only points nothing was said of."""
    sheet = without_gate(small_bay)
    with tempfile.TemporaryDirectory() as folder:
        store, ear = Store.open(Path(folder), clock=clock), Scripted()
        walk = Conductor(store, sheet, engine_61, ear, clock=clock, graphs=small_graphs)
        walk.begin("R. Alder")
        saying = Saying(walk, ear, store)
        for heard in said:
            before = walk.state
            number = len(saying.events)
            saying.say(*heard)
            for event in saying.events[number:]:
                if isinstance(event, GroupMarked):
                    assert heard == [("affirmative", 1.0)]
                    asked = saying.events[number - 1]
                    assert isinstance(asked, GroupMarkAsked) and asked.point_ids == event.point_ids
                    assert all(before.status(p) == "open" and not before.of_point(p) for p in event.point_ids)
            for point_id in walk.state.marks.points:
                assert not walk.state.of_point(point_id)
                assert not walk.state.readings_missing(point_id)
                assert walk.state.status(point_id) == "sound"


def _marked(saying: Saying) -> WalkState:
    saying.say(ASK)
    saying.say("affirmative")
    return saying.walk.state


def test_what_is_said_of_a_point_later_takes_the_place_of_its_mark(ungated: Saying) -> None:
    """A defect said after the mark counts, and the others stay marked."""
    state = _marked(ungated)
    assert state.by_group_mark("brake_hose_left")
    ungated.say("left brake hose chafed")
    state = ungated.walk.state
    assert state.status("brake_hose_left") == "defect"
    assert state.marks.points == {"lift_cylinder_left", "cab_pivot_left"}


def test_the_officer_signs_only_once_the_mark_is_confirmed_or_re_opened(ungated: Saying) -> None:
    """Confirmed by name, the walk can be signed; re-opened with a reason, its points are open."""
    _marked(ungated)
    ungated.say("walk complete")
    state = ungated.walk.state
    item = next(item for item in agenda(state) if item.kind == "group mark")

    def signed(state: WalkState) -> object:
        return sign(
            state,
            by="M. Ruiz",
            role="officer",
            meaning="confirmed by",
            decision="out of service",
            head="0" * 64,
        )

    with pytest.raises(WalkError, match="group mark"):
        signed(state)
    assert signed(after(state, confirm_marks(state, item.points, "M. Ruiz")))
    with pytest.raises(WalkError, match="reason"):
        reopen_marks(state, item.points, "M. Ruiz", "")
    opened = after(state, reopen_marks(state, item.points[:1], "M. Ruiz", "not looked at"))
    assert opened.status(item.points[0]) == "open"
    assert opened.status(item.points[1]) == "sound"


def test_a_mark_made_by_voice_is_proved_whole(ungated: Saying) -> None:
    """Its read-back was asked for in one sound and affirmed in another; both belong to the record, and the
    list of what concerns a point has it, as it has what the officer does with it."""
    rng = np.random.default_rng(1)
    for phrase in (ASK, "affirmative", "walk complete"):
        ungated.ear.heard = [(phrase, 1.0)]
        ungated.walk.hear(Utterance(0.01 * rng.standard_normal(RATE // 4, np.float32), 0.0))
    walk, state = ungated.walk.walk_id, ungated.walk.state
    first, *rest = state.marks.unconfirmed
    for event in (
        confirm_marks(state, tuple(rest), "M. Ruiz"),
        reopen_marks(state, (first,), "M. Ruiz", "not looked at"),
    ):
        ungated.store.append(walk, (event,), ())
    assert ungated.store.verify(walk) == ()
    assert ungated.store.verify_all() == ()
