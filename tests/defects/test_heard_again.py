"""The same defect, heard again: what joins its history, what begins a new one, and what is undone.

Each row is a course of events with what must stand at its end, and why. That a repair must hold until
the next driver has seen it is 49 CFR 396.11(a)(3) and 396.13; the rest is common practice of a repair
shop, no published source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest

from tests.defects.making import DAY, MONDAY, Unit, acknowledged, walk
from tests.walk.reviewing import logged, said, sheet
from voicelog.defects import acts
from voicelog.defects.book import fold
from voicelog.defects.carried import carried
from voicelog.defects.events import HearingTakenBack
from voicelog.errors import DefectError
from voicelog.sheet.model import Sheet
from voicelog.walk.events import EntryCorrected, EntryWithdrawn, Event, WalkStarted
from voicelog.walk.state import WalkState
from voicelog.walk.state import fold as fold_walk

POINT, OTHER = "lift_cylinder_left", "lift_cylinder_right"
DRIPPING, BEADING, WEEPING, DRY, GOOD = (
    said(POINT, c) for c in ("dripping", "beading", "weeping", "dry", "good")
)
REJECTED = EntryWithdrawn(entry_id="e1", by="M. Ruiz", reason="misheard")
DRY_AFTER_ALL = EntryCorrected(entry_id="e1", claim=DRY, by="M. Ruiz", reason="washed just before")


def defer(unit: Unit) -> None:
    """The officer lets the one open defect wait."""
    unit.did(
        acts.defer(
            unit.book.defect(unit.only()),
            until=date(2026, 12, 4),
            today=MONDAY.date(),
            by="M. Ruiz",
            role="officer",
            reason="seal on order",
        )
    )


def confirm(unit: Unit) -> None:
    """The officer confirms the one open defect."""
    unit.did(acts.confirm(unit.book.defect(unit.only()), by="M. Ruiz", role="officer"))


def send(unit: Unit) -> None:
    """The officer sends the one open defect to the shop."""
    unit.did(acts.send(unit.book.defect(unit.only()), by="M. Ruiz", role="officer"))


def repair(unit: Unit) -> None:
    """The shop repairs the one open defect."""
    unit.did(acts.repair(unit.book.defect(unit.only()), by="K. Osei", role="mechanic", findings="new seal"))


def need_none(unit: Unit) -> None:
    """The shop finds nothing to repair of the one open defect."""
    defect = unit.book.defect(unit.only())
    unit.did(acts.need_no_repair(defect, by="K. Osei", role="mechanic", findings="washing water"))


def certify(unit: Unit) -> None:
    """The shop certifies what it did."""
    unit.did(acts.certify(unit.book.defect(unit.only()), by="K. Osei", role="mechanic"))


def heard(name: str, *events: Event, told: bool = False) -> Callable[[Unit], None]:
    """Return a walk that is made and entered now, after being told of what is open where ``told``."""

    def act(unit: Unit) -> None:
        unit.walked(name, *(acknowledged(unit) if told else ()), *events)

    return act


def reviewed(name: str, *events: Event) -> Callable[[Unit], None]:
    """Return a walk of two hours ago that is made, entered, and entered again after its review."""

    def act(unit: Unit) -> None:
        begin = unit.now
        unit.entered(name, walk(events[:1], begin))
        unit.entered(name, walk(events, begin))

    return act


def late(name: str, *events: Event) -> Callable[[Unit], None]:
    """Return a walk of Monday morning that is entered only now."""

    def act(unit: Unit) -> None:
        unit.entered(name, walk(events, MONDAY))

    return act


def later(unit: Unit) -> None:
    """A day goes by."""
    unit.now += DAY


MON = heard("w1", logged("e1", WEEPING))
BAD = heard("w1", logged("e1", DRIPPING))
Course = tuple[Callable[[Unit], None], ...]
ROWS: list[tuple[str, Course, dict[str, str], str]] = [
    (
        "another condition of the same matter",
        (MON, heard("w2", logged("e1", BEADING))),
        {"d1": "heard"},
        "a leak that goes from weeping to beading is one leak",
    ),
    (
        "the same condition on the other side",
        (MON, heard("w2", logged("e1", said(OTHER, "weeping")))),
        {"d1": "heard", "d2": "heard"},
        "left and right are two cylinders",
    ),
    (
        "worse than what was confirmed",
        (MON, confirm, heard("w2", logged("e1", DRIPPING))),
        {"d1": "heard"},
        "what was confirmed was less",
    ),
    (
        "worse while it is in the shop",
        (MON, send, heard("w2", logged("e1", DRIPPING))),
        {"d1": "in the shop"},
        "the shop has it in hand, at its new rank",
    ),
    (
        "again after the repair, before its certificate",
        (MON, repair, heard("w2", logged("e1", WEEPING))),
        {"d1": "heard"},
        "the repair did not hold",
    ),
    (
        "again after the certificate",
        (MON, repair, certify, heard("w2", logged("e1", WEEPING))),
        {"d1": "heard"},
        "the repair did not hold, whatever was certified",
    ),
    (
        "again after no repair was needed",
        (MON, need_none, heard("w2", logged("e1", WEEPING))),
        {"d1": "heard"},
        "it is still there: the shop must look again",
    ),
    (
        "again after it was closed",
        (MON, repair, certify, heard("w2", logged("e1", DRY), told=True), heard("w3", logged("e1", WEEPING))),
        {"d1": "closed", "d2": "heard, after d1"},
        "a closed defect is done with; the new one names it",
    ),
    (
        "again after no need of repair was certified and closed",
        (
            *(MON, need_none, certify),
            heard("w2", logged("e1", DRY), told=True),
            heard("w3", logged("e1", WEEPING)),
        ),
        {"d1": "closed", "d2": "heard, after d1"},
        "as after a repair",
    ),
    (
        "rejected after it reopened a certified repair",
        (MON, repair, certify, reviewed("w2", logged("e1", WEEPING), REJECTED)),
        {"d1": "certified"},
        "a word that was never said does not undo a repair",
    ),
    (
        "corrected to sound after it reopened a repair",
        (MON, repair, reviewed("w2", logged("e1", WEEPING), DRY_AFTER_ALL)),
        {"d1": "repaired"},
        "the same, and the repair still lacks its certificate",
    ),
    (
        "rejected after it ended a deferral",
        (MON, defer, reviewed("w2", logged("e1", DRIPPING), REJECTED)),
        {"d1": "deferred until 2026-12-04"},
        "the officer's date stands",
    ),
    (
        "rejected, but heard by another walk too",
        (
            *(MON, repair, certify),
            heard("w3", logged("e1", WEEPING)),
            reviewed("w2", logged("e1", WEEPING), REJECTED),
        ),
        {"d1": "heard"},
        "one of two witnesses is left",
    ),
    (
        "rejected after the officer had decided anew",
        (
            *(MON, repair, certify),
            heard("w2", logged("e1", WEEPING)),
            send,
            late("w2", logged("e1", WEEPING), REJECTED),
        ),
        {"d1": "in the shop"},
        "a decision that was made since is not undone",
    ),
    (
        "the only hearing rejected, then heard by another walk",
        (reviewed("w1", logged("e1", DRIPPING), REJECTED), heard("w2", logged("e1", DRIPPING))),
        {"d1": "taken back", "d2": "heard"},
        "what was never there has no history to join",
    ),
    (
        "rejected, heard by another walk, and the first put right again",
        (
            reviewed("w1", logged("e1", DRIPPING), REJECTED),
            heard("w2", logged("e1", DRIPPING)),
            late(
                "w1",
                logged("e1", DRIPPING),
                EntryCorrected(entry_id="e1", claim=DRIPPING, by="M. Ruiz", reason="it was there"),
            ),
        ),
        {"d1": "taken back", "d2": "confirmed"},
        "one matter of one point is one open defect",
    ),
    (
        "put right by the operator after it was entered",
        (reviewed("w1", logged("e1", DRIPPING), logged("e2", WEEPING, corrects="e1")),),
        {"d1": "heard"},
        "a correction within the matter is the same defect",
    ),
    (
        "said before the repair, entered after it",
        (MON, later, repair, certify, late("w0", logged("e1", WEEPING))),
        {"d1": "certified"},
        "it is what was repaired, and no sign that the repair did not hold",
    ),
    (
        "worse than known, said before the repair, entered after it",
        (MON, later, repair, late("w0", logged("e1", DRIPPING))),
        {"d1": "repaired"},
        "the same; the point must be looked at again in any case",
    ),
    (
        "said before the repair, entered after it was closed",
        (
            *(MON, later, repair, certify),
            heard("w2", logged("e1", DRY), told=True),
            late("w0", logged("e1", WEEPING)),
        ),
        {"d1": "closed", "d2": "heard, after d1"},
        "nothing that is heard goes into a closed defect: a person looks at it",
    ),
    (
        "two walks at once",
        (MON, late("w2", logged("e1", DRIPPING)), late("w3", logged("e1", DRIPPING))),
        {"d1": "heard"},
        "three witnesses of one leak",
    ),
    (
        "two walks at once, one finds sound what the other found dripping",
        (BAD, late("w2", logged("e1", GOOD))),
        {"d1": "heard"},
        "sound closes nothing that is not certified",
    ),
]


@pytest.mark.parametrize(("course", "left", "why"), [r[1:] for r in ROWS], ids=[r[0] for r in ROWS])
def test_what_stands_after_it_was_heard_again(course: Course, left: dict[str, str], why: str) -> None:
    """Each course leaves the defects of its row, and its events fold to the same book again."""
    unit = Unit()
    for act in course:
        act(unit)
    found = {}
    for defect in unit.book.defects.values():
        until = f" until {defect.deferred_until}" if defect.state == "deferred" else ""
        after = defect.first.came_back_from
        back = f", after {after.removeprefix('engine_61-')}" if after else ""
        found[defect.defect_id.removeprefix("engine_61-")] = f"{defect.state}{until}{back}"
    assert found == left, why
    everything = [h for d in unit.book.defects.values() for h in d.history]
    again = fold("engine_61", sorted(everything, key=lambda h: (h[0], h[1].kind != "defect heard")))
    assert {d.defect_id: d.state for d in again.defects.values()} == {
        d.defect_id: d.state for d in unit.book.defects.values()
    }


def test_a_certificate_that_comes_back_needs_the_look_as_before() -> None:
    """The misheard word gone, the very walk that was told of the certificate closes it by its look."""
    unit = Unit()
    for act in (MON, repair, certify):
        act(unit)
    events = (*acknowledged(unit), logged("e1", WEEPING))
    begin = unit.now
    unit.entered("w2", walk(events, begin))
    assert unit.book.defect("engine_61-d1").state == "heard"
    back, *_ = unit.entered("w2", walk([*events, DRY_AFTER_ALL], begin))
    assert isinstance(back, HearingTakenBack) and back.restores == "certified"
    assert unit.book.defect("engine_61-d1").state == "closed"


def test_a_record_cannot_say_that_more_came_back_than_was_there() -> None:
    """An event that makes a dripping cylinder certified by taking back a word is refused."""
    unit = Unit()
    for act in (MON, repair, certify, heard("w2", logged("e1", WEEPING)), heard("w3", logged("e1", WEEPING))):
        act(unit)
    forged = HearingTakenBack(
        defect_id="engine_61-d1",
        walk="w2",
        entry_id="e1",
        by="M. Ruiz",
        role="officer",
        reason="x",
        restores="certified",
    )
    with pytest.raises(DefectError, match="certified"):
        unit.did(forged)


def other_sheet(change: Callable[[Sheet], Sheet], *events: Event) -> WalkState:
    """Return a walk with a later edition of the sheet, or another one."""
    changed = change(sheet())
    begun = WalkStarted(
        unit_id="engine_61",
        unit_name="Engine 61",
        station="",
        identification="",
        sheet_id=changed.id,
        sheet_title=changed.title,
        sheet_sha256="",
        lexicon_sha256="",
        operator="R. Alder",
        recogniser="typed",
        model_sha256="",
        version="0.1.0",
    )
    return fold_walk(changed, ((MONDAY + DAY, e) for e in (begun, *events)))


def renamed(one: Sheet) -> Sheet:
    """The left lift cylinder has another name, and the same id."""
    return _points(one, lambda p: replace(p, name="tilt cylinder") if p.id == POINT else p)


def dropped(one: Sheet) -> Sheet:
    """The left lift cylinder is on the sheet no more."""
    return _points(one, lambda p: None if p.id == POINT else p)


def moved(one: Sheet) -> Sheet:
    """The unit has another sheet, with a point of the same id."""
    return replace(one, id="engine_bay_2")


def _points(one: Sheet, change: Callable) -> Sheet:  # type: ignore[type-arg]
    stops = (
        replace(stop, points=tuple(q for p in stop.points if (q := change(p)) is not None))
        for stop in one.stops
    )
    return replace(one, stops=tuple(stops))


EDITIONS = [
    (renamed, True, True, "left tilt cylinder (then left lift cylinder)", 1),
    (dropped, False, False, "left lift cylinder", 1),
    (moved, False, False, "left lift cylinder", 2),
]


@pytest.mark.parametrize(
    ("change", "here", "asked", "name", "defects"), EDITIONS, ids=["renamed", "dropped", "another sheet"]
)
def test_a_newer_edition_of_the_sheet(
    change: Callable[[Sheet], Sheet], here: bool, asked: bool, name: str, defects: int
) -> None:
    """It is read out whatever became of its point; asked for again, and joined, where it is the same."""
    unit = Unit()
    for act in (BAD, repair):
        act(unit)
    brought = carried(unit.book, change(sheet()))
    assert brought is not None
    (defect,) = brought.defects
    assert (defect.here, defect.look_again, defect.point) == (here, asked, name)
    begun = other_sheet(change, brought)
    assert begun.to_acknowledge == defect
    assert (POINT in begun.look_again) is asked
    if change is dropped:
        return
    again = logged("e1", DRIPPING)
    unit.entered("w2", other_sheet(change, brought, again))
    assert len(unit.book.open()) == defects
