"""Words in letters that can be read from three metres, made of block characters.

Letters come from FIGlet fonts (pyfiglet). ``ansi_regular`` is 5 rows high and about 8 columns a
letter, ``pagga`` 3 rows and 4 columns: on a laptop's full screen of 80 by 24 that is about
45 mm and 25 mm. For comparison, signs are commonly read from 200 times their letters' height:
15 mm at three metres (common practice, no published source).
"""

from __future__ import annotations

import functools
import textwrap
from dataclasses import dataclass

from pyfiglet import Figlet

from voicelog.screens.outside_text import in_ascii


@dataclass(frozen=True, slots=True)
class Font:
    """A FIGlet font, and how many of its rows carry ink."""

    name: str
    rows: int
    leading: int
    """Empty rows between two lines."""


LARGE = Font("ansi_regular", 5, 1)
MIDDLE = Font("pagga", 3, 0)


# In three columns pagga draws M almost as H, N as a small n, and puts thin strokes in 0 and Q;
# ansi_regular draws 5 as S.
_REDRAWN: dict[str, dict[str, tuple[str, ...]]] = {
    LARGE.name: {
        "5": ("███████ ", "██      ", "██████  ", "     ██ ", "██████  ", "        ", "        "),
    },
    MIDDLE.name: {
        "M": ("░█▄░▄█", "░█░▀░█", "░▀░░░▀"),
        "N": ("░█▄░█", "░█░▀█", "░▀░░▀"),
        "W": ("░█░░░█", "░█░█░█", "░░▀░▀░"),
        "Q": ("░▄▀▄", "░█░█", "░░▀▄"),
        "0": ("░▄▀▄", "░█░█", "░░▀░"),
    },
}


@functools.cache
def _figlet(name: str) -> Figlet:
    figlet = Figlet(font=name, width=10_000)
    for letter, rows in _REDRAWN.get(name, {}).items():
        figlet.Font.chars[ord(letter)] = list(rows)
        figlet.Font.width[ord(letter)] = len(rows[0])
    return figlet


@functools.lru_cache(maxsize=256)
def _line(text: str, font: Font) -> tuple[str, ...]:
    """Return one line of text in a font, all rows equally wide."""
    drawn = _figlet(font.name).renderText(text).replace("░", " ").split("\n")
    rows = [row.rstrip() for row in drawn[: font.rows]]
    rows += [""] * (font.rows - len(rows))
    left = min((len(row) - len(row.lstrip()) for row in rows if row), default=0)
    width = max(len(row) for row in rows)
    return tuple(row[left:].ljust(width - left) for row in rows)


def draw(text: str, font: Font, width: int) -> tuple[str, ...] | None:
    """Return the words wrapped to ``width`` columns; None when a word alone is wider."""
    lines: list[str] = []
    for word in in_ascii(text).upper().split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and len(_line(longer, font)[0]) <= width:
            lines[-1] = longer
        elif len(_line(word, font)[0]) <= width:
            lines.append(word)
        else:
            return None
    rows: list[str] = []
    for number, line in enumerate(lines):
        rows.extend([""] * (font.leading if number else 0))
        rows.extend(_line(line, font))
    return tuple(rows)


def draw_largest(
    text: str, width: int, height: int, fonts: tuple[Font, ...] = (LARGE, MIDDLE)
) -> tuple[str, ...]:
    """Return the words in the largest of the fonts that fits; in plain capitals when none does.

    The words are always complete when ``height`` rows of plain text can hold them.
    """
    for font in fonts:
        drawn = draw(text, font, width)
        if drawn is not None and len(drawn) <= height:
            return drawn
    return tuple(textwrap.wrap(text.upper(), width)[:height])
