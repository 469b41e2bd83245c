"""The plots of a run, each an SVG file as text; the same run draws the same bytes.

Systems differ in colour (Okabe and Ito's, told apart by the colour-blind), marker and line, so that
print without colour reads too. Paper is white.
"""

from __future__ import annotations

import io

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator, PercentFormatter

from tests.benchmarks.hearing.statistics import Calibration, Interval
from tests.benchmarks.hearing.summary import Cell, Summary, SystemSummary

LOOKS = {
    "voicelog": ("#0072B2", "o", "-"),
    "pocketsphinx": ("#D55E00", "s", "--"),
    "whisper": ("#009E73", "^", "-."),
}
GREY = "#555555"
CORNER = 0.8
"""Where the enlarged part of a reliability diagram begins."""
mpl.rcParams.update(
    {
        "svg.hashsalt": "voicelog",
        "font.size": 10,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.grid": True,
        "grid.color": "#dddddd",
        "axes.axisbelow": True,
        "axes.titleweight": "bold",
        "axes.titlelocation": "left",
        "axes.titlesize": 11,
        "legend.frameon": False,
    }
)


def _figure(columns: int, height: float = 3.9) -> tuple[Figure, list[Axes]]:
    figure = Figure(figsize=(9.6, height), layout="constrained")
    return figure, list(figure.subplots(1, columns, squeeze=False)[0])


def _svg(figure: Figure) -> str:
    file = io.StringIO()
    figure.savefig(file, format="svg", metadata={"Date": None})
    return file.getvalue()


def _legend(figure: Figure, axes: Axes) -> None:
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=max(1, len(labels)))


def accuracy(summary: Summary) -> str:
    """Draw the share right and the share wrong against the ratio, with Wilson intervals."""
    figure, (right, wrong) = _figure(2)
    names = [c.name for c in summary.systems[0].conditions]
    apart = [k for k, c in enumerate(summary.systems[0].conditions) if not c.averaged]
    for axes, title in ((right, "Right: every slot exact"), (wrong, "Wrong: answered, and false")):
        for k in apart:
            axes.axvspan(k - 0.5, k + 0.5, color="#f0f0f0", zorder=0, linewidth=0)
        for number, system in enumerate(summary.systems):
            shift = 0.13 * (number - (len(summary.systems) - 1) / 2)
            places, shares = [], []
            for condition in system.conditions:
                places.append(names.index(condition.name) + shift)
                shares.append(_of(condition.cell, axes is right))
            _with_intervals(axes, places, shares, system)
        axes.set_title(title)
        axes.set_xticks(range(len(names)), [n.removesuffix(" dB") for n in names])
        axes.set_xlim(-0.5, len(names) - 0.5)
        axes.set_xlabel("signal-to-noise ratio (dB)" + ("; grey: not in the average" if apart else ""))
        axes.set_ylabel("share of utterances")
        axes.yaxis.set_major_formatter(PercentFormatter(1.0, decimals=0))
        axes.set_ylim(bottom=0)
        axes.grid(axis="x", visible=False)
    # Shares that are all high are told apart better without the empty part below them.
    least = min((c.cell.right.low for s in summary.systems for c in s.conditions), default=0.0)
    right.set_ylim(np.floor(least * 10) / 10, 1.005)
    _legend(figure, right)
    return _svg(figure)


def _of(cell: Cell, right: bool) -> Interval:
    return cell.right if right else cell.wrong


def _with_intervals(axes: Axes, places: list[float], shares: list[Interval], system: SystemSummary) -> None:
    colour, marker, line = LOOKS[system.name]
    middle = np.array([s.share for s in shares])
    spread = np.clip([middle - [s.low for s in shares], [s.high for s in shares] - middle], 0, None)
    axes.errorbar(
        places, middle, yerr=spread, color=colour, marker=marker, linestyle=line, markersize=5,
        linewidth=1.4, elinewidth=1, capsize=2.5, label=system.title,
    )  # fmt: skip


def latency(summary: Summary) -> str:
    """Draw the share of utterances decoded within a time, with the percentiles marked."""
    figure, (axes,) = _figure(1)
    for system in summary.systems:
        colour, marker, line = LOOKS[system.name]
        times = np.array(system.decode_s)
        axes.step(times, np.arange(1, len(times) + 1) / len(times), where="post", color=colour,
                  linestyle=line, linewidth=1.6)  # fmt: skip
        found = system.latency.every
        if found:
            marks = [(found.p50, 0.5), (found.p95, 0.95), (found.p99, 0.99)]
            axes.plot(*zip(*marks, strict=True), color=colour, marker=marker, linestyle="none", markersize=6)
        axes.plot([], [], color=colour, marker=marker, linestyle=line, label=system.title)
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.xaxis.set_minor_formatter(FuncFormatter(lambda value, _: _minor(value)))
    axes.tick_params(axis="x", which="minor", labelsize=8)
    axes.set_title("Decoding time of an utterance (marks: p50, p95, p99)")
    axes.set_xlabel("seconds, logarithmic")
    axes.set_ylabel("share of utterances within it")
    axes.yaxis.set_major_formatter(PercentFormatter(1.0, decimals=0))
    axes.set_ylim(0, 1.03)
    _legend(figure, axes)
    return _svg(figure)


