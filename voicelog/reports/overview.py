"""A station's overview: what is overdue, open, drifting, and how the walks were made; pure.

Every text of it is plain. What a table of it holds for other programs is in the rows themselves.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from voicelog.defects.life import SHOWN
from voicelog.defects.wording import days_between
from voicelog.records.across import LastWalk
from voicelog.records.decisions import Decided
from voicelog.records.defects import Listed
from voicelog.records.walk_facts import WalkFacts
from voicelog.reports.contents import DISCLAIMER
from voicelog.reports.entries import full_time
from voicelog.reports.glance import DecisionRow, Glance, decision_rows, glances
from voicelog.reports.parts import Fact
from voicelog.reports.plain import all_plain
from voicelog.reports.series import Series, figure
from voicelog.reports.walk_rows import is_hurried, shown_pace
from voicelog.sheet.extent import EXTENTS
from voicelog.sheet.model import Extent, Sheet, Unit
from voicelog.sheet.policy import Policy

Due = Literal["never walked", "overdue", "due today", "in time"]
_AGES = ((7, "up to 7 days"), (30, "8 to 30 days"), (90, "31 to 90 days"))
_OLDER = "over 90 days"


def _days(number: str) -> str:
    return "1 day" if number == "1" else f"{number} days"


@dataclass(frozen=True, slots=True)
class CheckRow:
    """A check that is due again and again. The fields are the columns, in order."""

    unit: str
    unit_name: str
    sheet: str
    extent: str
    last: str
    """When it was last walked to its end, by this extent or a greater one; empty where never."""
    walk: str
    every_days: str
    """How often the local policy wants it."""
    due: str
    """The day on which it is due again; empty where it was never walked."""
    days_overdue: str
    """Days after that day; empty where it is not overdue or was never walked."""
    state: Due

    @property
    def late(self) -> str:
        """Return for how long it is overdue: ``1 day``, ``17 days``."""
        return _days(self.days_overdue)


@dataclass(frozen=True, slots=True)
class OpenRow:
    """An open defect. The fields are the columns, in order."""

    unit: str
    unit_name: str
    defect: str
    point: str
    what: str
    defect_class: str
    state: str
    heard_at: str
    days_open: str
    remarks: str
    """``that day has passed``, ``since said to be sound``, ``came back``; empty where there is none."""

    @property
    def age(self) -> str:
        """Return how long it has been open."""
        return {"0": "today", "1": "1 day"}.get(self.days_open, f"{self.days_open} days")


@dataclass(frozen=True, slots=True)
class DriftRow:
    """A reading that goes toward its limit. The fields are the columns, in order."""

    unit: str
    unit_name: str
    sheet: str
    point: str
    reading: str
    readings: str
    """How many the trend is drawn from."""
    last_at: str
    value: str
    """The latest, exact, in ``measure``."""
    measure: str
    a_week: str
    """Change in a week, by the median of slopes."""
    limit: str
    """The bound that it goes toward, exact."""
    crossing: str
    """The day on which least squares reaches it."""
    crossing_by_median: str
    """The day on which the median of slopes reaches it; empty where it never does."""
    earliest: str
    """The first day on which one reading in forty may be beyond it."""
    passed: str
    """``passed`` where the day of the crossing has passed since the latest reading; else empty."""


@dataclass(frozen=True, slots=True)
class UnitRow:
    """How a unit was walked in the period. The fields are the columns, in order."""

    unit: str
    unit_name: str
    walks: str
    not_finished: str
    incomplete: str
    """Finished walks that left out a required point."""
    not_covered: str
    """Required points left out, over all of them."""
    group_marked: str
    pace: str
    """The median."""
    too_quick: str
    """Walks quicker than a look at each thing that was said."""
    not_confirmed: str
    """Finished walks that no officer has confirmed."""
    last: str
    open_defects: str


@dataclass(frozen=True, slots=True)
class Overview:
    """Everything a station's overview shows."""

    title: str
    facts: tuple[Fact, ...]
    disclaimer: str
    glances: tuple[Glance, ...]
    """What to see first."""
    decisions: tuple[DecisionRow, ...]
    """Of every unit; those that are out of service first."""
    policy: str
    checks: tuple[CheckRow, ...]
    """The longest overdue first, then those never walked, then by the day on which they are due."""
    ages: tuple[str, ...]
    by_class: tuple[tuple[str, tuple[int, ...]], ...]
    """Class, worst first, and its open defects by age."""
    open: tuple[OpenRow, ...]
    """Worst class first, then the oldest."""
    drifts: tuple[DriftRow, ...]
    """The soonest crossing first."""
    series: tuple[tuple[str, Series], ...]
    """The unit's name and the readings of ``drifts``, in the same order."""
    days: int
    """Of the period that ``units`` is of."""
    units: tuple[UnitRow, ...]


