"""The far view: what was said back, what comes next and where, readable from three metres.

The state is a word on a field of its colour; doubts and defects are counted beside it. Nothing
that was said back is cut: where huge letters have no room, smaller ones are taken, and at last
plain capitals.
"""

from __future__ import annotations

import itertools

from rich.text import Text
from textual.app import RenderResult

from voicelog.screens import palette
from voicelog.screens.big_letters import LARGE, MIDDLE, Font, draw_largest
from voicelog.screens.outside_text import visible
from voicelog.screens.shown import Shown
from voicelog.screens.walk_facts import Trouble, count, most_urgent, next_point, short_caution, stop_place
from voicelog.screens.widgets.part import Part
from voicelog.walk.timed_wording import clock_shown

_STATE_ROWS = 6
_TALL = 40
"""From this many rows on, everything may be in the largest letters."""


def far_words(shown: Shown) -> tuple[str, str, str]:
    """Return the state as a word, its colour, and what was said back."""
    reply = most_urgent(shown.replies)
    if shown.trouble is not None:
        return "trouble", palette.REPLY_COLOUR["trouble"], _met(shown.trouble)
    said = visible(reply.text) if reply is not None else ""
    if reply is not None and reply.kind == "trouble":
        return reply.kind, palette.REPLY_COLOUR[reply.kind], said
    if shown.state.finished is not None:
        return "finished", palette.TEXT, said or "walk finished"
    if shown.recorder == "no microphone":
        return "no microphone", palette.VERMILLION, said or "the walk waits for the microphone"
    if shown.recorder == "standing by":
        return "standing by", palette.ORANGE, said or "say resume to go on"
    if reply is not None:
        return reply.kind, palette.REPLY_COLOUR[reply.kind], said
    if shown.recorder == "stopped":
        return "stopped", palette.REDDISH_PURPLE, "the sound has ended"
    word = "keyboard" if shown.keyboard else "listening"
    return word, palette.TEXT, "nothing said back yet"


def _met(trouble: Trouble) -> str:
    return f"{trouble.where}: {trouble.what}" if trouble.where else trouble.what


def far_rows(shown: Shown, width: int, height: int) -> list[Text]:
    """Return the far view as rows, at most ``height`` of at most ``width`` columns."""
    word, colour, said = far_words(shown)
    rows = _state_rows(shown, word, colour, width)
    width -= 1
    rest = height - len(rows)
    fonts = (LARGE, MIDDLE) if height >= _TALL else (MIDDLE,)
    name, number, stops = stop_place(shown.state)
    coming = next_point(shown.state)[0]
    running = clock_shown(shown.state, shown.update.test_s)
    where = visible(running) or f"{number}/{stops} {name}"
    stop = draw_largest(where, width, 6 if height >= _TALL else 3, fonts)
    following = draw_largest(f"next: {coming}", width, 11 if height >= _TALL else 6, fonts)
    small = ((f"NEXT: {coming}".upper()[:width],), (where.upper()[:width],))
    # What was said back comes first: gaps, then the next point, then the stop give way to it.
    texts = [said, *(short_caution(said, most) for most in (80, 60))] if word == "caution" else [said]
    ways = [(following, stop, 1), (following, stop, 0), (small[0], stop, 0), (*small, 0)]
    for text, (below, place, gap) in itertools.product(texts, ways):
        room = rest - len(below) - len(place) - 3 * gap
        reply = draw_largest(text, width, room)
        if len(reply) >= MIDDLE.rows:
            break
    else:
        reply = draw_largest(said, width, room)
    spare = max(room - len(reply), 0)
    before = [""] * (gap + (spare // 2 if height >= _TALL else 0))
    after = [""] * (gap + spare - (spare // 2 if height >= _TALL else 0))
    rows += [Text(f" {row}", style=f"bold {palette.TEXT}") for row in (*before, *reply, *after)]
    rows += [Text(f" {row}", style=f"bold {palette.SKY_BLUE}") for row in (*below, *([""] * gap))]
    rows += [Text(f" {row}", style=f"bold {palette.QUIET}") for row in place]
    for row in rows:
        row.no_wrap = True
    return rows[:height]


def _state_rows(shown: Shown, word: str, colour: str, width: int) -> list[Text]:
    """Return the state's word on its colour, with the counts beside it."""
    doubts, defects = len(shown.state.doubts()), len(shown.state.defects())
    counts = [
        *((row, palette.YELLOW) for row in _count_rows(doubts, "doubt", width)),
        *((row, palette.VERMILLION) for row in _count_rows(defects, "defect", width)),
    ]
    beside = max(len(row) for row, _ in counts)
    field = width - beside - 2
    fonts: tuple[Font, ...] = (LARGE, MIDDLE)
    drawn = list(draw_largest(word, field - 2, _STATE_ROWS, fonts))
    above = (_STATE_ROWS - len(drawn) + 1) // 2 if len(drawn) < _STATE_ROWS - 1 else 0
    drawn = [""] * above + drawn + [""] * (_STATE_ROWS - above - len(drawn))
    rows = []
    for left, (right, tint) in zip(drawn, counts, strict=True):
        row = Text(f" {left:<{field - 1}}", style=f"bold {palette.GROUND} on {colour}")
        rows.append(Text.assemble(row, "  ", (right, f"bold {tint}")))
    return rows


def _count_rows(number: int, word: str, width: int) -> tuple[str, ...]:
    """Return a count in three rows, in letters that leave the state's word its half."""
    drawn = draw_largest(count(number, word), width // 2, MIDDLE.rows, (MIDDLE,))
    return (*drawn, *([""] * (MIDDLE.rows - len(drawn))))


class FarView(Part):
    """The far view as a widget."""

    DEFAULT_CSS = f"FarView {{ background: {palette.GROUND}; }}"

    def render(self) -> RenderResult:
        """Draw the view."""
        if self.shown is None:
            return Text("\n".join(draw_largest("starting", self.size.width, self.size.height)))
        return Text("\n").join(far_rows(self.shown, self.size.width, self.size.height))
