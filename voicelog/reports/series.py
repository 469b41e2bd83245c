"""A reading of one point over many walks, against its limit, with how it drifts; pure.

A repair of the point makes its readings begin anew: what came before is shown and not fitted. A
projection is no judgement: each reading was judged by its limit when it was taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from functools import cache

from voicelog.limits.rounding import written
from voicelog.limits.trend import MOST_READINGS, Crossing, FluidUse, Trend, fluid_use, trend
from voicelog.meaning.computed import symbol_of
from voicelog.meaning.wording import show_limit, show_quantity
from voicelog.records.readings import PastReading
from voicelog.reports.plain import plain
from voicelog.reports.si import is_volume, si_scale
from voicelog.sheet.model import Lexicon, Limit, Point, Reading, Sheet


@dataclass(frozen=True, slots=True)
class Value:
    """One value of the series."""

    walk: str
    at: datetime
    value: Fraction
    shown: str
    """In the unit as it was spoken: ``3/8 in``."""
    judgement: str
    """``within``, ``below``, ``above`` or ``no limit``."""

    @property
    def outside(self) -> bool:
        """Whether it was outside its limit when it was taken."""
        return self.judgement in ("below", "above")


@dataclass(frozen=True, slots=True)
class Series:
    """The values of one reading of one point, oldest first."""

    unit_id: str
    sheet_id: str
    point_id: str
    reading_id: str
    point: str
    name: str
    measure: str
    """The unit that it is spoken in: ``inch``."""
    symbol: str
    """Of the unit that it is spoken in."""
    values: tuple[Value, ...]
    """All that are shown."""
    fitted: int
    """How many of them, the latest, the trend is drawn from."""
    limit: Limit | None
    limit_words: str
    repaired_at: datetime | None
    """When the point was last repaired, where that lies among the values."""
    trend: Trend | None
    words: str
    """How it drifts, and when it may reach its limit."""
    si: tuple[str, float, float] | None
    """SI unit's symbol, factor and offset from the spoken unit; None where that is SI, or has none."""
    use: FluidUse | None
    """What was used, where it is the level of a fluid in a unit of volume."""
    use_words: str

    @property
    def title(self) -> str:
        """Return ``left slack adjuster, hand travel``."""
        return f"{self.point}, {self.name}"


def series_of(
    sheet: Sheet,
    unit_id: str,
    readings: Iterable[PastReading],
    repaired: Mapping[tuple[str, str, str], datetime],
) -> tuple[Series, ...]:
    """Return the series of every reading of the sheet that has a value, in walking order.

    ``readings`` are those of the unit in walks with this sheet, oldest first.
    """
    by_key: dict[tuple[str, str], list[PastReading]] = {}
    for past in readings:
        by_key.setdefault((past.point_id, past.reading_id), []).append(past)
    whole = sheet.whole or sheet
    return tuple(
        _series(whole, unit_id, point, reading, found, repaired.get((unit_id, sheet.id, point.id)))
        for point in whole.points.values()
        for reading in point.measured
        if (found := [r for r in by_key.get((point.id, reading.id), ()) if r.unit == reading.unit])
    )


def _series(
    sheet: Sheet,
    unit_id: str,
    point: Point,
    reading: Reading,
    found: list[PastReading],
    repaired: datetime | None,
) -> Series:
    limit = reading.limit
    shown = cache(lambda value: _shown(value, point, reading, sheet.lexicon))
    values = tuple(Value(r.walk, r.at, r.value, shown(r.value), r.judgement) for r in found[-MOST_READINGS:])
    fitted = [v for v in values if repaired is None or v.at > repaired]
    drift = trend([(v.at, v.value) for v in fitted], limit)
    since = repaired if len(fitted) < len(values) else None
    symbol = plain(symbol_of(reading.unit, sheet.lexicon))
    use = fluid_use([(v.at, v.value) for v in values], limit) if is_volume(reading.unit) else None
    bound = shown(drift.crossing.bound) if drift and drift.crossing else ""
    return Series(
        unit_id=unit_id,
        sheet_id=sheet.id,
        point_id=point.id,
        reading_id=reading.id,
        point=plain(point.full_name),
        name=plain(reading.name),
        measure=reading.unit,
        symbol=symbol,
        values=values,
        fitted=len(fitted),
        limit=limit,
        limit_words=plain(show_limit(reading, sheet.lexicon)),
        repaired_at=since,
        trend=drift,
        words=" ".join(trend_words(drift, len(fitted), since, symbol, limit, bound)),
        si=si_scale(reading.unit),
        use=use,
        use_words=use_words(use, symbol),
    )


