"""How long a defect must be kept: an open one for ever, an ended one from its last event on."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.defects.making import Unit, acknowledged
from tests.walk.reviewing import logged, said
from voicelog.defects import acts
from voicelog.defects.retention import DAYS, keep_until, past_retention
from voicelog.errors import DefectError

DRIPPING, DRY = said("lift_cylinder_left", "dripping"), said("lift_cylinder_left", "dry")


def closed() -> Unit:
    """Return a unit with one closed defect and one open."""
    unit = Unit()
    unit.walked("w1", logged("e1", DRIPPING))
    defect = unit.book.defect(unit.only())
    unit.did(acts.repair(defect, by="K. Osei", role="mechanic", findings="new seal"))
    unit.did(acts.certify(unit.book.defect(defect.defect_id), by="K. Osei", role="mechanic"))
    unit.walked("w2", *acknowledged(unit), logged("e1", DRY), logged("e2", said("water_pump", "weeping")))
    return unit


def test_three_months_at_least() -> None:
    """No three months in a row are longer than 92 days (Gregorian calendar): July to September."""
    assert DAYS >= 31 + 31 + 30


@pytest.mark.parametrize(("after", "due"), [(DAYS, False), (DAYS + 1, True)])
def test_only_what_has_ended_and_is_past_its_day(after: int, due: bool) -> None:
    """An ended defect is named the day after its last; an open one never."""
    unit = closed()
    today = unit.now.date() + timedelta(days=after)
    found = [d.defect_id for d in past_retention(unit.book.defects.values(), today)]
    assert found == (["engine_61-d1"] if due else [])
    assert keep_until(unit.book.defect("engine_61-d2")) is None


def test_no_time_at_all_is_refused() -> None:
    """A policy of no days is refused, not taken as leave to throw away."""
    with pytest.raises(DefectError, match="0 days"):
        keep_until(closed().book.defect("engine_61-d1"), 0)
