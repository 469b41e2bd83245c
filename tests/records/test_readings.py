"""The quick reading of values is what the whole walk says."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from tests.reports.making import Making, Ticking, bay, started, walk
from voicelog.records.store import Store
from voicelog.walk.events import DoubtSettled, EntryCorrected, EntryLogged, EntryWithdrawn, Event
from voicelog.walk.state import fold

SHEET = bay()
MAKE = Making(SHEET)


def said(words: str, entry_id: str, **facts: object) -> EntryLogged:
    """Return an entry of the battery's voltage, of 12.6 unless ``facts`` say otherwise."""
    entry = MAKE.entry(words, MAKE.reading("battery", "12.6"))
    return entry.model_copy(update={"entry_id": entry_id, **facts})


def doubted(entry_id: str, **facts: object) -> EntryLogged:
    claims = (MAKE.reading("battery", "12.6"), MAKE.condition("battery", "good"))
    doubt = MAKE.doubt("Which?", ("one", claims[0], 0.5), ("other", claims[1], 0.5))
    return said("in doubt", entry_id, doubts=(doubt,), **facts)


def settled(entry_id: str, value: str) -> DoubtSettled:
    claim = MAKE.reading("battery", value)
    return DoubtSettled(entry_id=entry_id, claim=claim, by="R. Alder", reason="", heard=None)


def corrected(entry_id: str, value: str) -> EntryCorrected:
    claim = MAKE.reading("battery", value)
    return EntryCorrected(entry_id=entry_id, claim=claim, by="M. Ruiz", reason="seen")


def withdrawn(entry_id: str) -> EntryWithdrawn:
    return EntryWithdrawn(entry_id=entry_id, by="R. Alder", reason="disregard", heard=None)


OTHER = MAKE.reading("slack_adjuster_left", "1/2")
DEFLECTION = MAKE.reading("fan_belt", "1/2")
CASES: dict[str, list[Event]] = {
    "every kind of event": walk(SHEET)[1:],
    "said twice": [said("a", "e1"), said("b", "e2", claim=MAKE.reading("battery", "12.4"))],
    "said again as a correction": [said("a", "e1"), said("b", "e2", corrects="e1")],
    "corrected to another point": [said("a", "e1"), said("b", "e2", corrects="e1", claim=OTHER)],
    "corrected to a condition": [
        said("a", "e1"),
        said("b", "e2", corrects="e1", claim=MAKE.condition("battery", "good")),
    ],
    "withdrawn": [said("a", "e1"), withdrawn("e1")],
    "in doubt": [doubted("e1")],
    "settled": [doubted("e1"), settled("e1", "12.1")],
    "a doubtful correction replaces nothing": [said("a", "e1"), doubted("e2", corrects="e1")],
    "once settled, it does": [said("a", "e1"), doubted("e2", corrects="e1"), settled("e2", "12.1")],
    "corrected by the officer": [said("a", "e1"), corrected("e1", "12.2"), corrected("e1", "12.3")],
    "a condition corrected to a reading": [
        said("a", "e1", claim=MAKE.condition("battery", "good")),
        corrected("e1", "12.2"),
    ],
    "computed, then what it rests on withdrawn": [
        said("a", "e1"),
        said("b", "e2", claim=DEFLECTION, computed_from=("e1",)),
        withdrawn("e1"),
    ],
    "computed anew": [
        said("a", "e1"),
        said("b", "e2", claim=DEFLECTION, computed_from=("e1",)),
        said("c", "e3", corrects="e1"),
        said("d", "e4", claim=DEFLECTION, computed_from=("e3",)),
    ],
    "computed twice": [
        said("a", "e1"),
        said("b", "e2", claim=DEFLECTION, computed_from=("e1",)),
        said("d", "e3", claim=DEFLECTION, computed_from=("e1",)),
    ],
}


@pytest.mark.parametrize("events", CASES.values(), ids=CASES)
def test_what_stands_is_what_the_walk_says(events: list[Event], tmp_path: Path) -> None:
    """The same values, in the same order, as the standing entries of the folded walk."""
    with Store.open(tmp_path, clock=Ticking()) as store:
        store._keep_clips = lambda *_: None  # type: ignore[method-assign]
        store.append("w1", [started(SHEET)])
        for event in events:
            store.append("w1", [event])
        state = fold(SHEET, ((s.at, s.event) for s in store.events("w1")))
        wanted = sorted(
            (e.claim.point_id, e.claim.reading_id, e.claim.value, e.claim.unit, e.claim.judgement)
            for e in state.standing()
            if e.claim.reading_id is not None
        )
        found = sorted(
            (r.point_id, r.reading_id, r.value, r.unit, r.judgement)
            for r in store.across.readings("engine_61", SHEET.id)
        )
        assert not [p for p in store.verify_all() if "list" in p]
    assert found == wanted


def test_times_are_those_of_the_entries(tmp_path: Path) -> None:
    """A value counts from when it was said, also where it was corrected later."""
    clock = Ticking()
    with Store.open(tmp_path, clock=clock) as store:
        store._keep_clips = lambda *_: None  # type: ignore[method-assign]
        at = store.append("w1", [started(SHEET), said("a", "e1")])[1].at
        clock.now += timedelta(days=1)
        store.append("w1", [corrected("e1", "12.2")])
        assert [r.at for r in store.across.readings("engine_61", SHEET.id)] == [at]
        assert store.across.readings("engine_61", "other") == ()


def test_the_latest_of_one_reading(tmp_path: Path) -> None:
    """The last values of it, oldest first; of another unit, sheet or reading none."""
    with Store.open(tmp_path, clock=Ticking()) as store:
        store._keep_clips = lambda *_: None  # type: ignore[method-assign]
        values = ["12.4", "12.5", "12.6"]
        for n, value in enumerate(values):
            claim = MAKE.reading("battery", value)
            store.append(f"w{n}", [started(SHEET), said("a", "e1", claim=claim)])
        store.append("x1", [started(SHEET, unit_id="other"), said("a", "e1")])
        asked = ("engine_61", SHEET.id, "battery", "voltage")
        assert [r.value for r in store.across.latest_readings(*asked, 2)] == [Fraction(v) for v in values[1:]]
        assert len(store.across.latest_readings(*asked, 9)) == 3
        assert store.across.latest_readings("engine_61", SHEET.id, "battery", "other", 9) == []
        listed = store.across.latest_readings(*asked, 9)
        first = listed[0].at
        for unit, after, wanted in (("volt", None, 3), ("volt", first, 2), ("inch", None, 0)):
            days, numbers = store.across.latest_values(*asked, 9, unit, after)
            kept = listed[3 - wanted :] if wanted else []
            assert days == [past.at.timestamp() / 86_400 for past in kept]
            assert numbers == [float(past.value) for past in kept]


@pytest.mark.parametrize(
    "change",
    ["UPDATE reading_list SET value = '13'", "DELETE FROM reading_list", "UPDATE reading_list SET at = 'x'"],
)
def test_a_list_that_says_something_else_is_found(change: str, tmp_path: Path) -> None:
    """A value that was altered in the list alone is found, though the walk is whole."""
    with Store.open(tmp_path, clock=Ticking()) as store:
        store._keep_clips = lambda *_: None  # type: ignore[method-assign]
        store.append("w1", [started(SHEET), said("a", "e1")])
        connection = sqlite3.connect(tmp_path / "voicelog.db")
        connection.execute(change)
        connection.commit()
        connection.close()
        assert "The list of readings is not what the events say." in store.verify_all()
