"""A picture of the walk: every stop where it comes in walking order, every point as a mark.

Where a sheet goes along one side of the unit and back along the other, the sides are drawn left and
right, seen from above, with what belongs to no side between them; a stop lies beside those before and
after it. Other walks are drawn as a strip. Sheets give no measures, so there is no scale. A mark's
shape says how its point stands, its number is that of the point in the report.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import groupby, pairwise
from typing import TYPE_CHECKING, Literal

from voicelog.reports.drawing import (
    DEFECT,
    INK,
    LINE,
    QUIET,
    Label,
    Picture,
    draw,
    fine,
    letters,
    picture,
    settings,
)
from voicelog.reports.parts import PointPart, StopPart

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH = 7.2
"""Inches; all lengths here are."""
_CELL, _LINE = 0.25, 0.36
_LABEL, _PAD, _GAP = 0.22, 0.07, 0.16
_KEY = 0.36
_EDGE = 0.05
"""Left free around the picture."""
_TURN = 0.2
"""Room below the stops for a way that leads straight from side to side."""

Mark = Literal["defect", "doubt", "open", "sound", "group"]
NAMES: dict[Mark, str] = {
    "defect": "defect",
    "doubt": "in doubt",
    "open": "not covered",
    "group": "sound, by group mark",
    "sound": "sound",
}
KEY = (
    "Every stop in walking order, along the grey line, and every point as a numbered mark. Where a walk goes "
    "along both sides of the unit they are drawn as seen from above; there is no scale."
)


@dataclass(frozen=True, slots=True)
class Box:
    """A stop where it is drawn; the origin is the upper left, down is positive."""

    place: int
    """Its place in the walk, from 1."""
    stop: StopPart
    left: float
    top: float
    width: float
    across: int
    """Marks in one line."""

    @property
    def height(self) -> float:
        """Return its height."""
        return _LABEL + _lines(self.stop, self.across) * _LINE + _PAD

    @property
    def bottom(self) -> float:
        """Return its lower edge."""
        return self.top + self.height

    @property
    def middle(self) -> tuple[float, float]:
        """Return its middle."""
        return self.left + self.width / 2, self.top + self.height / 2


def mark_of(point: PointPart) -> Mark:
    """Return which mark a point is drawn with."""
    return "group" if point.by_group and point.state == "sound" else point.state


def noted(stops: Sequence[StopPart]) -> tuple[tuple[PointPart, str], ...]:
    """Return the points that are a defect, in doubt or not covered, with the name of their stop."""
    return tuple((point, stop.name) for stop in stops for point in stop.points if point.state != "sound")


def _lines(stop: StopPart, across: int) -> int:
    return max(1, -(-len(stop.points) // across))


# where the stops are -----------------------------------------------------------------------------


def boxes(stops: Sequence[StopPart]) -> tuple[Box, ...]:
    """Return where each stop is drawn, in walking order."""
    sides = [side for side, _ in groupby(stop.side for stop in stops) if side != "none"]
    return _around(stops) if sorted(sides) == ["left", "right"] else _strip(stops)


def _strip(stops: Sequence[StopPart]) -> tuple[Box, ...]:
    across = int((WIDTH - 2 * _PAD) / _CELL)
    found, top = [], 0.0
    for place, stop in enumerate(stops, 1):
        found.append(Box(place, stop, 0.0, top, WIDTH, across))
        top = found[-1].bottom + _GAP
    return tuple(found)


def _around(stops: Sequence[StopPart]) -> tuple[Box, ...]:
    width = (WIDTH - 2 * _GAP) / 3
    across = int((width - 2 * _PAD) / _CELL)
    lefts = {"left": 0.0, "none": width + _GAP, "right": 2 * (width + _GAP)}
    numbered = list(enumerate(stops, 1))
    first, second = dict.fromkeys(stop.side for stop in stops if stop.side != "none")
    on_second = [n for n, stop in numbered if stop.side == second]
    columns = {
        first: [n for n, stop in numbered if stop.side == first],
        second: on_second[::-1],  # it is walked back
        "none": _between(numbered, on_second),
    }
    by_place = dict(numbered)

    def length(places: Sequence[int]) -> float:
        boxes_of = [Box(n, by_place[n], 0, 0, width, across).height for n in places]
        return sum(boxes_of) + _GAP * (len(places) - 1)

    whole = max(length(places) for places in columns.values() if places)
    found = {}
    for side, places in columns.items():
        # A side fills the whole length, as the unit does.
        room = (whole - length(places)) / (len(places) - 1) if len(places) > 1 else 0.0
        top = 0.0 if len(places) > 1 else (whole - length(places)) / 2
        for n in places:
            found[n] = Box(n, by_place[n], lefts[side], top, width, across)
            top = found[n].bottom + _GAP + room
    return tuple(found[n] for n, _ in numbered)


def _between(numbered: Sequence[tuple[int, StopPart]], on_second: Sequence[int]) -> list[int]:
    """Return the stops of no side from the top down: begun with, ended with, and the turn at the bottom."""
    of_none = [n for n, stop in numbered if stop.side == "none"]
    first = min(n for n, stop in numbered if stop.side != "none")
    before = [n for n in of_none if n < first]
    turn = [n for n in of_none if first < n < max(on_second)]
    return [*before, *(n for n in of_none if n > max(on_second)), *turn]


# drawing -----------------------------------------------------------------------------------------


def drawn_walk(stops: Sequence[StopPart]) -> Picture | None:
    """Return the picture of a walk; None for a sheet without stops."""
    if not stops:
        return None
    from matplotlib.figure import Figure

    placed = boxes(stops)
    turn = _TURN if any(_crosses(one, other) for one, other in pairwise(placed)) else 0.0
    height = max(box.bottom for box in placed) + turn + _KEY
    with settings():
        figure = Figure(figsize=(WIDTH + 2 * _EDGE, height + 2 * _EDGE))
        paper = _Paper(figure, height + _EDGE)
        _path(paper, placed)
        for box in placed:
            _stop(paper, box)
        paper.marks()
        points = [point for stop in stops for point in stop.points]
        _key(paper, height - 0.1, Counter(mark_of(point) for point in points))
        paper.marks()
        return picture(figure, "The walk, drawn", in_words(stops))


@dataclass(slots=True)
class _Paper:
    """A figure on which places go down from the upper left, as those of boxes do.

    Marks and letters are gathered, and all of a kind are drawn at once.
    """

    figure: Figure
    top: float
    placed: dict[Mark, list[tuple[float, float]]] = field(default_factory=dict)
    dark: list[Label] = field(default_factory=list)
    quiet: list[Label] = field(default_factory=list)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return a place in the figure's own inches."""
        return fine(x + _EDGE), fine(self.top - y)

    def label(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        bold: bool = False,
        middle: bool = False,
        quiet: bool = False,
    ) -> None:
        """Write a text, its middle in height at ``y``."""
        label = Label(*self.at(x, y), text, size, bold, "middle" if middle else "left")
        (self.quiet if quiet else self.dark).append(label)

    def mark(self, x: float, y: float, mark: Mark) -> None:
        """Place a mark."""
        self.placed.setdefault(mark, []).append(self.at(x, y))
        if mark == "doubt":
            self.label(x, y, "?", 8, bold=True, middle=True)
        elif mark in ("sound", "group"):
            self.label(x, y, "\u2713", 9, middle=True, quiet=True)

    def marks(self) -> None:
        """Draw what was gathered."""
        from matplotlib.lines import Line2D

        for mark, style in _STYLES.items():
            if places := self.placed.pop(mark, None):
                x, y = zip(*places, strict=True)
                draw(self.figure, Line2D(x, y, linestyle="none", zorder=3, **style))  # type: ignore[arg-type]
        letters(self.figure, self.quiet, QUIET)
        letters(self.figure, self.dark)
        self.quiet.clear()
        self.dark.clear()


