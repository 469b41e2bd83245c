"""Walks as rows of a report: who, when, how much was covered, how quickly; pure.

A field without a comment holds what its column's name says. Times are ISO 8601 with UTC offset.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from voicelog.records.walk_facts import WalkFacts
from voicelog.sheet import of_extent
from voicelog.sheet.model import Sheet
from voicelog.walk.events import WalkStarted
from voicelog.walk.pace import SECONDS_A_POINT

SheetOf = Callable[[WalkStarted], Sheet | None]
"""Gives the sheet a walk was made with, whole; None where it is not at hand."""
ENOUGH_TO_JUDGE = 5
"""Entries below which a walk's pace says nothing."""


@dataclass(frozen=True, slots=True)
class WalkRow:
    """One walk. The fields are the columns, in order."""

    unit: str
    """Its id."""
    walk: str
    sheet: str
    extent: str
    by: str
    """The operators, in order."""
    started: str
    finished: str
    """Empty where it was not finished."""
    seconds: str
    """From beginning to end."""
    entries: str
    seconds_an_entry: str
    required: str
    """Points that the sheet asks for; empty where the sheet is not at hand."""
    not_covered: str
    """How many of them were not covered at the end; empty where it was not finished."""
    group_marked: str
    """Points marked sound by group, but for those re-opened."""
    group_confirmed: str
    """How many of them an officer let stand."""
    defects: str
    """Defects heard in it, that still stand as heard."""
    signed: str
    decision: str

    @property
    def when(self) -> str:
        """Return its day and time."""
        return shown_time(self.started)

    @property
    def coverage(self) -> str:
        """Return how much was covered: ``46 of 48``."""
        if not self.finished:
            return "not finished"
        if not self.required:
            return f"{self.not_covered} not covered"
        return f"{int(self.required) - int(self.not_covered)} of {self.required}"

    @property
    def complete(self) -> bool:
        """Whether nothing was left out."""
        return self.not_covered == "0"

    @property
    def hurried(self) -> bool:
        """Whether its pace is one that no inspection could have."""
        return is_hurried(float(self.seconds_an_entry or "inf"), int(self.entries))

    @property
    def pace(self) -> str:
        """Return how long it took, and how long an entry: ``12 min, 9 s an entry``."""
        if not self.seconds_an_entry:
            return ""
        return (
            f"{shown_duration(float(self.seconds))}, {shown_seconds(float(self.seconds_an_entry))} an entry"
        )


@dataclass(frozen=True, slots=True)
class Inspector:
    """One operator over many walks."""

    name: str
    walks: int
    last: str
    pace: str
    """The median over the walks."""
    group_marked: int


def walk_rows(
    facts: Iterable[WalkFacts], sheet_of: SheetOf, defects_in: Mapping[str, int]
) -> tuple[WalkRow, ...]:
    """Return the walks as rows, in the order they were started; ``defects_in`` counts by walk."""
    required: dict[tuple[object, ...], int | None] = {}
    rows = []
    for fact in facts:
        key = (*fact.started.edition_key, fact.started.extent)
        if key not in required:
            sheet = sheet_of(fact.started)
            required[key] = _required(sheet, fact.started) if sheet is not None else None
        rows.append(_row(fact, required[key], defects_in.get(fact.walk, 0)))
    return tuple(rows)


def _required(sheet: Sheet, started: WalkStarted) -> int:
    return sum(point.required for point in of_extent(sheet, started.extent).points.values())


def _row(fact: WalkFacts, required: int | None, defects: int) -> WalkRow:
    pace = fact.seconds_an_entry
    return WalkRow(
        unit=fact.started.unit_id,
        walk=fact.walk,
        sheet=fact.started.sheet_title,
        extent=fact.started.extent,
        by=", ".join(dict.fromkeys(fact.operators)),
        started=fact.at.isoformat(timespec="seconds"),
        finished=fact.finished_at.isoformat(timespec="seconds") if fact.finished_at else "",
        seconds="" if fact.seconds is None else f"{fact.seconds:.0f}",
        entries=str(fact.entries),
        seconds_an_entry="" if pace is None else f"{pace:.1f}",
        required="" if required is None else str(required),
        not_covered=str(len(fact.missing)) if fact.finished_at else "",
        group_marked=str(fact.group_marked),
        group_confirmed=str(fact.group_confirmed),
        defects=str(defects),
        signed="; ".join(fact.signatures),
        decision=fact.decision,
    )


def inspectors(facts: Sequence[WalkFacts]) -> tuple[Inspector, ...]:
    """Return who walked, most walks first; whoever took a walk up counts too."""
    by_name: dict[str, list[WalkFacts]] = {}
    for fact in facts:
        for name in dict.fromkeys(fact.operators):
            by_name.setdefault(name, []).append(fact)
    found = [
        Inspector(
            name,
            len(walked),
            shown_time(walked[-1].at.isoformat()),
            shown_pace(walked),
            sum(fact.group_marked for fact in walked),
        )
        for name, walked in by_name.items()
    ]
    return tuple(sorted(found, key=lambda one: (-one.walks, one.name)))


def shown_pace(facts: Iterable[WalkFacts]) -> str:
    """Return the median pace of walks; empty where none was finished."""
    paces = [pace for fact in facts if (pace := fact.seconds_an_entry) is not None]
    return f"{shown_seconds(median(paces))} an entry" if paces else ""


def is_hurried(seconds_an_entry: float, entries: int) -> bool:
    """Return whether a walk was quicker than a look at each thing that was said."""
    return entries >= ENOUGH_TO_JUDGE and seconds_an_entry < SECONDS_A_POINT


def shown_time(iso: str) -> str:
    """Return a time as people read it, by the clock it was written with: ``2026-11-25 07:10``."""
    return f"{datetime.fromisoformat(iso):%Y-%m-%d %H:%M}" if iso else ""


def shown_seconds(seconds: float) -> str:
    """Return a short time: ``1.3 s``, ``12 s``."""
    return f"{seconds:.1f} s" if seconds < 10 else f"{seconds:.0f} s"


def shown_duration(seconds: float) -> str:
    """Return a time of work: ``42 s``, ``12 min``, ``1 h 5 min``."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"
