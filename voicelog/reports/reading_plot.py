"""A plot of one reading over the walks: its values, its limit, how it drifts and when it may cross.

The line is the median of slopes, the band is where least squares expects one more reading (95 %).
Lengths are inches.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from voicelog.limits.trend import Trend
from voicelog.reports.drawing import (
    BAND,
    DEFECT,
    INK,
    QUIET,
    Label,
    Picture,
    draw,
    fine,
    letters,
    picture,
    polyline,
    settings,
)
from voicelog.reports.series import Series

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH, HEIGHT = 6.4, 2.5
_LEFT, _RIGHT, _BOTTOM, _TOP = 0.64, 5.76, 0.45, 2.425
"""Edges of the field. Fixed: to find them takes longer than all the drawing."""
_TICK = 0.05
_STEPS = 40
"""Places at which the band is worked out."""
_AHEAD = 1.5
"""A crossing further ahead than so many times the days of the readings is told in words only."""
KEY = (
    "Dot: within the limit. Triangle: outside it. Hollow: before the last repair. Thick line: limit, with "
    "strokes on the side beyond it. Dashed line: median of slopes. Grey band: where one more reading is "
    "expected (95 %). Diamond: projected crossing. A projection is no judgement."
)


@dataclass(frozen=True, slots=True)
class Plot:
    """A series with its picture."""

    series: Series
    picture: Picture


def plots(series: Iterable[Series]) -> tuple[Plot, ...]:
    """Return the plots of the series that have more than one value."""
    shown = [one for one in series if len(one.values) > 1]
    return tuple(Plot(*drawn) for drawn in zip(shown, reading_plots(shown) if shown else (), strict=True))


@dataclass(frozen=True, slots=True)
class _Field:
    """Where times and values lie in the picture."""

    begin: float
    """Days since 1970."""
    end: float
    low: float
    high: float

    def x(self, day: float) -> float:
        return fine(_LEFT + (day - self.begin) / (self.end - self.begin) * (_RIGHT - _LEFT))

    def y(self, value: float) -> float:
        return fine(_BOTTOM + (value - self.low) / (self.high - self.low) * (_TOP - _BOTTOM))


def reading_plot(series: Series) -> Picture:
    """Return the plot of a series of two values or more."""
    (drawn,) = reading_plots((series,))
    return drawn


def reading_plots(series: Iterable[Series]) -> tuple[Picture, ...]:
    """Return the plots of several series, each of two values or more."""
    with settings():
        return tuple(_drawn(one) for one in series)


def _drawn(series: Series) -> Picture:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, HEIGHT))
    begin, end = _span(series)
    field = _Field(_x(begin), _x(end), *_heights(series))
    if series.trend is not None and series.trend.drifts:
        _trend(figure, field, series.trend, end)
    _axes(figure, field, series)
    _limits(figure, field, series)
    _values(figure, field, series)
    _crossing(figure, field, series)
    _repair(figure, field, series)
    return picture(figure, series.title, _in_words(series))


def _x(at: datetime) -> float:
    """Return a time as matplotlib places it: days since 1970 (UTC)."""
    return at.timestamp() / 86_400


def _span(series: Series) -> tuple[datetime, datetime]:
    """Return the days that are shown: those of the readings, and up to a crossing that is near."""
    first, last = series.values[0].at, series.values[-1].at
    whole = max(last - first, timedelta(days=1))
    if (crossing := _near_crossing(series)) is not None:
        last = max(last, crossing)
    return first - whole * 0.03, last + (last - first) * 0.06 + timedelta(hours=1)


def _near_crossing(series: Series) -> datetime | None:
    crossing = series.trend.crossing if series.trend else None
    if crossing is None:
        return None
    first, last = series.values[0].at, series.values[-1].at
    at = _drawn_crossing(series)
    return at if at is not None and at <= last + _AHEAD * max(last - first, timedelta(days=1)) else None


def _drawn_crossing(series: Series) -> datetime | None:
    """Return when the line that is drawn crosses, where that is still to come."""
    crossing = series.trend.crossing if series.trend else None
    if crossing is None or crossing.robust_at is None or crossing.robust_at < series.values[-1].at:
        return None
    return crossing.robust_at


def bounds(series: Series) -> tuple[Fraction, ...]:
    """Return the bounds of the series' limit."""
    limit = series.limit
    return tuple(b for b in (limit.minimum, limit.maximum) if b is not None) if limit else ()


