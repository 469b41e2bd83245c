"""The pages of an archival PDF: PDF/A-2a (ISO 19005-2) and PDF/UA-1 (ISO 14289-1).

Typst lays out and writes the file: fonts inside, every character can be copied as text, and headings,
lists, tables and pictures are tagged as such, for who has it read aloud. Pictures are those of the page.
A character that the font lacks is written by its number: ``[U+6F22]``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from voicelog.reports.drawing import Picture
from voicelog.reports.marks import MARKS
from voicelog.reports.reading_plot import KEY as PLOT_KEY
from voicelog.reports.reading_plot import Plot, plots
from voicelog.reports.series import Series
from voicelog.reports.write import Paper
from voicelog.walk.state import PointStatus

EPW_MM = 178.0
"""Width between the margins, on the narrower paper (A4)."""
_PLOT_MM = 140.0
_CELL_LETTER_MM = 1.8
"""Width of a letter in a table, as a rule."""
_PAPERS: dict[Paper, str] = {"Letter": "us-letter", "A4": "a4"}
_FONTS = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")

Cell = str | dict[str, object] | Sequence["Cell"]
"""Words, a state, or several of them, each on its own line."""


def state_cell(kind: PointStatus, words: str) -> Cell:
    """Return a state with its mark; all but what is sound is in bold."""
    return {"mark": MARKS[kind], "words": words, "strong": kind != "sound"}


class Document:
    """What stands on the pages, in order."""

    def __init__(self, title: str, paper: Paper, running: str) -> None:
        """``running`` stands beside the title above every page but the first: a lost page finds home."""
        self._title = title
        self._running = running
        self._paper = paper
        self._blocks: list[dict[str, Any]] = []
        self._pictures: dict[str, bytes] = {}
        self.heading(title, level=1)

    def heading(self, text: str, level: int = 2) -> None:
        """Write a heading; it stays with what follows, and is in the outline."""
        self._put("heading", words=text, level=level)

    def text_line(self, text: str, *, bold: bool = False, quiet: bool = False, stays: bool = False) -> None:
        """Write one paragraph, that ``stays`` with what follows; nothing where there is no text."""
        if text:
            self._put("para", words=text, bold=bold, quiet=quiet, stays=stays)

    def lines(self, texts: Iterable[str], *, nothing: str = "") -> None:
        """Write a list; ``nothing`` where there is none."""
        found = [text for text in texts if text]
        if found:
            self._put("list", texts=found)
        else:
            self.text_line(nothing)

    def facts(self, pairs: Iterable[tuple[str, str]]) -> None:
        """Write names and their values."""
        found = [(name, value) for name, value in pairs if value]
        if found:
            self._put("facts", pairs=found)

    def rows(self, heads: Sequence[str], rows: Sequence[Sequence[Cell]], widths: Sequence[int]) -> None:
        """Write a table whose heads stand on each of its pages; ``widths`` in hundredths."""
        if rows:
            # Less what stands between the columns.
            longest = [max(4, int((width / 100 * EPW_MM - 2.6) / _CELL_LETTER_MM)) for width in widths]
            self._put("table", heads=heads, rows=rows, widths=widths, longest=longest)

    def picture(self, drawn: Picture, width_mm: float) -> None:
        """Place a picture, whole, on this page or the next."""
        self._put("picture", **self._placed(drawn, width_mm))

    def plot(self, plot: Plot, about: str) -> None:
        """Place a plot below its title and above what it says, all on one page."""
        title = f"{plot.series.title} ({about})" if about else plot.series.title
        words = " ".join(text for text in (plot.series.words, plot.series.use_words) if text)
        self._put("plot", title=title, words=words, **self._placed(plot.picture, _PLOT_MM))

    def output(self, made: datetime) -> bytes:
        """Return the file, which tells that it was ``made`` then; the same then gives the same bytes."""
        import typst

        running = f"{self._title}; {self._running}"
        data = {
            "title": self._title,
            "running": running,
            "paper": _PAPERS[self._paper],
            "blocks": self._blocks,
        }
        whole: Any = {
            "main.typ": files("voicelog.reports").joinpath("page.typ").read_bytes(),
            "data.json": json.dumps(_in_font(data)).encode(),
            **self._pictures,
        }
        pdf = typst.compile(
            whole,
            format="pdf",
            font_paths=[str(_font_folder())],
            ignore_system_fonts=True,
            pdf_standards=["a-2a", "ua-1"],
            timestamp=int(made.timestamp()),
        )
        if not isinstance(pdf, bytes):
            raise TypeError("one PDF was asked for")
        return pdf

    def _put(self, kind: str, **values: object) -> None:
        self._blocks.append({"kind": kind, **values})

    def _placed(self, drawn: Picture, width_mm: float) -> dict[str, object]:
        name = f"{len(self._pictures) + 1}.svg"
        self._pictures[name] = drawn.drawing.encode()
        return {"file": name, "alt": drawn.alt, "width": width_mm}


def over_time(page: Document, series: Sequence[tuple[str, Series]]) -> None:
    """Write the plots of the readings that were taken more than once, each with what it is of."""
    titles = [about for about, one in series if len(one.values) > 1]
    drawn = list(zip(titles, plots(one for _, one in series), strict=True))
    page.heading("Readings over time")
    page.text_line(
        PLOT_KEY if drawn else "No reading was taken more than once.", quiet=bool(drawn), stays=bool(drawn)
    )
    for about, plot in drawn:
        page.plot(plot, about)


# letters -----------------------------------------------------------------------------------------


def _font_folder() -> Path:
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


@cache
def _letters() -> frozenset[int]:
    """Return the characters that both weights of the font have."""
    from matplotlib.ft2font import FT2Font

    maps = [set(FT2Font(str(_font_folder() / name)).get_charmap()) for name in _FONTS]
    return frozenset(set.intersection(*maps))


def _in_font(part: Any) -> Any:
    """Return data with every character in it that the font lacks written by its number."""
    if isinstance(part, str):
        if part.isascii():
            return part
        return "".join(c if ord(c) in _letters() else f"[U+{ord(c):04X}]" for c in part)
    if isinstance(part, dict):
        return {key: _in_font(value) for key, value in part.items()}
    if isinstance(part, list | tuple):
        return [_in_font(item) for item in part]
    return part
