"""A line with its sign in a column of its own, held against a table of two columns."""

from __future__ import annotations

import pytest
from rich.console import Console, RenderableType
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from voicelog.screens.hanging import Hanging

TEXTS = {
    "short": Text("fan belt"),
    "nothing": Text(""),
    "wraps": Text("left front brake hose at the frame rail, chafed through to the first ply of the cord"),
    "two lines, one wraps": Text(
        "alternator hanging\nEngine 61, out of service, 12 days, heard, not confirmed"
    ),
    "an empty line": Text("one\n\nthree"),
    "wide letters": Text("\uc67c\ucabd \uc55e \ube0c\ub808\uc774\ud06c \ud638\uc2a4"),
    "styled": Text.assemble("radiator ", ("OVERDUE", "bold"), " (seen)"),
}


def as_a_table(sign: Text, text: Text, room: int) -> Table:
    table = Table.grid(expand=True)
    table.add_column(width=room)
    table.add_column(ratio=1)
    table.add_row(sign, text)
    return table


def drawn(what: RenderableType, width: int) -> list[list[Segment]]:
    console = Console(width=width, color_system=None)
    return console.render_lines(what, console.options.update(width=width))


def letters(lines: list[list[Segment]]) -> list[str]:
    return ["".join(part.text for part in line) for line in lines]


@pytest.mark.parametrize("width", [24, 40, 80])
@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_it_is_drawn_as_the_table_would_be(text: Text, width: int) -> None:
    """The same letters in the same places, wrapped the same; rich's own table is the measure."""
    sign = Text(" !", style="bold")
    assert letters(drawn(Hanging(sign, text), width)) == letters(drawn(as_a_table(sign, text, 3), width))


def test_nothing_is_cut_off() -> None:
    """A word longer than the line goes on in the next; and what is bold stays so."""
    found = drawn(Hanging(Text(" !", style="bold"), Text.assemble("a" * 40, (" LATE", "bold"))), 24)
    assert "".join(letters(found)).replace(" ", "") == "!" + "a" * 40 + "LATE"
    bold = "".join(part.text for line in found for part in line if part.style and part.style.bold)
    assert bold.split() == ["!", "LATE"]
