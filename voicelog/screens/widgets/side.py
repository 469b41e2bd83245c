"""The side of the walk screen: open doubts with their questions, defects, the stops by name."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from rich.text import Text
from textual.app import RenderResult

from voicelog.screens import palette
from voicelog.screens.shown import Shown
from voicelog.screens.walk_facts import claim_line, count, questions, stop_facts
from voicelog.screens.widgets.part import Part
from voicelog.walk.state import WalkState

Block = list[str]


def _blocks(texts: Iterable[str], sign: str, width: int) -> list[Block]:
    return [
        textwrap.wrap(text, max(width, 8), initial_indent=f"{sign} ", subsequent_indent="  ")
        for text in texts
    ]


def _fitting(blocks: list[Block], rows: int) -> list[Block]:
    """Return the blocks that fit, in order, each whole; a row is kept to say how many do not."""
    if _rows(blocks) <= rows:
        return blocks
    kept: list[Block] = []
    for block in blocks:
        if _rows([*kept, block]) > rows - 1:
            break
        kept.append(block)
    return kept


def _rows(blocks: list[Block]) -> int:
    return sum(len(block) for block in blocks)


class SidePanel(Part):
    """Doubts first, then defects, then the stops; what has no room is counted and is under ``d``."""

    DEFAULT_CSS = f"""
    SidePanel {{
        width: 29; height: 1fr; padding: 0 1;
        border-left: solid {palette.RULE};
    }}
    """

    def render(self) -> RenderResult:
        """Draw the panel."""
        if self.shown is None:
            return Text("")
        return side_text(self.shown, self.size.width, self.size.height)


def side_text(shown: Shown, width: int, height: int) -> Text:
    """Return the panel in at most ``height`` rows of ``width`` columns."""
    state = shown.state
    doubts = _blocks((q for entry in state.doubts() for q in questions(entry)), "?", width)
    defects = _blocks((claim_line(e.claim, state.sheet) for e in state.defects()), "X", width)
    stops = _stops(state, width)
    before = f"{len(state.carried)} from before: press d\n" if state.carried else ""
    # Two headings; defects keep a third of the room when doubts would fill it.
    room = height - 2 - bool(before)
    seen_doubts = _fitting(doubts, room - min(_rows(defects), room // 3))
    taken = _rows(seen_doubts) + (len(seen_doubts) < len(doubts))
    seen_defects = _fitting(defects, room - taken)
    taken += _rows(seen_defects) + (len(seen_defects) < len(defects))
    text = Text()
    _section(text, count(len(doubts), "doubt").upper(), palette.YELLOW, bool(doubts))
    _lines(text, seen_doubts, len(doubts))
    _section(text, count(len(defects), "defect").upper(), palette.VERMILLION, bool(defects))
    _lines(text, seen_defects, len(defects))
    text.append(before, palette.ORANGE)
    if room - taken >= len(stops) + 2:
        text.append("\n")
        _section(text, "STOPS", palette.TEXT, False)
        text.append_text(Text("\n").join(stops))
    return text


def _section(text: Text, heading: str, colour: str, marked: bool) -> None:
    text.append(f" {heading} " if marked else heading, palette.label(colour) if marked else "bold")
    text.append("\n")


def _lines(text: Text, blocks: list[Block], total: int) -> None:
    for block in blocks:
        text.append("\n".join(block) + "\n")
    if total > len(blocks):
        text.append(f"  {total - len(blocks)} more: press d\n", palette.QUIET)


def _stops(state: WalkState, width: int) -> list[Text]:
    lines = []
    for stop in stop_facts(state):
        tally = f"{stop.covered}/{stop.required}"
        lead = f"{'>' if stop.here else ' '} {stop.number:2} {stop.name}"
        done = stop.covered == stop.required
        style = "bold" if stop.here else palette.TEXT if done else palette.QUIET
        room = width - len(tally) - 1
        lines.append(Text(f"{lead:<{room}.{room}} {tally}", style=style))
    return lines