_STYLES: dict[Mark, dict[str, object]] = {
    "defect": {"marker": "^", "markersize": 11, "color": DEFECT, "markeredgecolor": INK},
    "doubt": {"marker": "D", "markersize": 9.5, "color": "white", "markeredgecolor": INK},
    "open": {
        "marker": "o",
        "markersize": 9,
        "color": "white",
        "markeredgecolor": INK,
        "markeredgewidth": 1.3,
    },
    "group": {"marker": "s", "markersize": 9.5, "color": "white", "markeredgecolor": QUIET},
}


def _path(paper: _Paper, placed: Sequence[Box]) -> None:
    """Draw the way from each stop to the next, behind the boxes."""
    from matplotlib.lines import Line2D

    way = [placed[0].middle]
    for one, other in pairwise(placed):
        if _crosses(one, other):
            below = max(box.bottom for box in placed) + _TURN - 0.06
            way += [(one.middle[0], below), (other.middle[0], below)]
        way.append(other.middle)
    x, y = zip(*(paper.at(*place) for place in way), strict=True)
    draw(paper.figure, Line2D(x, y, color=LINE, linewidth=5, solid_joinstyle="round", zorder=0))


def _crosses(one: Box, other: Box) -> bool:
    """Return whether the way leads from one side to the other without a stop between them."""
    return {one.stop.side, other.stop.side} == {"left", "right"}


def _stop(paper: _Paper, box: Box) -> None:
    from matplotlib.patches import FancyBboxPatch

    outline = FancyBboxPatch(
        paper.at(box.left + 0.03, box.bottom - 0.03),
        box.width - 0.06,
        box.height - 0.06,
        boxstyle="round,pad=0.03",
        facecolor="white",
        edgecolor=QUIET,
        linewidth=0.8,
        zorder=1,
    )
    draw(paper.figure, outline)
    name = textwrap.shorten(box.stop.name, max(8, int(box.width * 11)), placeholder="...")
    paper.label(box.left + _PAD, box.top + 0.15, f"{box.place}  {name}", 8, bold=True)
    for index, point in enumerate(box.stop.points):
        line, column = divmod(index, box.across)
        x = box.left + _PAD + (column + 0.5) * _CELL
        y = box.top + _LABEL + line * _LINE + 0.1
        paper.mark(x, y, mark_of(point))
        bad = point.state in ("defect", "doubt")
        paper.label(x, y + 0.165, str(point.number), 6.5, bold=bad, middle=True, quiet=not bad)


def _key(paper: _Paper, y: float, counts: Counter[Mark]) -> None:
    x = 0.14
    for mark, name in NAMES.items():
        if counts[mark] or mark != "group":
            paper.mark(x, y, mark)
            paper.label(x + 0.14, y, f"{name}: {counts[mark]}", 8)
            x += 0.46 + 0.072 * len(f"{name}: {counts[mark]}")


def in_words(stops: Sequence[StopPart]) -> str:
    """Return what the picture shows, for who cannot see it."""
    told = []
    for place, stop in enumerate(stops, 1):
        counts = Counter(mark_of(point) for point in stop.points)
        marks = ", ".join(f"{counts[mark]} {name}" for mark, name in NAMES.items() if counts[mark])
        told.append(f"{place}, {stop.name}: {marks or 'no point'}")
    return f"The walk in its order, stop by stop. {'. '.join(told)}."