def _heights(series: Series) -> tuple[float, float]:
    shown = [float(v.value) for v in series.values] + [float(b) for b in bounds(series)]
    low, high = min(shown), max(shown)
    room = (high - low) * 0.16 or abs(high) * 0.1 or 1.0
    return (0.0 if low >= 0 and low - room < 0 else low - room), high + room


def _limits(figure: Figure, field: _Field, series: Series) -> None:
    limit = series.limit
    if limit is None:
        return
    from matplotlib.lines import Line2D
    from matplotlib.patheffects import withTickedStroke

    for bound, name, angle, above in (
        (limit.minimum, "at least", -135, -0.12),
        (limit.maximum, "at most", 135, 0.14),
    ):
        if bound is None:
            continue
        y = field.y(float(bound))
        strokes = withTickedStroke(spacing=6, angle=angle, length=0.8, linewidth=0.7)
        draw(figure, Line2D([_LEFT, _RIGHT], [y, y], color=INK, linewidth=1.8, path_effects=[strokes]))
        words = f"limit: {name} {float(bound):g} {series.symbol}"
        letters(figure, [Label(_LEFT + 0.05, y + above, words, 7.5, on_white=True)], zorder=2.5)


def _trend(figure: Figure, field: _Field, drift: Trend, end: datetime) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Polygon

    last = drift.day(end)
    begun = _x(drift.begun)
    days = [last * step / _STEPS for step in range(_STEPS + 1)]
    # Kept within the field here: not every reader of SVG clips.
    band = [tuple(min(max(b, field.low), field.high) for b in drift.fit.prediction(day)) for day in days]
    across = [field.x(begun + day) for day in days]
    edge = [(x, field.y(low)) for x, (low, _) in zip(across, band, strict=True)]
    edge += [(x, field.y(high)) for x, (_, high) in zip(across[::-1], band[::-1], strict=True)]
    draw(figure, Polygon(edge, closed=True, facecolor=BAND, linewidth=0, zorder=0.9))
    line = [(day, drift.robust.at(day)) for day in _within(drift, last, field)]
    draw(
        figure,
        Line2D(
            [field.x(begun + day) for day, _ in line],
            [field.y(value) for _, value in line],
            color=INK,
            linewidth=1.0,
            dashes=(5, 3),
        ),
    )


def _within(drift: Trend, last: float, field: _Field) -> tuple[float, float]:
    """Return the first day and the last of the line that lie in the field."""
    slope = drift.robust.slope
    at = sorted((bound - drift.robust.intercept) / slope for bound in (field.low, field.high))
    return min(max(0.0, at[0]), last), max(min(last, at[1]), 0.0)


def _values(figure: Figure, field: _Field, series: Series) -> None:
    from matplotlib.lines import Line2D

    before = len(series.values) - series.fitted
    for values, hollow in ((series.values[:before], True), (series.values[before:], False)):
        for outside, marker, colour, size in ((False, "o", INK, 4.0), (True, "^", DEFECT, 6.5)):
            chosen = [v for v in values if v.outside is outside]
            if chosen:
                dots = Line2D(
                    [field.x(_x(v.at)) for v in chosen],
                    [field.y(float(v.value)) for v in chosen],
                    marker=marker,
                    markersize=size,
                    color=colour,
                    linestyle="none",
                    zorder=3,
                    markerfacecolor="white" if hollow else colour,
                )
                draw(figure, dots)


def _crossing(figure: Figure, field: _Field, series: Series) -> None:
    at = _near_crossing(series)
    crossing = series.trend.crossing if series.trend else None
    if at is None or crossing is None:
        return
    from matplotlib.lines import Line2D

    x, y = field.x(_x(at)), field.y(float(crossing.bound))
    style = {"marker": "D", "markersize": 6.5, "color": INK, "markerfacecolor": "white"}
    draw(figure, Line2D([x], [y], zorder=4, **style))  # type: ignore[arg-type]
    label = Label(x - 0.09, y + 0.14, f"{at:%Y-%m-%d}", 8, align="right", on_white=True)
    letters(figure, [label], zorder=5)


