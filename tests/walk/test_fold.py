"""Folding a walk at once gives what folding it event by event gives."""

from __future__ import annotations

import pytest

from tests.walk.reviewing import START, heard, logged, said, sheet, started, walk
from voicelog.walk.events import CommandHeard, Event, PointNamed, StopEntered
from voicelog.walk.state import WalkState, apply, fold

REMARKS: list[Event] = [
    started(),
    logged("e1", said("wheel_chocks", "in_place")),
    CommandHeard(command="remark", heard=heard("remark")),
    CommandHeard(command="end of remark", heard=heard("end of remark")),
    StopEntered(stop_id="left_front"),
    CommandHeard(command="remark", heard=heard("remark")),
    PointNamed(point_id="coolant", heard=heard("coolant")),
]


@pytest.mark.parametrize("events", [walk(), walk(finished=False), REMARKS], ids=["whole", "open", "remarks"])
def test_at_once_and_one_by_one(events: list[Event]) -> None:
    """After every event the state is the same, the point that comes next and a remark's point too."""
    state = WalkState(sheet())
    for number, event in enumerate(events, 1):
        state = apply(state, event, START)
        assert fold(sheet(), ((START, e) for e in events[:number])) == state
