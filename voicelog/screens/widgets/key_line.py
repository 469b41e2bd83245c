"""The keys of a screen at its bottom, each with its word; as many rows as the width needs."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text
from textual.app import RenderResult
from textual.geometry import Size
from textual.widget import Widget

from voicelog.screens.palette import QUIET, SKY_BLUE

GAP = 2
"""Columns between two keys."""

Key = tuple[str, str]
"""A key, and what it does in a word or two."""


def key_rows(keys: Sequence[Key], width: int) -> list[list[Key]]:
    """Return the keys in rows of at most ``width`` columns; a key and its word are never parted."""
    rows: list[list[Key]] = []
    left = 0
    for key, word in keys:
        needed = len(key) + 1 + len(word)
        if rows and needed + GAP <= left:
            rows[-1].append((key, word))
            left -= needed + GAP
        else:
            rows.append([(key, word)])
            left = width - needed
    return rows


class KeyLine(Widget):
    """The keys, as in the walk screen: the key in blue, its word beside it."""

    DEFAULT_CSS = "KeyLine { height: auto; }"

    def __init__(self, keys: Sequence[Key], *, id: str) -> None:
        """Take the keys in the order they are shown."""
        super().__init__(id=id)
        self._keys = tuple(keys)

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return how many rows the keys need."""
        return len(key_rows(self._keys, width))

    def render(self) -> RenderResult:
        """Draw the rows."""
        rows = key_rows(self._keys, self.size.width)
        return Text("\n").join(Text(" " * GAP).join(map(_drawn, row)) for row in rows)


def _drawn(key: Key) -> Text:
    return Text.assemble((key[0], f"bold {SKY_BLUE}"), (f" {key[1]}", QUIET))
