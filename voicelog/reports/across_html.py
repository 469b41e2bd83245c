"""A unit's history and a station's overview as one HTML page each, that needs nothing else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from voicelog.reports.drawing import Picture
from voicelog.reports.html import render
from voicelog.reports.overview import Overview
from voicelog.reports.reading_plot import KEY, plots
from voicelog.reports.series import Series
from voicelog.reports.unit_history import UnitHistory

MOST_PLOTS = 12
"""Plots of an overview: those that cross soonest. The table has them all."""


@dataclass(frozen=True, slots=True)
class AboutPlot:
    """A plot, and of what sheet or unit it is."""

    series: Series
    picture: Picture
    about: str


def about_plots(series: Iterable[tuple[str, Series]]) -> tuple[AboutPlot, ...]:
    """Return the plots of the series that have more than one value."""
    shown = list(series)
    titles = [about for about, one in shown if len(one.values) > 1]
    return tuple(
        AboutPlot(plot.series, plot.picture, about)
        for about, plot in zip(titles, plots(one for _, one in shown), strict=True)
    )


def history_html(history: UnitHistory) -> str:
    """Return a unit's history as HTML."""
    return render("history.html.j2", r=history, drawn=about_plots(history.series), plot_key=KEY)


def overview_html(contents: Overview) -> str:
    """Return a station's overview as HTML."""
    rows = [(row, series) for row, (_, series) in zip(contents.drifts, contents.series, strict=True)]
    drawn = about_plots(contents.series[:MOST_PLOTS])
    return render("overview.html.j2", r=contents, rows=rows, drawn=drawn, plot_key=KEY)
