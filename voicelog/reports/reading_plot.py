"""A plot of one reading over the walks: its values, its limit, how it drifts and when it may cross.

The line is the median of slopes, the band is where least squares expects one more reading (95 %).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from voicelog.limits.trend import Trend
from voicelog.reports.drawing import BAND, DEFECT, INK, QUIET, Picture, picture, settings
from voicelog.reports.series import Series, Value

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH, HEIGHT = 6.4, 2.5
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
    return tuple(Plot(s, reading_plot(s)) for s in series if len(s.values) > 1)


def reading_plot(series: Series) -> Picture:
    """Return the plot of a series of two values or more."""
    from matplotlib.figure import Figure

    with settings():
        figure = Figure(figsize=(WIDTH, HEIGHT))
        # Fixed margins: to let matplotlib find them takes longer than all the drawing.
        axes = figure.add_axes((0.1, 0.18, 0.8, 0.79))
        begin, end = _span(series)
        low, high = _heights(series)
        axes.set_xlim(_x(begin), _x(end))
        axes.set_ylim(low, high)
        _limits(axes, series)
        if series.trend is not None and series.trend.drifts:
            _trend(axes, series.trend, end)
        _values(axes, series)
        _crossing(axes, series, end)
        if series.repaired_at is not None:
            axes.axvline(_x(series.repaired_at), color=QUIET, linewidth=0.8, linestyle=":")
            axes.annotate(
                "repaired",
                (_x(series.repaired_at), 1),
                xycoords=("data", "axes fraction"),
                xytext=(2, -9),
                textcoords="offset points",
                fontsize=7.5,
                color=QUIET,
            )
        _axes(axes, series)
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


def _limits(axes: Axes, series: Series) -> None:
    limit = series.limit
    if limit is None:
        return
    from matplotlib.patheffects import withTickedStroke

    for bound, name, angle, above in (
        (limit.minimum, "at least", -135, False),
        (limit.maximum, "at most", 135, True),
    ):
        if bound is None:
            continue
        strokes = withTickedStroke(spacing=6, angle=angle, length=0.8, linewidth=0.7)
        axes.axhline(float(bound), color=INK, linewidth=1.8, path_effects=[strokes])
        axes.annotate(
            f"limit: {name} {float(bound):g} {series.symbol}",
            (0.005, float(bound)),
            xycoords=("axes fraction", "data"),
            xytext=(2, 6 if above else -13),
            textcoords="offset points",
            fontsize=7.5,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        )


def _trend(axes: Axes, drift: Trend, end: datetime) -> None:
    last = drift.day(end)
    days = [last * step / _STEPS for step in range(_STEPS + 1)]
    at = [_x(drift.begun) + day for day in days]
    low, high = axes.get_ylim()
    # Kept within the axes here: not every reader of SVG clips.
    band = [tuple(min(max(b, low), high) for b in drift.fit.prediction(day)) for day in days]
    axes.fill_between(at, [b[0] for b in band], [b[1] for b in band], color=BAND, linewidth=0, zorder=0.9)
    axes.plot(
        [at[0], at[-1]], [drift.robust.at(0), drift.robust.at(last)], color=INK, linewidth=1.0, dashes=(5, 3)
    )


def _values(axes: Axes, series: Series) -> None:
    before = len(series.values) - series.fitted
    for values, hollow in ((series.values[:before], True), (series.values[before:], False)):
        for outside, marker, colour, size in ((False, "o", INK, 4.0), (True, "^", DEFECT, 6.5)):
            chosen: Sequence[Value] = [v for v in values if v.outside is outside]
            axes.plot(
                [_x(v.at) for v in chosen],
                [float(v.value) for v in chosen],
                marker=marker,
                markersize=size,
                color=colour,
                linestyle="none",
                zorder=3,
                clip_on=False,
                markerfacecolor="white" if hollow else colour,
            )


def _crossing(axes: Axes, series: Series, end: datetime) -> None:
    at = _near_crossing(series)
    crossing = series.trend.crossing if series.trend else None
    if at is None or crossing is None:
        return
    bound = float(crossing.bound)
    axes.plot([_x(at)], [bound], marker="D", markersize=6.5, color=INK, markerfacecolor="white", zorder=4)
    axes.annotate(
        f"{at:%Y-%m-%d}",
        (_x(at), bound),
        xytext=(-6, 7),
        textcoords="offset points",
        ha="right",
        fontsize=8,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
    )


def _axes(axes: Axes, series: Series) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    zone = series.values[-1].at.tzinfo
    axes.xaxis.axis_date(zone)
    locator = AutoDateLocator(minticks=3, maxticks=8, tz=zone)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    shown = ConciseDateFormatter(locator, tz=zone)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_formatter(shown)
    axes.set_ylabel(f"{series.name}, {series.symbol}")
    axes.spines[["top"]].set_visible(False)
    if series.si is not None:
        symbol, factor, offset = series.si

        def to_si(value: Any) -> Any:
            return value * factor + offset

        def from_si(value: Any) -> Any:
            return (value - offset) / factor

        second = axes.secondary_yaxis("right", functions=(to_si, from_si))
        second.set_ylabel(symbol)
    else:
        axes.spines[["right"]].set_visible(False)


def _in_words(series: Series) -> str:
    first, last = series.values[0], series.values[-1]
    outside = sum(v.outside for v in series.values)
    return (
        f"Plot of {len(series.values)} readings of {series.title}, from {first.shown} on {first.at:%Y-%m-%d} "
        f"to {last.shown} on {last.at:%Y-%m-%d}; limit: {series.limit_words}; {outside} outside it. "
        f"{series.words}"
    )