def _minor(value: float) -> str:
    return f"{value:g}" if f"{value:e}"[0] in "25" else ""


def cost(summary: Summary) -> str:
    """Draw peak memory and the time to be ready and to a first answer."""
    figure, (memory, start) = _figure(2, height=0.9 + 0.55 * len(summary.systems))
    places = np.arange(len(summary.systems))[::-1]
    for place, system in zip(places, summary.systems, strict=True):
        colour = LOOKS[system.name][0]
        if system.peak_mb is not None:
            _bar(memory, place, system.peak_mb, colour, f"{system.peak_mb:.0f}", height=0.6)
        if system.ready_s is not None and system.first_answer_s is not None:
            _bar(start, place + 0.2, system.ready_s, colour, f"{system.ready_s:.1f} ready", height=0.34)
            text = f"{system.first_answer_s:.1f} first answer"
            _bar(start, place - 0.2, system.first_answer_s, colour, text, height=0.34, alpha=0.55)
    for axes, title, unit in ((memory, "Peak memory", "MB (10⁶ bytes)"), (start, "Start", "seconds")):
        axes.set_title(title)
        axes.set_xlabel(unit)
        axes.set_yticks(places, [s.title for s in summary.systems])
        axes.set_ylim(-0.6, len(places) - 0.4)
        axes.grid(axis="y", visible=False)
        axes.margins(x=0.3)
        axes.set_xlim(left=0)
    return _svg(figure)


def _bar(
    axes: Axes, place: float, value: float, colour: str, text: str, *, height: float, alpha: float = 1.0
) -> None:
    bar = axes.barh(place, value, height=height, color=colour, alpha=alpha)
    axes.bar_label(bar, [text], padding=3, fontsize=9)


def reliability(system: SystemSummary) -> str:
    """Draw the share right against the posterior, by equal-mass bins, for all rows and both halves.

    Most posteriors are near 1, so that corner is drawn again below, larger.
    """
    figure = Figure(figsize=(9.6, 9.8), layout="constrained")
    panels = figure.subplots(2, 2)
    for column, of in enumerate(("utterances", "slots")):
        title = "Whole utterances" if of == "utterances" else "Single slots"
        for row, low in enumerate((0.0, CORNER)):
            axes = panels[row][column]
            eces = _reliability_panel(axes, system, of)
            axes.set_title(f"{title}, ECE {eces}" if row == 0 else f"{title}, from {CORNER:g}")
            axes.set_xlabel("posterior, mean of the bin")
            axes.set_ylabel("share right, with 95 % interval")
            for axis in (axes.xaxis, axes.yaxis):
                axis.set_major_locator(MaxNLocator(5))
            margin = 0.02 * (1 - low)
            axes.set_xlim(low - margin, 1 + margin)
            axes.set_ylim(low - margin, 1 + margin)
            axes.set_aspect("equal")
    _legend(figure, panels[0][0])
    return _svg(figure)


def _reliability_panel(axes: Axes, system: SystemSummary, of: str) -> str:
    """Draw one panel and return its calibration errors in words."""
    groups = {c.group: c for c in system.certainty}
    looks = (("half A", "#D55E00", "s", "--"), ("half B", "#009E73", "^", "-."), ("all", "#0072B2", "o", "-"))
    axes.plot([0, 1], [0, 1], color=GREY, linewidth=1, linestyle=":", label="perfect")
    eces: dict[str, str] = {}
    for group, colour, marker, line in looks:
        found: Calibration | None = getattr(groups[group], of) if group in groups else None
        if found is None:
            continue
        eces[group] = f"{found.ece:.3f}"
        intervals = [b.interval for b in found.bins]
        right = np.array([i.share for i in intervals])
        below = right - [i.low for i in intervals]
        above = [i.high for i in intervals] - right
        axes.errorbar(
            [b.posterior for b in found.bins], right,
            yerr=np.clip([below, above], 0, None) if group == "all" else None,
            color=colour, marker=marker, linestyle=line, markersize=5, linewidth=1.2, elinewidth=0.9,
            capsize=2, label=group,
        )  # fmt: skip
    halves = ", ".join(f"{group[-1]} {ece}" for group, ece in eces.items() if group != "all")
    return f"{eces.get('all', '')} ({halves})" if halves else eces.get("all", "")
