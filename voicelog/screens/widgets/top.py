"""The top of the walk screen: who and when, the recorder, the cautions, the stops."""

from __future__ import annotations

from rich.table import Table
from rich.text import Text
from textual.app import RenderResult

from voicelog.screens import palette
from voicelog.screens.outside_text import visible
from voicelog.screens.shown import Shown
from voicelog.screens.walk_facts import (
    StopFacts,
    clock,
    elapsed,
    short_caution,
    stop_cautions,
    stop_facts,
)
from voicelog.screens.widgets.part import Part
from voicelog.walk.said_back import operator_of
from voicelog.walk.timed_wording import clock_shown

_METER_CELLS = 10
_METER_FLOOR_DBFS = -60.0
_RECORDER_SIGN = {"recording": "●", "keyboard": "/", "no microphone": "!", "standing by": "=", "stopped": "■"}
_RECORDER_COLOUR = {
    "recording": palette.SKY_BLUE,
    "keyboard": palette.SKY_BLUE,
    "no microphone": palette.VERMILLION,
    "standing by": palette.ORANGE,
    "stopped": palette.REDDISH_PURPLE,
}


def meter(level_dbfs: float, cells: int = _METER_CELLS) -> str:
    """Return the level as a bar, empty at -60 dBFS and full at 0 dBFS."""
    share = min(max(1 - level_dbfs / _METER_FLOOR_DBFS, 0.0), 1.0)
    filled = round(share * cells)
    return "█" * filled + "·" * (cells - filled)


def ends(left: Text, right: Text) -> Table:
    """Return one row with something at both ends; the left one is cropped first."""
    left.no_wrap, left.overflow = True, "ellipsis"
    row = Table.grid(expand=True, padding=(0, 1, 0, 0))
    row.add_column(ratio=1, no_wrap=True, overflow="ellipsis")
    row.add_column(justify="right", no_wrap=True)
    row.add_row(left, right)
    return row


class TitleBar(Part):
    """Unit, sheet, operator, time of day and time since the walk began."""

    DEFAULT_CSS = f"TitleBar {{ height: 1; padding: 0 1; background: {palette.RAISED}; }}"

    def render(self) -> RenderResult:
        """Draw the bar."""
        shown = self.shown
        if shown is None or shown.state.started is None:
            return Text(visible(self.app.title), style="bold")
        started = shown.state.started
        left = Text.assemble(
            (visible(started.unit_name), "bold"),
            ("  " + visible(started.sheet_title), palette.QUIET),
            "  " + visible(operator_of(shown.state)),
        )
        if self.size.width >= 120:
            left.append("  " + visible(started.station), palette.QUIET)
        now = shown.now or shown.state.last_at
        right = Text.assemble((clock(now), "bold"), "  ", elapsed(shown.state, shown.now))
        return ends(left, right)


class RecorderBar(Part):
    """The recorder, what has been committed, the ear with its level, and the coverage."""

    DEFAULT_CSS = "RecorderBar { height: 1; padding: 0 1; }"

    def render(self) -> RenderResult:
        """Draw the bar."""
        shown = self.shown
        if shown is None:
            return Text("starting", style=palette.QUIET)
        recorder = shown.recorder
        sign = _RECORDER_SIGN[recorder]
        left = Text.assemble(
            (f" {sign} {recorder.upper()} ", palette.label(_RECORDER_COLOUR[recorder])),
            f"  {shown.state.events} committed",
        )
        if shown.ear != recorder and (recorder, shown.ear) != ("keyboard", "listening"):
            left.append(f"  {shown.ear}", "bold")
        if recorder == "recording":
            level = max(shown.update.level_dbfs, -100.0)
            left.append(f"  {meter(level)}", palette.SKY_BLUE)
            left.append(f" {level:.0f} dB", palette.QUIET)
        running = clock_shown(shown.state, shown.update.test_s)
        if running:
            left.append(f"  {visible(running)}", f"bold {palette.YELLOW}")
        state = shown.state
        return ends(left, Text(f"covered {state.covered} of {state.required}", style="bold"))


class CautionBar(Part):
    """The cautions of this stop, in short: at most two rows."""

    DEFAULT_CSS = "CautionBar { height: auto; max-height: 2; }"

    def show(self, shown: Shown) -> None:
        """Take what is to be shown; the height follows the number of cautions."""
        self.shown = shown
        self.refresh(layout=True)

    def render(self) -> RenderResult:
        """Draw the cautions."""
        cautions = stop_cautions(self.shown.state) if self.shown is not None else ()
        if not cautions:
            return Text("No cautions for this stop; the sheet's own with c.", style=palette.QUIET)
        width = max(self.app.size.width - 2, 10)
        lines = list(cautions[:2])
        more = f"  (+{len(cautions) - 2}: c)" if len(cautions) > 2 else ""
        text = Text(no_wrap=True)
        for number, caution in enumerate(lines):
            tail = more if number == len(lines) - 1 else ""
            text.append("\n" if number else "")
            text.append("! ", f"bold {palette.ORANGE}")
            text.append(short_caution(caution, width - len(tail)), palette.ORANGE)
            text.append(tail, "bold")
        return text


class StopStrip(Part):
    """Every stop with what is covered of it; this one in brackets."""

    DEFAULT_CSS = f"StopStrip {{ height: 1; padding: 0 1; background: {palette.RAISED}; }}"

    def render(self) -> RenderResult:
        """Draw the strip."""
        if self.shown is None:
            return Text("")
        return _strip(stop_facts(self.shown.state), self.size.width)


def _strip(stops: tuple[StopFacts, ...], width: int) -> Text:
    """Return the strip; where it is too long, the part around this stop."""
    pieces = [f"{s.number} {s.covered}/{s.required}" for s in stops]
    lengths = [len(piece) + (4 if stop.here else 2) for piece, stop in zip(pieces, stops, strict=True)]
    here = next((i for i, stop in enumerate(stops) if stop.here), 0)
    first, last = 0, len(stops)
    while sum(lengths[first:last]) > width and last - first > 1:
        if here - first > last - 1 - here:
            first += 1
        else:
            last -= 1
    text = Text(no_wrap=True)
    for piece, stop in zip(pieces[first:last], stops[first:last], strict=True):
        if stop.here:
            text.append(f"[{piece}]", f"bold {palette.GROUND} on {palette.TEXT}")
        else:
            done = stop.covered == stop.required
            text.append(f"{piece}", palette.TEXT if done else palette.QUIET)
        text.append("  ")
    return text
