"""A unit's history: its walks, its defects with their lives, its readings over time; pure.

Every text of it is plain. What a table of it holds for other programs is in the rows themselves.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from voicelog.defects.book import Defect, UnitBook
from voicelog.defects.events import DefectClosed, DefectRepaired, NoRepairNeeded, RepairCertified
from voicelog.defects.wording import days_between, happening, stands, title
from voicelog.records.walk_facts import WalkFacts
from voicelog.reports.contents import DISCLAIMER
from voicelog.reports.entries import full_time
from voicelog.reports.parts import Fact
from voicelog.reports.plain import all_plain
from voicelog.reports.series import Series
from voicelog.reports.si import show_si
from voicelog.reports.walk_rows import Inspector, SheetOf, WalkRow, inspectors, walk_rows


@dataclass(frozen=True, slots=True)
class DefectRow:
    """One defect. The fields are the columns, in order."""

    unit: str
    defect: str
    """Its id."""
    point: str
    what: str
    defect_class: str
    state: str
    heard_at: str
    heard_by: str
    times_heard: str
    days_open: str
    """Days of the calendar from first heard to closed, or to now."""
    deferred_until: str
    repaired_at: str
    findings: str
    certified_at: str
    closed_at: str
    came_back_from: str
    """The closed defect that it came back after."""
    walk: str
    """In which it was first heard."""
    life: str
    """Everything that happened to it, oldest first; of several things with ``; `` between."""


@dataclass(frozen=True, slots=True)
class Life:
    """A defect as it is read: title, state, and what happened, oldest first."""

    row: DefectRow
    title: str
    open: bool
    since: str
    happened: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One value of a reading. The fields are the columns, in order."""

    unit: str
    walk: str
    sheet: str
    """Its id."""
    point: str
    reading: str
    at: str
    value: str
    """Exact, in ``measure``."""
    measure: str
    si: str
    minimum: str
    """The limit as it now is, in ``measure``; empty where there is none."""
    maximum: str
    judgement: str
    """As it was judged when it was taken: ``within``, ``below``, ``above`` or ``no limit``."""


@dataclass(frozen=True, slots=True)
class UnitHistory:
    """Everything a unit's history shows."""

    title: str
    facts: tuple[Fact, ...]
    disclaimer: str
    lives: tuple[Life, ...]
    """Open ones first, worst class first, then the others, the latest first."""
    series: tuple[tuple[str, Series], ...]
    """The title of the sheet, and a reading of it."""
    inspectors: tuple[Inspector, ...]
    walks: tuple[WalkRow, ...]
    """The latest first."""

    @property
    def fluids(self) -> tuple[Series, ...]:
        """Return the readings that tell what was used of a fluid."""
        return tuple(series for _, series in self.series if series.use is not None)

    @property
    def readings(self) -> tuple[ReadingRow, ...]:
        """Return every value that is shown, as rows."""
        return tuple(row for _, series in self.series for row in reading_rows(series))


def unit_history(
    facts: Sequence[WalkFacts],
    book: UnitBook,
    series: Iterable[tuple[str, Series]],
    sheet_of: SheetOf,
    now: datetime,
    removed: str = "",
) -> UnitHistory:
    """Return a unit's history; ``facts`` are its walks, at least one, in the order they were started.

    ``removed`` says in words which of its walks were removed under retention; empty where none was.
    """
    last = facts[-1].started
    heard = Counter(h.said.walk for d in book.defects.values() for h in d.hearings if h.standing)
    lives = [_life(defect, now) for defect in book.open()]
    ended = [d for d in book.defects.values() if not d.is_open]
    lives += [_life(d, now) for d in sorted(ended, key=lambda d: d.heard_at, reverse=True)]
    finished = [f for f in facts if f.finished_at is not None]
    history = UnitHistory(
        title=f"History of {last.unit_name}",
        facts=(
            Fact("Unit", f"{last.unit_name} ({last.unit_id})"),
            Fact("Station", last.station),
            Fact("Identification", last.identification),
            Fact("Walks", f"{len(facts)}, {len(finished)} of them finished"),
            Fact("Period", f"{facts[0].at:%Y-%m-%d} to {facts[-1].at:%Y-%m-%d}"),
            *((Fact("Removed", removed),) if removed else ()),
            Fact("Defects", f"{len(book.open())} open, {len(ended)} ended"),
            Fact("Printed", full_time(now)),
        ),
        disclaimer=DISCLAIMER,
        lives=tuple(lives),
        series=tuple(series),
        inspectors=inspectors(facts),
        walks=walk_rows(facts, sheet_of, heard)[::-1],
    )
    return all_plain(history)


def _life(defect: Defect, now: datetime) -> Life:
    worst = defect.worst
    closed = _last(defect, DefectClosed) if defect.state == "closed" else None
    end = closed or now
    lines = tuple(f"{one.at:%Y-%m-%d %H:%M} {happening(one)}" for one in defect.happenings)
    row = DefectRow(
        unit=worst.unit_id,
        defect=defect.defect_id,
        point=worst.point,
        what=worst.what,
        defect_class=worst.class_name,
        state=stands(defect),
        heard_at=defect.heard_at.isoformat(timespec="seconds"),
        heard_by=", ".join(dict.fromkeys(h.said.by for h in defect.hearings if h.standing)),
        times_heard=str(sum(h.standing for h in defect.hearings)),
        days_open=str(days_between(defect.heard_at, end)),
        deferred_until=defect.deferred_until.isoformat() if defect.deferred_until else "",
        repaired_at=_iso(_last(defect, DefectRepaired, NoRepairNeeded)),
        findings="; ".join(work.findings for _, work in defect.work),
        certified_at=_iso(_last(defect, RepairCertified)),
        closed_at=_iso(closed),
        came_back_from=defect.first.came_back_from or "",
        walk=defect.first.walk,
        life="; ".join(lines),
    )
    days = f"{row.days_open} day{'' if row.days_open == '1' else 's'}"
    days = "less than a day" if row.days_open == "0" else days
    since = f"first heard {defect.heard_at:%Y-%m-%d}, open for {days}"
    return Life(row, title(defect), defect.is_open, since, lines)


def _last(defect: Defect, *kinds: type) -> datetime | None:
    return max((one.at for one in defect.happenings if isinstance(one.event, kinds)), default=None)


def _iso(at: datetime | None) -> str:
    return at.isoformat(timespec="seconds") if at else ""


def reading_rows(series: Series) -> tuple[ReadingRow, ...]:
    """Return the values of a series as rows, oldest first."""
    limit = series.limit
    bounds = [b for b in (limit.minimum, limit.maximum) if b is not None] if limit else []
    return tuple(
        ReadingRow(
            unit=series.unit_id,
            walk=value.walk,
            sheet=series.sheet_id,
            point=series.point,
            reading=series.name,
            at=value.at.isoformat(timespec="seconds"),
            value=str(value.value),
            measure=series.measure,
            si=show_si(value.value, series.measure, bounds),
            minimum=str(limit.minimum) if limit and limit.minimum is not None else "",
            maximum=str(limit.maximum) if limit and limit.maximum is not None else "",
            judgement=value.judgement,
        )
        for value in series.values
    )