def _repair(figure: Figure, field: _Field, series: Series) -> None:
    if series.repaired_at is None:
        return
    from matplotlib.lines import Line2D

    x = field.x(_x(series.repaired_at))
    draw(figure, Line2D([x, x], [_BOTTOM, _TOP], color=QUIET, linewidth=0.8, linestyle=":"))
    letters(figure, [Label(x + 0.03, _TOP - 0.08, "repaired", 7.5)], QUIET)


def _axes(figure: Figure, field: _Field, series: Series) -> None:
    from matplotlib.patches import PathPatch

    days, dates, about = _dates(field.begin, field.end, series.values[-1].at.tzinfo)
    lines = [[(_LEFT, _TOP), (_LEFT, _BOTTOM), (_RIGHT, _BOTTOM)]]
    labels = [Label(_RIGHT, 0.09, about, align="right")]
    for day, date in zip(days, dates, strict=True):
        x = field.x(day)
        lines.append([(x, _BOTTOM), (x, _BOTTOM - _TICK)])
        labels.append(Label(x, _BOTTOM - _TICK - 0.11, date, align="middle"))
    for value, shown in _figures(field.low, field.high):
        y = field.y(value)
        lines.append([(_LEFT, y), (_LEFT - _TICK, y)])
        labels.append(Label(_LEFT - _TICK - 0.05, y, shown, align="right"))
    middle = (_BOTTOM + _TOP) / 2
    labels.append(Label(0.1, middle, f"{series.name}, {series.symbol}", upright=True))
    if series.si is not None:
        symbol, factor, offset = series.si
        lines.append([(_RIGHT, _BOTTOM), (_RIGHT, _TOP)])
        for value, shown in _figures(field.low * factor + offset, field.high * factor + offset):
            y = field.y((value - offset) / factor)
            lines.append([(_RIGHT, y), (_RIGHT + _TICK, y)])
            labels.append(Label(_RIGHT + _TICK + 0.05, y, shown))
        labels.append(Label(WIDTH - 0.08, middle, symbol, upright=True))
    draw(figure, PathPatch(polyline(lines), facecolor="none", edgecolor=QUIET, linewidth=0.8, zorder=2.5))
    letters(figure, labels)


@lru_cache
def _dates(begin: float, end: float, zone: tzinfo | None) -> tuple[list[float], list[str], str]:
    """Return the days to mark, how each is called, and what is common to all; many plots have the same."""
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, num2date

    locator = AutoDateLocator(minticks=3, maxticks=8, tz=zone)  # type: ignore[no-untyped-call]
    ticks = locator.tick_values(*(num2date(day, zone) for day in (begin, end)))  # type: ignore[no-untyped-call]
    days = [float(day) for day in ticks if begin <= day <= end]
    shown = ConciseDateFormatter(locator, tz=zone)  # type: ignore[no-untyped-call]
    names = shown.format_ticks(days)  # type: ignore[no-untyped-call]
    return days, names, shown.get_offset()  # type: ignore[no-untyped-call]


def _figures(low: float, high: float) -> list[tuple[float, str]]:
    """Return the values to mark, and how each is written."""
    from matplotlib.ticker import MaxNLocator, ScalarFormatter

    locator = MaxNLocator(nbins=6, steps=[1, 2, 2.5, 5, 10])
    values = [float(value) for value in locator.tick_values(low, high) if low <= value <= high]
    formatter = ScalarFormatter(useOffset=False)
    formatter.set_scientific(False)
    formatter.create_dummy_axis()
    if formatter.axis is not None:
        formatter.axis.set_view_interval(low, high)
    return list(zip(values, formatter.format_ticks(values), strict=True))


def _in_words(series: Series) -> str:
    first, last = series.values[0], series.values[-1]
    outside = sum(v.outside for v in series.values)
    return (
        f"Plot of {len(series.values)} readings of {series.title}, from {first.shown} on {first.at:%Y-%m-%d} "
        f"to {last.shown} on {last.at:%Y-%m-%d}; limit: {series.limit_words}; {outside} outside it. "
        f"{series.words}"
    )
