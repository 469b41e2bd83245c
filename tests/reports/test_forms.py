"""The forms for archives and for other programs: PDF, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
import re
import unicodedata

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.reports.pdf import pdf_report
from voicelog.reports.tables import COLUMNS, FORMAT, csv_report, json_report, rows, safe_cell
from voicelog.reports.text import text_report
from voicelog.reports.write import walk_contents
from voicelog.sheet.model import Sheet
from voicelog.walk.state import fold

from .making import WALK

Record = tuple[Store, dict[str, Clip]]


def words(text: str) -> list[str]:
    return re.findall(r"[A-Za-z0-9/.]+", text)


@pytest.fixture
def state(record: Record, sheet: Sheet):  # type: ignore[no-untyped-def]
    """Give the recorded walk as it now stands."""
    return fold(sheet, ((s.at, s.event) for s in record[0].events(WALK)))


def test_the_pdf_is_archival_and_can_be_read_as_text(record: Record, sheet: Sheet) -> None:
    """PDF/A-2u by its own statement (ISO 19005-2), fonts inside, and the text of every defect in it."""
    contents = walk_contents(record[0], WALK, sheet)
    made = pdf_report(contents)
    pdf = pypdf.PdfReader(io.BytesIO(made))
    metadata = pdf.xmp_metadata
    assert metadata is not None
    about = metadata.stream.get_data().decode()
    assert re.search(r"pdfaid:part\W+2\b", about) and re.search(r"pdfaid:conformance\W+U\b", about)
    fonts = {font for page in pdf.pages for font in page["/Resources"]["/Font"].values()}  # type: ignore[index]
    for font in fonts:
        descendant = font.get_object()["/DescendantFonts"][0].get_object()
        assert "/FontFile2" in descendant["/FontDescriptor"].get_object()
    text = " ".join(words(" ".join(page.extract_text() for page in pdf.pages)))
    for defect in contents.defects:
        assert " ".join(words(f"{defect.entry.point}: {defect.entry.what}")) in text
    for question in (q.question for doubt in contents.doubts for q in doubt.questions):
        assert " ".join(words(question)) in text
    assert " ".join(words(contents.disclaimer)) in text


def test_the_pdf_is_on_the_paper_that_is_asked_for(record: Record, sheet: Sheet) -> None:
    """ANSI Letter is 8.5 by 11 in, ISO 216 A4 is 210 by 297 mm; a point is 1/72 in."""
    contents = walk_contents(record[0], WALK, sheet)
    sizes = [
        pypdf.PdfReader(io.BytesIO(pdf_report(contents, paper))).pages[0].mediabox[2:]
        for paper in ("Letter", "A4")
    ]
    assert [round(float(n)) for n in sizes[0]] == [612, 792]
    assert [round(float(n)) for n in sizes[1]] == [595, 842]


def test_csv_holds_every_entry_and_what_is_missing(state, sheet: Sheet) -> None:  # type: ignore[no-untyped-def]
    """Read back by a general reader: the documented columns, a row an entry, exact values."""
    read = list(csv.DictReader(io.StringIO(csv_report(state, WALK), newline="")))
    assert tuple(read[0]) == COLUMNS
    assert [row["entry"] for row in read if row["entry"]] == list(state.entries)
    standing = {e.entry_id: e for e in state.standing()}
    for row in read:
        if row["entry"] in standing and row["value"]:
            assert row["value"] == str(standing[row["entry"]].claim.value)
        # A doubt is never a pass, in no form.
        if row["status"] == "in doubt":
            assert not row["polarity"] and not row["judgement"]


def test_json_is_the_same_rows_and_the_whole_report(record: Record, sheet: Sheet, state) -> None:  # type: ignore[no-untyped-def]
    """What the text says of defects is what the JSON says."""
    contents = walk_contents(record[0], WALK, sheet)
    read = json.loads(json_report(state, WALK, contents))
    assert read["format"] == FORMAT
    assert len(read["rows"]) == len(rows(state, WALK))
    text = " ".join(words(text_report(contents)))
    for defect in read["report"]["defects"]:
        assert " ".join(words(f"{defect['entry']['point']}: {defect['entry']['what']}")) in text


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =cmd|' /C calc'!A0", "\u200e=1", "\uff1d1"]
)
def test_no_cell_is_a_formula(text: str) -> None:
    """The beginnings that OWASP's "CSV Injection" names, also behind white space and hidden signs."""
    assert safe_cell(text)[0] == "'"


@given(st.text())
def test_a_cell_never_begins_as_a_formula(text: str) -> None:
    """Whatever was heard or typed."""
    begins = safe_cell(text)[:1]
    assert unicodedata.normalize("NFKC", begins)[:1] not in tuple("=+-@\t\r")
