"""The points of this stop: how each stands, what was said of it, its readings against limits."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.widgets import Static

from voicelog.screens import palette
from voicelog.screens.outside_text import visible
from voicelog.screens.shown import Shown
from voicelog.screens.walk_facts import SIGN, PointFacts, bar, point_facts, stop_place
from voicelog.walk.state import WalkState

_BAR = 12
"""Cells of a reading's bar; twice as many on a wide screen."""

_WIDE = 130
"""Columns from which there is room for more."""


def _drawn(facts: PointFacts, bar_width: int, look_for: str = "") -> RenderableType:
    """Return one point: sign and word, then its name with what was said and the readings."""
    colour = palette.STATUS_COLOUR[facts.status]
    word = f"{SIGN[facts.status]} {facts.status}"
    style = palette.label(colour) if facts.status in ("defect", "doubt") else f"bold {colour}"
    lines: list[RenderableType] = []
    name = Text(facts.name, style="bold" if facts.is_next or facts.status != "open" else palette.TEXT)
    if facts.said:
        name.append(f"  {facts.said}", f"not bold {palette.TEXT}")
    if look_for and facts.status == "open":
        name.append(f"  {look_for}", f"not bold {palette.QUIET}")
    lines.append(name)
    if facts.carried:
        lines.append(Text.assemble(("DEFECT ", f"bold {palette.ORANGE}"), (facts.carried, palette.ORANGE)))
    for reading in facts.readings:
        value = f"{reading.name} {reading.value} "
        line = Text.assemble((value, "bold"), (bar(reading, bar_width), f"bold {colour}"))
        line.append(f" {reading.verdict}", f"bold {colour}" if reading.outside else palette.TEXT)
        lines.append(line)
    row = Table.grid(expand=True)
    row.add_column(width=2)
    row.add_column(width=9)
    row.add_column(ratio=1)
    marker = Text(">" if facts.is_next else " ", style=f"bold {palette.SKY_BLUE}")
    row.add_row(marker, Text.assemble((word, style)), Group(*lines))
    return row


class PointList(Vertical):
    """The points of the stop under a heading; keeps the point that comes next in sight."""

    DEFAULT_CSS = """
    PointList { width: 1fr; }
    PointList #points-heading { height: 1; padding: 0 1; text-style: bold; }
    PointList VerticalScroll { scrollbar-size: 1 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.shown: Shown | None = None
        self._heading = Static("", id="points-heading")
        self._scroll = VerticalScroll(id="points-scroll", can_focus=False)
        self._text = Static("", id="points-text")

    def compose(self) -> ComposeResult:
        """Lay out the heading and the list."""
        yield self._heading
        with self._scroll:
            yield self._text

    def show(self, shown: Shown) -> None:
        """Draw the points anew, and scroll to the one that comes next."""
        self.shown = shown
        state = shown.state
        name, number, stops = stop_place(state)
        heading = Text.assemble((name.upper(), "bold"), (f"  stop {number} of {stops}", palette.QUIET))
        self._heading.update(heading)
        self._text.update(Group(*self._rows(state)))
        self.call_after_refresh(self._keep_in_sight, state)

    def on_resize(self) -> None:
        """Draw anew: the bars are longer on a wide screen."""
        if self.shown is not None:
            self.show(self.shown)

    def _rows(self, state: WalkState) -> list[RenderableType]:
        return [row for _, row in self._drawn_points(state)]

    def _drawn_points(self, state: WalkState) -> list[tuple[str, RenderableType]]:
        """Return each point of the stop and how it is drawn; wide screens say what to look for."""
        width = self.app.size.width
        stops = [stop for stop in state.sheet.stops if stop.id == state.stop_id]
        return [
            (
                point.id,
                _drawn(
                    point_facts(state, point.id),
                    _BAR if width < _WIDE else 2 * _BAR,
                    visible(point.look_for) if width >= _WIDE else "",
                ),
            )
            for stop in stops
            for point in stop.points
        ]

    def _keep_in_sight(self, state: WalkState) -> None:
        """Scroll so that the next point, or else the one named last, is in the middle."""
        scroll = self._scroll
        width = max(scroll.scrollable_content_region.width, 20)
        options = self.app.console.options.update(width=width)
        top = 0
        for point_id, row in self._drawn_points(state):
            if point_id == (state.prompted or state.named):
                break
            top += len(self.app.console.render_lines(row, options, pad=False))
        scroll.scroll_to(y=max(top - scroll.size.height // 2, 0), animate=False)