def overview(
    *,
    last: Sequence[LastWalk],
    units: Sequence[Unit],
    sheets: Mapping[tuple[str, str], Sheet],
    policy: Policy,
    queue: Sequence[Listed],
    drifting: Iterable[Series],
    recent: Sequence[WalkFacts],
    days: int,
    now: datetime,
    decisions: Sequence[Decided] = (),
) -> Overview:
    """Return the overview of everything on record.

    ``sheets`` are by unit and sheet id, where they are at hand. ``units`` are read from files: their
    sheets are asked for even where they were never walked. ``drifting`` are the series that have a
    projected crossing, ``recent`` the walks of the last ``days`` days, ``decisions`` the latest of each unit.
    """
    names = {unit.id: unit.name for unit in units} | {walk.unit_id: walk.unit_name for walk in last}
    names |= {fact.started.unit_id: fact.started.unit_name for fact in recent}
    names |= {decided.unit_id: decided.unit_name for decided in decisions if decided.unit_id not in names}
    found = checks(last, units, sheets, policy, now)
    ordered = sorted(drifting, key=_crossing_at)
    overdue = [check for check in found if check.state == "overdue"]
    opened = tuple(_open(listed, now) for listed in queue)
    drifts = tuple(_drift(series, names, now) for series in ordered)
    decided = decision_rows(decisions, names)
    stations = sorted({f.started.station for f in recent} | {u.station for u in units})
    contents = Overview(
        title="Station overview",
        facts=(
            Fact("Station", "; ".join(stations)),
            Fact("Units", str(len(names))),
            Fact("Printed", full_time(now)),
        ),
        glances=glances(
            decided,
            overdue=[f"{c.unit_name}, {c.sheet}, {c.extent}, by {c.late}" for c in overdue],
            never=sum(check.state == "never walked" for check in found),
            open_defects=[(int(d.days_open), f"{d.unit_name}, {d.point} {d.what}, {d.age}") for d in opened],
            drifting=[f"{d.unit_name}, {d.point}, {d.reading}, about {d.crossing}" for d in drifts],
        ),
        decisions=decided,
        disclaimer=DISCLAIMER,
        policy=policy.title,
        checks=found,
        ages=(*(name for _, name in _AGES), _OLDER),
        by_class=_by_class(queue, now),
        open=opened,
        drifts=drifts,
        series=tuple((names.get(series.unit_id, series.unit_id), series) for series in ordered),
        days=days,
        units=_units(recent, queue, names),
    )
    return all_plain(contents)


# checks ------------------------------------------------------------------------------------------


def checks(
    last: Sequence[LastWalk],
    units: Sequence[Unit],
    sheets: Mapping[tuple[str, str], Sheet],
    policy: Policy,
    now: datetime,
) -> tuple[CheckRow, ...]:
    """Return every check that is due again and again, the longest overdue first."""
    walked: dict[tuple[str, str], list[LastWalk]] = {}
    for walk in last:
        walked.setdefault((walk.unit_id, walk.sheet_id), []).append(walk)
    names = {unit.id: unit.name for unit in units} | {walk.unit_id: walk.unit_name for walk in last}
    wanted = dict.fromkeys([*walked, *((unit.id, sheet) for unit in units for sheet in unit.sheets)])
    rows = []
    for unit_id, sheet_id in wanted:
        of_sheet = walked.get((unit_id, sheet_id), [])
        sheet = sheets.get((unit_id, sheet_id))
        title = sheet.title if sheet else of_sheet[-1].sheet_title if of_sheet else sheet_id
        for extent in _extents(sheet, of_sheet):
            every = policy.every_days(sheet_id, extent)
            if every:
                rows.append(_check(unit_id, names[unit_id], title, extent, every, of_sheet, now))
    return tuple(sorted(rows, key=_most_overdue))


def _extents(sheet: Sheet | None, walked: Sequence[LastWalk]) -> list[Extent]:
    """Return the extents that a sheet has points for; without the sheet, those that were walked."""
    known = (
        {p.extent for p in (sheet.whole or sheet).points.values()} if sheet else {w.extent for w in walked}
    )
    return [extent for extent in EXTENTS if extent in known]


def _check(
    unit_id: str,
    name: str,
    sheet: str,
    extent: Extent,
    every: int,
    walked: Sequence[LastWalk],
    now: datetime,
) -> CheckRow:
    enough = [w for w in walked if EXTENTS.index(w.extent) >= EXTENTS.index(extent)]
    latest = max(enough, key=lambda walk: walk.at, default=None)
    due = latest.at.date() + timedelta(days=every) if latest else None
    over = (now.date() - due).days if due else 0
    state: Due = (
        "never walked" if due is None else "overdue" if over > 0 else "due today" if over == 0 else "in time"
    )
    return CheckRow(
        unit=unit_id,
        unit_name=name,
        sheet=sheet,
        extent=extent,
        last=latest.at.isoformat(timespec="seconds") if latest else "",
        walk=latest.walk if latest else "",
        every_days=str(every),
        due=due.isoformat() if due else "",
        days_overdue=str(over) if over > 0 else "",
        state=state,
    )


