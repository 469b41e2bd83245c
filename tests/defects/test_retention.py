"""How long a defect must be kept: an open one for ever, an ended one from its last event on."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.defects.making import Unit, acknowledged
from tests.walk.reviewing import logged, said
from voicelog.defects import acts
from voicelog.defects.retention import (
    DAYS,
    REPAIR_MONTHS,
    keep_until,
    months_after,
    past_retention,
    walks_past_retention,
)

DRIPPING, DRY = said("lift_cylinder_left", "dripping"), said("lift_cylinder_left", "dry")


def closed(*, repaired: bool = True) -> Unit:
    """Return a unit with one closed defect, which was repaired or needed no repair, and one open."""
    unit = Unit()
    unit.walked("w1", logged("e1", DRIPPING))
    defect = unit.book.defect(unit.only())
    work = acts.repair if repaired else acts.need_no_repair
    unit.did(work(defect, by="K. Osei", role="mechanic", findings="looked at"))
    unit.did(acts.certify(unit.book.defect(defect.defect_id), by="K. Osei", role="mechanic"))
    unit.walked("w2", *acknowledged(unit), logged("e1", DRY), logged("e2", said("water_pump", "weeping")))
    return unit


def test_three_months_at_least() -> None:
    """No three months in a row are longer than 92 days (Gregorian calendar): July to September."""
    assert DAYS >= 31 + 31 + 30


@pytest.mark.parametrize(("after", "due"), [(DAYS, False), (DAYS + 1, True)])
def test_only_what_has_ended_and_is_past_its_day(after: int, due: bool) -> None:
    """An ended defect is named the day after its last; an open one never."""
    unit = closed(repaired=False)
    today = unit.now.date() + timedelta(days=after)
    found = [kept.name for kept in past_retention(unit.book.defects.values(), today)]
    assert found == (["engine_61-d1"] if due else [])
    assert keep_until(unit.book.defect("engine_61-d2")) is None


def test_the_policy_never_shortens_three_months() -> None:
    """A policy of one month keeps what needed no repair for three; one of three years for three years."""
    defect = closed(repaired=False).book.defect("engine_61-d1")
    last = defect.history[-1][0].date()
    assert keep_until(defect, 1) == last + timedelta(days=DAYS)
    assert keep_until(defect, 36) == last.replace(year=last.year + 3)


def test_a_repair_is_kept_for_a_year() -> None:
    """49 CFR 396.3(c), seen at second hand: one year; the policy may ask for more and not for less."""
    defect = closed().book.defect("engine_61-d1")
    last = defect.history[-1][0].date()
    assert keep_until(defect, 1) == months_after(last, REPAIR_MONTHS) == last.replace(year=last.year + 1)
    assert keep_until(defect, 36) == last.replace(year=last.year + 3)


@pytest.mark.parametrize(
    ("day", "months", "after"),
    [
        ("2026-11-25", 24, "2028-11-25"),
        ("2026-11-30", 3, "2027-02-28"),
        ("2024-02-29", 12, "2025-02-28"),
        ("2026-12-31", 1, "2027-01-31"),
        ("2026-01-31", 0, "2026-01-31"),
    ],
)
def test_months_are_those_of_the_calendar(day: str, months: int, after: str) -> None:
    """The same day, or the last of a shorter month."""
    begin = date.fromisoformat(day)
    assert months_after(begin, months) == date.fromisoformat(after)


def test_a_walk_is_kept_as_long_as_its_defects() -> None:
    """A walk is past its time after the policy's months, but not before the defects it speaks of."""
    unit = closed()
    last = unit.now.date()
    walks = {"w1": last, "w2": last, "w3": last}
    after = months_after(last, 24) + timedelta(days=1)

    def past(today: date, months: int, repairs: int) -> list[str]:
        defects = unit.book.defects.values()
        return sorted(k.name for k in walks_past_retention(walks, defects, today, months, repairs))

    assert past(after, 0, 0) == []
    assert past(after - timedelta(days=1), 24, 0) == []
    # w2 also heard a defect that is still open.
    assert past(after, 24, 0) == ["w1", "w3"]
    assert past(after, 24, 36) == ["w3"]
    assert past(months_after(last, 36) + timedelta(days=1), 24, 36) == ["w1", "w3"]
