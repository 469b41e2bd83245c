"""Who walks is told of the unit's defects as they stand: a new person, a new day, a repair meanwhile.

49 CFR 396.13 asks the driver to review the last report and to acknowledge it; a walk that changes hands
has a new driver.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from tests.opening import without_gate
from tests.people.making import OPERATOR, station
from tests.records.making import Ticking
from tests.walk.reviewing import sheet
from voicelog.conduct import Conductor
from voicelog.defects import acts
from voicelog.defects.events import DefectRead
from voicelog.handing_over import HandingOver
from voicelog.records.store import Store
from voicelog.reports.write import write_report
from voicelog.screens.walk_facts import next_point
from voicelog.sheet import load_unit, of_extent
from voicelog.sheet.model import Sheet
from voicelog.walk.carried import read_out, waiting
from voicelog.walk.events import DefectAcknowledged, DefectsCarried, EntryLogged
from voicelog.walk.replies import Update

from ..conftest import ROOT

SECOND = "J. Okafor"
UNIT = ROOT / "samples" / "engine_61.toml"
D1, D2 = "engine_61-d1", "engine_61-d2"


@pytest.fixture
def clock() -> Ticking:
    """A clock that can be set on."""
    return Ticking()


@pytest.fixture
def store(tmp_path: Path, clock: Ticking) -> Iterator[Store]:
    """Give a record in which the last walk found two defects, the worse one since sent to the shop."""
    with station(tmp_path / "data", clock) as opened:
        walk = began(opened)
        for line in ("left lift cylinder dripping", "water pump weeping"):
            walk.typed(line)
        walk.finish()
        opened.defects.do(D1, lambda d: acts.send(d, by="M. Ruiz", role="officer"))
        yield opened


def began(store: Store, of: Sheet | None = None, operator: str = OPERATOR) -> Conductor:
    """Return a walk that has just begun, without cautions."""
    walk = Conductor(store, of or without_gate(sheet()), load_unit(UNIT), None, clock=store._clock)
    walk.begin(operator)
    return walk


def taken_up(store: Store, walk_id: str, operator: str = OPERATOR) -> tuple[Conductor, str]:
    """Return a walk that is taken up by another program, as after kill -9, and what it says first."""
    walk = Conductor(store, without_gate(sheet()), load_unit(UNIT), None, clock=store._clock)
    update = walk.resume(walk_id, operator)
    return walk, " / ".join(reply.text for reply in update.replies)


def repaired(store: Store, defect_id: str = D1) -> None:
    """The shop repairs a defect and certifies it."""
    for act in (
        lambda d: acts.repair(d, by="K. Osei", role="mechanic", findings="new seal"),
        lambda d: acts.certify(d, by="K. Osei", role="mechanic"),
    ):
        store.defects.do(defect_id, act)


def reads(store: Store, defect_id: str) -> list[tuple[str, str]]:
    """Return who acknowledged a defect, and as what."""
    history = store.defects.book("engine_61").defect(defect_id).history
    return [(e.by, e.state) for _, e in history if isinstance(e, DefectRead)]


def test_who_takes_over_is_told_each_defect(store: Store, tmp_path: Path) -> None:
    """Nothing is logged in the new person's name before; what was logged stays; both are on record."""
    walk = began(store)
    for _ in range(2):
        walk.command("acknowledged")
    walk.typed("left lift cylinder tight")
    before = dict(walk.state.entries)
    told = HandingOver(store, walk).to(SECOND, lambda: "")
    texts = [reply.text for reply in told.replies]
    assert texts[0] == f"handed over to {SECOND}; 2 defects to acknowledge first"
    assert [t for t in texts if "left lift cylinder dripping" in t] == texts[1:]
    walk.typed("fan belt cracked")
    assert walk.state.entries == before
    for _ in range(2):
        assert waiting(walk.state) is not None
        walk.command("acknowledged")
    walk.typed("fan belt cracked")
    assert [e.by for e in walk.state.entries.values()] == [OPERATOR, SECOND]
    walk.finish()
    assert reads(store, D1) == [(OPERATOR, "in the shop"), (SECOND, "in the shop")]
    assert reads(store, D2) == [(OPERATOR, "heard"), (SECOND, "heard")]
    page, *_ = write_report(store, walk.walk_id, walk.state.sheet, tmp_path, ("txt",))
    words = " ".join(page.read_text(encoding="utf-8").split())
    assert re.search(rf"water pump weeping.*?; acknowledged by {OPERATOR}, 2026[^;]*; {SECOND}, 2026", words)
    assert store.verify_all() == ()