def _most_overdue(row: CheckRow) -> tuple[int, str, str, str]:
    order = ("overdue", "never walked", "due today", "in time").index(row.state)
    return order, row.due, row.unit_name, row.sheet


# defects -----------------------------------------------------------------------------------------


def _open(listed: Listed, now: datetime) -> OpenRow:
    remarks = []
    if listed.lapsed(now.date()):
        remarks.append("that day has passed")
    if listed.contradicted:
        remarks.append("since said to be sound")
    if listed.came_back:
        remarks.append("came back")
    until = f" until {listed.deferred_until}" if listed.state == "deferred" and listed.deferred_until else ""
    return OpenRow(
        unit=listed.unit_id,
        unit_name=listed.unit_name,
        defect=listed.defect_id,
        point=listed.point,
        what=listed.what,
        defect_class=listed.class_name,
        state=f"{SHOWN[listed.state]}{until}",
        heard_at=listed.heard_at.isoformat(timespec="seconds"),
        days_open=str(days_between(listed.heard_at, now)),
        remarks="; ".join(remarks),
    )


def _by_class(queue: Sequence[Listed], now: datetime) -> tuple[tuple[str, tuple[int, ...]], ...]:
    counts: dict[tuple[int, str], Counter[str]] = {}
    for listed in queue:
        days = days_between(listed.heard_at, now)
        old = next((name for most, name in _AGES if days <= most), _OLDER)
        counts.setdefault((-listed.rank, listed.class_name or "no class"), Counter())[old] += 1
    ages = [*(name for _, name in _AGES), _OLDER]
    return tuple((name, tuple(count[a] for a in ages)) for (_, name), count in sorted(counts.items()))


# readings ----------------------------------------------------------------------------------------


def _crossing_at(series: Series) -> datetime:
    if series.trend is None or series.trend.crossing is None:
        raise ValueError(f"{series.title} has no projected crossing")
    return series.trend.crossing.at


def _drift(series: Series, names: Mapping[str, str], now: datetime) -> DriftRow:
    drift, latest = series.trend, series.values[-1]
    if drift is None or drift.crossing is None:
        raise ValueError(f"{series.title} has no projected crossing")
    crossing = drift.crossing
    slope = figure(abs(drift.a_week))
    return DriftRow(
        unit=series.unit_id,
        unit_name=names.get(series.unit_id, series.unit_id),
        sheet=series.sheet_id,
        point=series.point,
        reading=series.name,
        readings=str(series.fitted),
        last_at=latest.at.isoformat(timespec="seconds"),
        value=str(latest.value),
        measure=series.measure,
        a_week=slope if drift.a_week > 0 else f"-{slope}",
        limit=str(crossing.bound),
        crossing=f"{crossing.at:%Y-%m-%d}",
        crossing_by_median=f"{crossing.robust_at:%Y-%m-%d}" if crossing.robust_at else "",
        earliest=f"{crossing.earliest:%Y-%m-%d}",
        passed="passed" if crossing.at < now else "",
    )


# units -------------------------------------------------------------------------------------------


def _units(
    recent: Sequence[WalkFacts], queue: Sequence[Listed], names: Mapping[str, str]
) -> tuple[UnitRow, ...]:
    by_unit: dict[str, list[WalkFacts]] = {unit_id: [] for unit_id in names}
    for fact in recent:
        by_unit[fact.started.unit_id].append(fact)
    defects = Counter(listed.unit_id for listed in queue)
    rows = [_unit(unit_id, names[unit_id], facts, defects[unit_id]) for unit_id, facts in by_unit.items()]
    return tuple(sorted(rows, key=lambda row: (row.unit_name, row.unit)))


def _unit(unit_id: str, name: str, facts: Sequence[WalkFacts], defects: int) -> UnitRow:
    finished = [fact for fact in facts if fact.finished_at is not None]
    paces = [(fact.seconds_an_entry or 0.0, fact.entries) for fact in finished]
    return UnitRow(
        unit=unit_id,
        unit_name=name,
        walks=str(len(facts)),
        not_finished=str(len(facts) - len(finished)),
        incomplete=str(sum(bool(fact.missing) for fact in finished)),
        not_covered=str(sum(len(fact.missing) for fact in finished)),
        group_marked=str(sum(fact.group_marked for fact in finished)),
        pace=shown_pace(finished),
        too_quick=str(sum(is_hurried(*pace) for pace in paces)),
        not_confirmed=str(sum(not fact.confirmed for fact in finished)),
        last=facts[-1].at.isoformat(timespec="seconds") if facts else "",
        open_defects=str(defects),
    )
