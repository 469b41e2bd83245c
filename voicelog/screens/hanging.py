"""A line with its sign in a column of its own: what wraps stays clear of the sign.

What a table of two columns would draw. A list measures and draws every line of it before it is shown, and
tables are slow to measure: with a hundred lines they are what a person waits for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderResult
from rich.measure import Measurement
from rich.text import Text


@dataclass(frozen=True, slots=True)
class Hanging:
    """``sign`` in the first ``room`` columns, then ``text``, wrapped beside it."""

    sign: Text
    text: Text
    room: int = 3

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield it line by line, as wide as there is room."""
        before = self.sign.copy()
        before.truncate(self.room, pad=True)
        width = max(1, options.max_width - self.room)
        for line in self._lines(console, width):
            line.truncate(width, pad=True)
            yield from Text.assemble(before, line).render(console, end="\n")
            before = Text(" " * self.room)

    def _lines(self, console: Console, width: int) -> Iterable[Text]:
        for part in self.text.split("\n", allow_blank=True):
            # Most are short enough, and to find where they wrap takes longer than to draw them.
            yield from (part,) if part.cell_len <= width else part.wrap(console, width)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """Return that it takes all the width there is."""
        return Measurement(min(self.room + 1, options.max_width), options.max_width)
