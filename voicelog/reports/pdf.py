"""A report as an archival PDF (PDF/A-2u: fonts inside, every character can be copied as text).

The same parts in the same order as the HTML page, without the sound: a clip is named by the first
digits of its SHA-256, as it is named in the record. fpdf2 lays out and writes the file.
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
from voicelog.reports.drawn_walk import KEY as DRAWN_KEY
from voicelog.reports.drawn_walk import drawn_walk, noted
from voicelog.reports.parts import ChangePart, EntryPart, ReportContents, Said
from voicelog.reports.reading_plot import KEY as PLOT_KEY
from voicelog.reports.reading_plot import Plot, plots
from voicelog.reports.series import Series
from voicelog.reports.write import Paper

_MARGIN_MM = 16
_PLOT_MM = 140.0
_FAMILY = "DejaVu"
_STYLES = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf", "I": "DejaVuSans-Oblique.ttf"}
_HEADING = FontFace(emphasis="BOLD", fill_color=(228, 232, 236))
_SHOWN = 12
"""Hex digits that a hash is shortened to."""


class _Document(FPDF):
    """Pages with the report's title above and the page's number below."""

    def __init__(self, title: str, paper: Paper) -> None:
        super().__init__(format=paper, enforce_compliance="PDF/A-2U")
        self._title_above = title
        fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        for style, name in _STYLES.items():
            self.add_font(_FAMILY, style, fonts / name)
        self.set_margin(_MARGIN_MM)
        self.set_auto_page_break(True, margin=_MARGIN_MM + 4)
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
        self.set_y(-_MARGIN_MM)
        self.set_font(_FAMILY, "", 8)
        self.cell(0, 5, "voicelog records and compares; it does not declare a vehicle safe.")
        self.cell(0, 5, f"Page {self.page_no()} of {{nb}}", align="R")

    # blocks ---------------------------------------------------------------------------------

    def title_line(self, text: str) -> None:
        self.set_font(_FAMILY, "B", 15)
        self.multi_cell(0, 8, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def heading(self, text: str, room: float = 30.0) -> None:
        """Write a heading, on the next page where less than ``room`` mm would be left below it."""
        if self.get_y() + room > self.h - _MARGIN_MM - 4:
            self.add_page()
        self.ln(4)
        self.set_font(_FAMILY, "B", 11)
        self.start_section(text)
        self.multi_cell(0, 6, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def text_line(self, text: str, *, style: Literal["", "B", "I"] = "", indent: float = 0.0) -> None:
        if text:
            self.set_font(_FAMILY, style, 9)
            self.set_x(self.l_margin + indent)
            self.multi_cell(0, 4.6, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")

    def lines(self, texts: Iterable[str], *, nothing: str = "") -> None:
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
        if self.get_y() + height > self.h - _MARGIN_MM - 4:
            self.add_page()
        self.image(io.BytesIO(drawn.drawing.encode()), w=width_mm, h=height, alt_text=drawn.alt)
        self.ln(1)

    def plot(self, plot: Plot) -> None:
        """Place a plot below its title and above what it says, all on one page."""
        height = _PLOT_MM * plot.picture.height / plot.picture.width
        if self.get_y() + height + 24 > self.h - _MARGIN_MM - 4:
            self.add_page()
        self.text_line(plot.series.title, style="B")
        self.picture(plot.picture, _PLOT_MM)
        self.text_line(" ".join(text for text in (plot.series.words, plot.series.use_words) if text))
        self.ln(3)


def pdf_report(contents: ReportContents, paper: Paper = "Letter") -> bytes:
    """Return the report as PDF. The same contents give the same pages; the file tells when it was made."""
    page = _Document(contents.title, paper)
    _head(page, contents)
    _drawn(page, contents)
    _found(page, contents)
    _readings(page, contents)
    over_time(page, contents.series)
    _points(page, contents)
    _changes(page, "Doubts settled", contents.settled)
    _changes(page, "Corrections and withdrawals", contents.changes)
    page.heading("Remarks")
    said = ("; ".join(_said(part) for part in r.said) for r in contents.remarks)
    lines = (f"{r.about} ({r.label}): {s}" for r, s in zip(contents.remarks, said, strict=True))
    page.lines(lines, nothing="None.")
    page.heading("Heard and not logged")
    page.lines((f"{r.reason}: {_said(r.said)}" for r in contents.refused), nothing="None.")
    page.heading("Integrity of the record")
    whole = contents.integrity
    page.text_line(whole.verdict, style="B")
    page.lines((*whole.problems, *whole.notes))
    page.text_line(f"{whole.events} events; last event's hash {whole.head}")
    return bytes(page.output())


def _head(page: _Document, contents: ReportContents) -> None:
    page.title_line(contents.title)
    page.rows((), [(fact.name, fact.value) for fact in contents.facts], (22, 78))
    page.text_line(contents.times)
    for warning in contents.warnings:
        page.text_line(f"Warning: {warning}", style="B")
    page.heading("Completeness")
    page.text_line(contents.completeness, style="" if contents.complete else "B")
    page.lines(contents.missing)
    if contents.missing_at_end:
        page.text_line("When the inspection was ended, these were missing:")
        page.lines(contents.missing_at_end)
    page.rows((), [(str(count.number), count.name) for count in contents.counts], (10, 90))
    page.heading("Signatures")
    page.rows(
        ("Name, role", "Meaning", "Decision", "When", "Reason"),
        [
            (
                f"{s.name}, {s.role}",
                f"{s.meaning} {s.name}; for all up to event hash {s.over}",
                s.decision,
                f"{s.date} {s.time} {s.zone}",
                s.reason,
            )
            for s in contents.signatures
        ],
        (20, 28, 16, 18, 18),
    )
    if not contents.signatures:
        page.text_line("Not signed.", style="B")
    page.text_line(contents.unsigned)
    page.heading("What this record is")
    page.text_line(contents.disclaimer)
    page.lines(contents.cautions)


def _drawn(page: _Document, contents: ReportContents) -> None:
    drawn = drawn_walk(contents.stops)
    if drawn is None:
        return
    page.heading("The walk, drawn", 14 + page.epw * drawn.height / drawn.width)
    page.picture(drawn, page.epw)
    page.text_line(DRAWN_KEY)
    rows = [
        (str(point.number), f"{point.name} ({stop})", point.words) for point, stop in noted(contents.stops)
    ]
    page.rows(("No.", "Point", "State"), rows, (8, 42, 50))


def over_time(page: _Document, series: Sequence[Series]) -> None:
    """Write the plots of the readings that were taken more than once."""
    drawn = plots(series)
    page.heading("Readings over time", 100.0 if drawn else 30.0)
    page.text_line(PLOT_KEY if drawn else "No reading was taken more than once.")
    for plot in drawn:
        page.plot(plot)


def _found(page: _Document, contents: ReportContents) -> None:
    page.heading("Defects")
    for number, defect in enumerate(contents.defects, 1):
        entry = defect.entry
        page.text_line(f"{number}. {entry.point}: {entry.what} (at {defect.stop})", style="B")
        page.text_line(f"{defect.class_name}. {defect.class_meaning}", indent=5)
        page.text_line(defect.class_source and f"Source: {defect.class_source}", indent=5)
        page.text_line(_said(entry.said), indent=5)
        for line in entry.history:
            page.text_line(line, indent=5)
    if not contents.defects:
        page.text_line("No defect stands.")
    page.heading("In doubt")
    for number, doubt in enumerate(contents.doubts, 1):
        page.text_line(f"{number}. {doubt.points}", style="B")
        for asked in doubt.questions:
            page.text_line(f"{asked.question} ({asked.reason})", indent=5)
            for candidate in asked.candidates:
                page.text_line(f"{candidate.said} ({candidate.chance})", indent=10)
        page.text_line(_said(doubt.said), indent=5)
    if not contents.doubts:
        page.text_line("No doubt is open.")


def _readings(page: _Document, contents: ReportContents) -> None:
    page.heading("Readings")
    rows = [
        (
            f"{r.point}: {r.name}",
            f"{r.value or 'not given'}{f' ({r.si})' if r.si else ''}",
            r.judgement.upper() if r.outside else r.judgement,
            r.limit,
            f"{r.source} ({r.basis})" if r.source else r.basis,
        )
        for r in contents.readings
    ]
    page.rows(("Reading", "Value", "Judgement", "Limit", "Source"), rows, (26, 18, 16, 16, 24))
    if not rows:
        page.text_line("None.")


def _points(page: _Document, contents: ReportContents) -> None:
    for stop in contents.stops:
        page.heading(stop.name)
        rows = [
            (
                str(point.number),
                point.name,
                point.words,
                "; ".join(_entry(e) for e in point.entries) or "nothing was said",
            )
            for point in stop.points
        ]
        page.rows(("No.", "Point", "State", "What was said"), rows, (7, 24, 22, 47))


def _changes(page: _Document, title: str, changes: Sequence[ChangePart]) -> None:
    page.heading(title)
    rows = [
        (f"{change.kind} {change.at} by {change.by}", change.before, change.after, change.why)
        for change in changes
    ]
    page.rows(("What", "Before", "After", "Why"), rows, (22, 28, 28, 22))
    if not rows:
        page.text_line("None.")


def _entry(entry: EntryPart) -> str:
    return f"{entry.what} ({entry.words}; {_said(entry.said)})"


def _said(said: Said) -> str:
    words = f'"{said.words}"' if said.words else "no phrase of the sheet"
    sound = f", sound {said.clip[:_SHOWN]}" if said.clip else ", no sound"
    return f"{said.how} {said.at}: {words}{sound}"
