"""What a unit's history and a station's overview are made of, gathered from the record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta

from voicelog.errors import RecordError
from voicelog.limits.trend import MOST_READINGS, may_cross
from voicelog.records.readings import PastReading
from voicelog.records.store import Store
from voicelog.records.walk_facts import WalkFacts
from voicelog.reports.overview import Overview, overview
from voicelog.reports.series import Series, series_of
from voicelog.reports.unit_history import UnitHistory, unit_history
from voicelog.reports.walk_rows import SheetOf
from voicelog.sheet.model import Limit, Point, Reading, Sheet, Unit
from voicelog.sheet.policy import Policy


def gather_history(
    store: Store, unit_id: str, sheet_of: SheetOf, now: datetime, since: date | None = None
) -> UnitHistory:
    """Return a unit's history, of its walks from the day ``since`` on. RecordError for an unknown unit."""
    facts = [f for f in store.across.facts_of(unit_id) if since is None or f.at.date() >= since]
    if not facts:
        known = sorted({unit for unit, _ in store.across.latest()})
        raise RecordError(
            f"There is no walk of unit '{unit_id}' in this record" + (f" since {since}." if since else "."),
            where=str(store.folder),
            remedy=f"Choose a unit by its id: {', '.join(known) or 'none is on record'}.",
        )
    book = store.defects.book(unit_id)
    series = tuple(_series(store, facts, sheet_of))
    return unit_history(facts, book, series, sheet_of, now, _removed(store, unit_id))


def _removed(store: Store, unit_id: str) -> str:
    """Return which walks of a unit were removed under retention, in words; empty where none was."""
    gone = [one for one in store.removal.removed().walks.values() if one.event.unit_id == unit_id]
    if not gone:
        return ""
    count = "1 walk" if len(gone) == 1 else f"{len(gone)} walks"
    days = f"{min(g.walk.started for g in gone):%Y-%m-%d} to {max(g.walk.started for g in gone):%Y-%m-%d}"
    return f"{count} of {days}, under retention; their readings are in no plot and no trend"


def _series(store: Store, facts: Sequence[WalkFacts], sheet_of: SheetOf) -> Iterator[tuple[str, Series]]:
    """Yield the readings of a unit over its walks, sheet by sheet, with the sheet's title."""
    by_sheet: dict[str, list[WalkFacts]] = {}
    for fact in facts:
        by_sheet.setdefault(fact.started.sheet_id, []).append(fact)
    repaired = store.across.repaired_at()
    for walked in by_sheet.values():
        last = walked[-1].started
        sheet = sheet_of(last)
        if sheet is None:
            continue  # its names and limits are not at hand; its walks are listed all the same
        walks = {fact.walk for fact in walked}
        readings = [r for r in store.across.readings(last.unit_id, sheet.id) if r.walk in walks]
        for series in series_of(sheet, last.unit_id, readings, repaired):
            yield last.sheet_title, series


def gather_overview(
    store: Store,
    sheet_of: SheetOf,
    now: datetime,
    policy: Policy,
    units: Sequence[Unit] = (),
    unit_sheets: Sequence[tuple[str, Sheet]] = (),
    days: int = 90,
) -> Overview:
    """Return the overview of everything on record, and of the units that are given.

    ``unit_sheets`` are their sheets by unit id, where they were never walked.
    """
    sheets = {(unit_id, sheet.id): sheet for unit_id, sheet in unit_sheets}
    drifting: list[Series] = []
    limited: dict[int, tuple[tuple[Point, Reading, Limit], ...]] = {}
    repaired = store.across.repaired_at()
    for (unit_id, sheet_id), walk in store.across.latest().items():
        started = store.across.started(walk)
        sheet = sheet_of(started) if started is not None else None
        if sheet is not None:
            sheets[unit_id, sheet_id] = sheet
            # Units share their sheets: what of one has a limit is found once.
            if id(sheet) not in limited:
                limited[id(sheet)] = _limited(sheet)
            drifting += _drifting(store, unit_id, sheet, limited[id(sheet)], repaired)
    return overview(
        last=store.across.last_walks(),
        units=units,
        sheets=sheets,
        policy=policy,
        queue=store.defects.queue(),
        drifting=drifting,
        recent=store.across.facts_since(now - timedelta(days=days)),
        days=days,
        now=now,
        decisions=store.across.decisions(),
    )


def _drifting(
    store: Store,
    unit_id: str,
    sheet: Sheet,
    limited: Sequence[tuple[Point, Reading, Limit]],
    repaired: Mapping[tuple[str, str, str], datetime],
) -> list[Series]:
    """Return the readings of a unit and sheet that have a projected crossing, of those that have a limit."""
    maybe: list[PastReading] = []
    for point, reading, limit in limited:
        key = (unit_id, sheet.id, point.id, reading.id)
        begun = repaired.get(key[:3])
        at, values = store.across.latest_values(*key, MOST_READINGS, reading.unit, begun)
        if may_cross(at, values, limit):
            maybe += store.across.latest_readings(*key, MOST_READINGS)
    series = series_of(sheet, unit_id, maybe, repaired) if maybe else ()
    return [s for s in series if s.trend is not None and s.trend.crossing is not None]


def _limited(sheet: Sheet) -> tuple[tuple[Point, Reading, Limit], ...]:
    points = (sheet.whole or sheet).points.values()
    return tuple((p, r, r.limit) for p in points for r in p.measured if r.limit is not None)
