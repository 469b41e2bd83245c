"""The pages of an archival PDF (PDF/A-2u: fonts inside, every character can be copied as text).

fpdf2 lays out and writes the file; pictures are the same drawings as in HTML.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Literal

import matplotlib
from fpdf import FPDF, XPos, YPos
from fpdf.fonts import FontFace

from voicelog.reports.drawing import Picture
from voicelog.reports.reading_plot import KEY as PLOT_KEY
from voicelog.reports.reading_plot import Plot, plots
from voicelog.reports.series import Series
from voicelog.reports.write import Paper

MARGIN_MM = 16
_PLOT_MM = 140.0
_FAMILY = "DejaVu"
_STYLES = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf", "I": "DejaVuSans-Oblique.ttf"}
_HEADING = FontFace(emphasis="BOLD", fill_color=(228, 232, 236))


class Document(FPDF):
    """Pages with the report's title above and the page's number below."""

    def __init__(self, title: str, paper: Paper) -> None:
        super().__init__(format=paper, enforce_compliance="PDF/A-2U")
        self._title_above = title
        fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        for style, name in _STYLES.items():
            self.add_font(_FAMILY, style, fonts / name)
        self.set_margin(MARGIN_MM)
        self.set_auto_page_break(True, margin=MARGIN_MM + 4)
        self.set_title(title)
        self.set_lang("en")
        self.add_page()

    def header(self) -> None:
        """Repeat the title, small, on every page after the first."""
        if self.page_no() > 1:
            self.set_font(_FAMILY, "", 8)
            self.cell(0, 5, self._title_above, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
            self.ln(2)

    def footer(self) -> None:
        """Number the page, and say what the record is not."""
        self.set_y(-MARGIN_MM)
        self.set_font(_FAMILY, "", 8)
        self.cell(0, 5, "voicelog records and compares; it does not declare a vehicle safe.")
        self.cell(0, 5, f"Page {self.page_no()} of {{nb}}", align="R")

    # blocks ---------------------------------------------------------------------------------

    def title_line(self, text: str) -> None:
        """Write the title of the first page."""
        self.set_font(_FAMILY, "B", 15)
        self.multi_cell(0, 8, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def heading(self, text: str, room: float = 30.0) -> None:
        """Write a heading, on the next page where less than ``room`` mm would be left below it."""
        if self.get_y() + room > self.h - MARGIN_MM - 4:
            self.add_page()
        self.ln(4)
        self.set_font(_FAMILY, "B", 11)
        self.start_section(text)
        self.multi_cell(0, 6, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def text_line(self, text: str, *, style: Literal["", "B", "I"] = "", indent: float = 0.0) -> None:
        """Write one paragraph, ``indent`` mm in; nothing where there is no text."""
        if text:
            self.set_font(_FAMILY, style, 9)
            self.set_x(self.l_margin + indent)
            self.multi_cell(0, 4.6, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")

    def lines(self, texts: Iterable[str], *, nothing: str = "") -> None:
        """Write paragraphs; ``nothing`` where there is none."""
        none = True
        for text in texts:
            none = False
            self.text_line(text)
        if none:
            self.text_line(nothing)

    def rows(self, heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[int]) -> None:
        """Write a table; without heads its first column is in bold."""
        if not rows:
            return
        self.set_font(_FAMILY, "", 8)
        with self.table(
            col_widths=tuple(widths),
            headings_style=_HEADING,
            line_height=4.4,
            text_align="LEFT",
            padding=0.8,
            first_row_as_headings=bool(heads),
            borders_layout="HORIZONTAL_LINES",
        ) as table:
            for row in ([heads] if heads else []) + list(rows):
                table.row([str(cell) for cell in row])

    def picture(self, drawn: Picture, width_mm: float) -> None:
        """Place a picture, whole, on this page or the next."""
        height = width_mm * drawn.height / drawn.width
        if self.get_y() + height > self.h - MARGIN_MM - 4:
            self.add_page()
        self.image(io.BytesIO(drawn.drawing.encode()), w=width_mm, h=height, alt_text=drawn.alt)
        self.ln(1)

    def plot(self, plot: Plot, about: str) -> None:
        """Place a plot below its title and above what it says, all on one page."""
        height = _PLOT_MM * plot.picture.height / plot.picture.width
        if self.get_y() + height + 24 > self.h - MARGIN_MM - 4:
            self.add_page()
        self.text_line(f"{plot.series.title} ({about})" if about else plot.series.title, style="B")
        self.picture(plot.picture, _PLOT_MM)
        self.text_line(" ".join(text for text in (plot.series.words, plot.series.use_words) if text))
        self.ln(3)


def over_time(page: Document, series: Sequence[tuple[str, Series]]) -> None:
    """Write the plots of the readings that were taken more than once, each with what it is of."""
    drawn = [(about, plot) for about, one in series for plot in plots((one,))]
    page.heading("Readings over time", 100.0 if drawn else 30.0)
    page.text_line(PLOT_KEY if drawn else "No reading was taken more than once.")
    for about, plot in drawn:
        page.plot(plot, about)