def test_who_has_been_told_is_not_told_again(store: Store) -> None:
    """Handed back, or taken up by who had it, the walk goes on at once."""
    walk = began(store)
    hands = HandingOver(store, walk)
    for _ in range(2):
        walk.command("acknowledged")
    hands.to(SECOND, lambda: "")
    hands.to(OPERATOR.upper(), lambda: "")
    assert waiting(walk.state) is None
    walk, _ = taken_up(store, walk.walk_id)
    assert waiting(walk.state) is None


def test_another_person_who_takes_it_up_is_told(store: Store) -> None:
    """The next morning's operator has not heard what yesterday's acknowledged."""
    walk = began(store)
    for _ in range(2):
        walk.command("acknowledged")
    walk, told = taken_up(store, walk.walk_id, SECOND)
    assert "2 defects to acknowledge first" in told and told.count("left lift cylinder") == 1
    walk.typed("coolant good")
    assert not walk.state.entries


def test_killed_between_two_acknowledgements(store: Store) -> None:
    """The one that was acknowledged is on record, and the other is read out."""
    walk = began(store)
    walk.command("acknowledged")
    again, told = taken_up(store, walk.walk_id)
    assert "1 defect to acknowledge first" in told and "water pump weeping" in told
    assert "left lift cylinder dripping" not in told
    again.command("acknowledged")
    assert waiting(again.state) is None
    kept = [e.event for e in store.events(walk.walk_id) if isinstance(e.event, DefectAcknowledged)]
    assert [e.defect_id for e in kept] == [D1, D2]


def test_handed_over_in_the_middle_of_the_acknowledgements(store: Store) -> None:
    """The new person begins at the first, whatever the old one had done."""
    walk = began(store)
    walk.command("acknowledged")
    HandingOver(store, walk).to(SECOND, lambda: "")
    assert waiting(walk.state).defect_id == D1  # type: ignore[union-attr]
    assert read_out(walk.state)[0].text.startswith("defect 1 of 2")


def test_what_the_shop_did_meanwhile_is_told(store: Store, clock: Ticking) -> None:
    """Taken up the next day, the repair is read out, its point asked for again, and a look closes it."""
    walk = began(store)
    for _ in range(2):
        walk.command("acknowledged")
    walk.typed("left lift cylinder tight")
    repaired(store)
    clock.now += timedelta(days=1)
    walk, told = taken_up(store, walk.walk_id)
    assert "1 defect to acknowledge first" in told and "repair certified" in told
    assert walk.state.status("lift_cylinder_left") == "open"
    walk.command("acknowledged")
    walk.typed("left lift cylinder dry")
    assert walk.state.status("lift_cylinder_left") == "sound"
    walk.finish()
    assert store.defects.book("engine_61").defect(D1).state == "closed"
    assert reads(store, D1) == [(OPERATOR, "in the shop"), (OPERATOR, "certified")]
    assert store.verify_all() == ()


def test_what_is_typed_and_not_understood_is_answered_with_the_question(store: Store) -> None:
    """Nothing is on record of it, and the defect that waits is asked about again, on the screen too."""
    walk = began(store)
    before = len(store.events(walk.walk_id))
    told = said(walk.typed("left lift cylinder dry"))
    assert told.endswith("left lift cylinder dripping. Acknowledged?")
    assert len(store.events(walk.walk_id)) == before
    asked, what = next_point(walk.state)
    assert asked == "acknowledged?" and what.startswith(
        "left lift cylinder dripping, class three leak, since"
    )