def _shown(value: Fraction, point: Point, reading: Reading, lexicon: Lexicon) -> str:
    if reading in point.readings:
        return plain(show_quantity(value, reading, lexicon))
    # What was computed is seldom a number that can be written out.
    bounds = (
        [b for b in (reading.limit.minimum, reading.limit.maximum) if b is not None] if reading.limit else []
    )
    return f"{written(value, bounds):f} {plain(symbol_of(reading.unit, lexicon))}"


# in words --------------------------------------------------------------------------------------


def trend_words(
    drift: Trend | None, count: int, repaired: datetime | None, symbol: str, limit: Limit | None, bound: str
) -> Iterator[str]:
    """Yield sentences about how ``count`` readings went; ``bound`` is the limit that they go toward."""
    since = f" since the repair of {repaired:%Y-%m-%d}" if repaired else ""
    readings = f"{count} reading{'' if count == 1 else 's'}"
    if drift is None:
        yield f"{readings}{since}: too few to tell a drift."
        return
    yield f"{readings}{since}, over {_days(drift.begun, drift.last)}."
    if not drift.drifts:
        yield "No drift beyond chance."
        return
    way = "Rises" if drift.robust.slope > 0 else "Falls"
    yield f"{way} by {figure(abs(drift.a_week))} {symbol} a week."
    if drift.crossing is not None:
        yield from _crossing_words(drift.crossing, bound)
    elif limit is not None:
        yield "Beyond its limit already." if _beyond(drift, limit) else "Not toward its limit."


def _crossing_words(crossing: Crossing, bound: str) -> Iterator[str]:
    other = f" ({crossing.robust_at:%Y-%m-%d} by the median of slopes)" if crossing.robust_at else ""
    yield f"If that goes on, it reaches its limit ({bound}) about {crossing.at:%Y-%m-%d}{other};"
    yield f"one reading in forty may be beyond from {crossing.earliest:%Y-%m-%d}."


def _beyond(drift: Trend, limit: Limit) -> bool:
    bound = limit.maximum if drift.robust.slope > 0 else limit.minimum
    if bound is None:
        return False
    end = drift.fit.line.at(drift.day(drift.last))
    return end >= bound if drift.robust.slope > 0 else end <= bound


def use_words(use: FluidUse | None, symbol: str) -> str:
    """Return what was used of a fluid; empty where that cannot be told."""
    if use is None:
        return ""
    used, filled, monthly = (figure(x) for x in (float(use.used), float(use.topped_up), use.in_thirty_days))
    days = max(1, round(use.days))
    return (
        f"At least {used} {symbol} used and {filled} {symbol} filled up in "
        f"{days} day{'' if days == 1 else 's'}: {monthly} {symbol} in thirty days."
    )


def figure(value: float) -> str:
    """Return a computed number with two figures: ``0.016``, ``12``, ``340``."""
    if not value:
        return "0"
    exact = Fraction(value)
    return f"{written(exact, figures=2):f}"


def _days(begun: datetime, last: datetime) -> str:
    days = max(1, round((last - begun).total_seconds() / 86_400))
    return "1 day" if days == 1 else f"{days} days"
