"""The history of a point is what the whole walk says of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.records.test_readings import CASES, SHEET
from tests.reports.making import Ticking, started
from voicelog.records.store import Store
from voicelog.walk.events import Event
from voicelog.walk.state import fold

OF_ONE_POINT = {name: events for name, events in CASES.items() if not name.startswith("computed")}
"""A result is of the point that was measured; the made-up ones are of another."""


@pytest.mark.parametrize("events", OF_ONE_POINT.values(), ids=OF_ONE_POINT)
def test_each_entry_stands_as_in_the_walk(events: list[Event], tmp_path: Path) -> None:
    """Every entry is in the history of the point it is of, and stands there as the folded walk has it."""
    with Store.open(tmp_path, clock=Ticking()) as store:
        store._keep_clips = lambda *_: None  # type: ignore[method-assign]
        for event in (started(SHEET), *events):
            store.append("w1", [event])
        state = fold(SHEET, ((s.at, s.event) for s in store.events("w1")))
        assert not [p for p in store.verify_all() if "list" in p]
        for point_id in SHEET.points:
            past = store.point_history("engine_61", SHEET.id, point_id).entries
            of_point = [e for e in state.entries.values() if e.claim.point_id == point_id]
            assert [(p.entry_id, p.status, p.claim) for p in past] == [
                (e.entry_id, e.status, e.claim) for e in of_point
            ]