def test_still_dripping_opens_it_again(store: Store) -> None:
    """A repaired point is asked for first at its stop; found dripping, the defect is open again."""
    repaired(store)
    walk = began(store)
    for _ in range(2):
        walk.command("acknowledged")
    stop = sheet().stop(sheet().points["lift_cylinder_left"].stop_id)
    walk.typed(f"go to {stop.say[0]}")
    assert walk.state.prompted == "lift_cylinder_left"
    walk.typed("left lift cylinder dripping")
    (entry,) = walk.state.entries.values()
    assert (entry.by, entry.claim.polarity) == (OPERATOR, "defect")
    walk.finish()
    assert store.defects.book("engine_61").defect(D1).state == "heard"


def test_what_another_walk_found_meanwhile_is_told(store: Store) -> None:
    """Two walks of one unit at once: a walk that is taken up hears what the other one found."""
    first, second = began(store), began(store)
    for walk in (first, second):
        for _ in range(2):
            walk.command("acknowledged")
    second.typed("fan belt cracked")
    second.finish()
    again, told = taken_up(store, first.walk_id)
    assert "1 defect to acknowledge first" in told and "fan belt cracked" in told
    again.command("acknowledged")
    assert waiting(again.state) is None


def test_no_group_mark_passes_what_another_walk_found_meanwhile(store: Store) -> None:
    """The news is read out in place of the mark's question; the mark then leaves the point open."""
    first, second = began(store), began(store)
    for walk in (first, second):
        for _ in range(2):
            walk.command("acknowledged")
    stop = sheet().stop(sheet().points["lift_cylinder_left"].stop_id)
    first.typed(f"go to {stop.say[0]}")
    point = next(p for p in stop.points if not p.measured and p.id != "lift_cylinder_left" and not p.timed)
    assert point.full_name in said(first.typed("the rest of this stop is sound"))
    first.typed("negative")
    second.typed(f"{point.full_name} loose" if "fastening" in point.aspects else f"{point.full_name} chafed")
    second.finish()
    told = said(first.typed("the rest of this stop is sound"))
    assert point.full_name in told and "mark" not in told and not first.state.marks.points
    first.command("acknowledged")
    asked = said(first.typed("the rest of this stop is sound"))
    assert point.full_name in asked.split("Still open:")[1]
    first.command("affirmative")
    assert first.state.status(point.id) == "open"


def said(update: Update) -> str:
    """Return what was said back."""
    return " / ".join(reply.text for reply in update.replies)


def test_what_it_found_itself_is_no_news(store: Store) -> None:
    """The shop's look at an unfinished walk enters its defects; taken up, nothing new is read out."""
    walk = began(store)
    for _ in range(2):
        walk.command("acknowledged")
    walk.typed("fan belt cracked")
    walk.typed("water pump dripping")
    store.defects.take_up(walk.walk_id, walk.state)
    walk, _ = taken_up(store, walk.walk_id)
    assert waiting(walk.state) is None
    assert sum(isinstance(e.event, DefectsCarried) for e in store.events(walk.walk_id)) == 1


def test_a_repaired_point_is_asked_for_whatever_the_extent(store: Store) -> None:
    """A daily walk asks for a point of the monthly one that was repaired, and its record reads so."""
    repaired(store)
    whole = without_gate(sheet())
    stops = tuple(
        replace(
            stop,
            points=tuple(
                replace(p, extent="monthly" if p.id == "lift_cylinder_left" else "daily") for p in stop.points
            ),
        )
        for stop in whole.stops
    )
    daily = of_extent(replace(whole, stops=stops), "daily")
    assert "lift_cylinder_left" not in daily.points
    walk = began(store, daily)
    (brought,) = (e.event for e in store.events(walk.walk_id) if isinstance(e.event, DefectsCarried))
    assert brought.added == ("lift_cylinder_left",)
    for _ in range(2):
        walk.command("acknowledged")
    assert walk.state.not_looked_at("lift_cylinder_left")
    walk.typed("left lift cylinder dry")
    assert [type(e.event) for e in store.events(walk.walk_id)][-1] is EntryLogged
    assert not walk.state.not_looked_at("lift_cylinder_left")
