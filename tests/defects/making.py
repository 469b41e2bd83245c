"""Walks and defects for the tests of defects; the scenario is invented."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from tests.walk.reviewing import heard, sheet, started
from voicelog.defects.book import UnitBook, apply
from voicelog.defects.events import DefectEvent
from voicelog.defects.from_walk import from_walk
from voicelog.walk.events import DefectAcknowledged, DefectsCarried, Event
from voicelog.walk.state import WalkState
from voicelog.walk.state import fold as fold_walk

MONDAY = datetime(2026, 11, 23, 7, 0, tzinfo=UTC)
DAY = timedelta(days=1)
UNIT = "engine_61"


def walk(events: Iterable[Event], begin: datetime = MONDAY) -> WalkState:
    """Return a walk of the events after its beginning, one second apart."""
    everything = (started(), *events)
    return fold_walk(sheet(), ((begin + timedelta(seconds=n), e) for n, e in enumerate(everything)))


class Unit:
    """The defects of one unit, taken through walks and acts; each act is an hour after the last."""

    def __init__(self) -> None:
        self.book = UnitBook(UNIT)
        self.now = MONDAY

    def walked(self, name: str, *events: Event) -> tuple[DefectEvent, ...]:
        """Enter a walk that begins now; return what came of it."""
        return self.entered(name, walk(events, self.now))

    def entered(self, name: str, state: WalkState) -> tuple[DefectEvent, ...]:
        """Enter a walk as it stands; return what is new."""
        self.now += timedelta(hours=1)
        events = from_walk(self.book, name, state, self.now)
        for event in events:
            self.book = apply(self.book, event, self.now)
        return events

    def did(self, event: DefectEvent) -> None:
        """Append what somebody did."""
        self.now += timedelta(hours=1)
        self.book = apply(self.book, event, self.now)

    def only(self) -> str:
        """Return the id of the one open defect."""
        (defect,) = self.book.open()
        return defect.defect_id


def acknowledged(unit: Unit) -> tuple[Event, ...]:
    """Return the events that carry a unit's open defects into a walk and acknowledge each."""
    from voicelog.defects.carried import carried

    brought = carried(unit.book, sheet())
    assert isinstance(brought, DefectsCarried)
    acks = (
        DefectAcknowledged(defect_id=d.defect_id, by="J. Okafor", heard=heard("acknowledged"))
        for d in brought.defects
    )
    return brought, *acks
