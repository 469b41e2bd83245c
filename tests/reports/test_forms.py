"""The forms for archives and for other programs: PDF, CSV and JSON."""

from __future__ import annotations

import csv
import dataclasses
import io
import itertools
import json
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.test_injection import ATTACKS
from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.reports.across_tables import COLUMNS as COLUMNS_ACROSS
from voicelog.reports.across_tables import csv_table
from voicelog.reports.html import html_report
from voicelog.reports.overview import DriftRow
from voicelog.reports.parts import DecisionPart
from voicelog.reports.pdf import pdf_report
from voicelog.reports.plain import plain
from voicelog.reports.tables import COLUMNS, FORMAT, csv_report, json_report, rows, safe_cell
from voicelog.reports.text import text_report
from voicelog.reports.write import walk_contents
from voicelog.sheet.model import Sheet
from voicelog.walk.state import fold

from .making import HEAD, START, WALK, contents_of, opened, signed, started, state_of
from .reading_html import read

Record = tuple[Store, dict[str, Clip]]


def words(text: str) -> list[str]:
    return re.findall(r"[A-Za-z0-9/.]+", text)


@pytest.fixture
def state(record: Record, sheet: Sheet):  # type: ignore[no-untyped-def]
    """Give the recorded walk as it now stands."""
    return fold(sheet, ((s.at, s.event) for s in record[0].events(WALK)))


def test_the_pdf_is_archival_and_can_be_read_as_text(record: Record, sheet: Sheet) -> None:
    """PDF/A-2a by its own statement (ISO 19005-2), fonts inside, and the text of every defect in it."""
    contents = walk_contents(record[0], WALK, sheet)
    made = pdf_report(contents, made=START)
    assert pdf_report(contents, made=START) == made
    pdf = pypdf.PdfReader(io.BytesIO(made))
    metadata = pdf.xmp_metadata
    assert metadata is not None
    about = metadata.stream.get_data().decode()
    assert re.search(r"pdfaid:part\W+2\b", about) and re.search(r"pdfaid:conformance\W+A\b", about)
    fonts = {font for page in pdf.pages for font in page["/Resources"]["/Font"].values()}  # type: ignore[index]
    for font in fonts:
        descendant = font.get_object()["/DescendantFonts"][0].get_object()
        assert "/FontFile2" in descendant["/FontDescriptor"].get_object()
        assert "/ToUnicode" in font.get_object()
    text = " ".join(words(" ".join(page.extract_text() for page in pdf.pages)))
    for defect in contents.defects:
        assert " ".join(words(f"{defect.entry.point}: {defect.entry.what}")) in text
    for question in (q.question for doubt in contents.doubts for q in doubt.questions):
        assert " ".join(words(question)) in text
    assert " ".join(words(contents.disclaimer)) in text


def elements(node: Any) -> Iterator[Any]:
    """Yield the elements of a PDF's structure, in the order they are read aloud."""
    node = node.get_object()
    if isinstance(node, list):
        for kid in node:
            yield from elements(kid)
    elif isinstance(node, dict):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from elements(node["/K"])


def test_the_pdf_can_be_read_aloud(record: Record, sheet: Sheet) -> None:
    """What ISO 14289-1 (PDF/UA-1, clauses from memory) asks of tags, title, headings, tables, pictures."""
    contents = walk_contents(record[0], WALK, sheet)
    pdf = pypdf.PdfReader(io.BytesIO(pdf_report(contents, made=START)))
    root: Any = pdf.trailer["/Root"]
    assert "pdfuaid:part" in root["/Metadata"].get_object().get_data().decode()  # clause 5
    assert root["/MarkInfo"]["/Marked"] and root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]  # clause 7.1
    assert pdf.metadata is not None and pdf.metadata.title == contents.title
    found = list(elements(root["/StructTreeRoot"]["/K"]))
    levels = [int(e["/S"][2:]) for e in found if re.fullmatch(r"/H\d", e["/S"])]
    assert levels[0] == 1 and all(below <= above + 1 for above, below in itertools.pairwise(levels))  # 7.4.2
    for table in (e for e in found if e["/S"] == "/Table"):
        heads = [e for e in elements(table) if e["/S"] == "/TH"]
        assert heads and all(e["/A"].get_object()[0]["/Scope"] == "/Column" for e in heads)  # 7.5
    pictures = [e for e in found if e["/S"] == "/Figure"]
    assert pictures and all(e["/Alt"] for e in pictures)  # 7.3
    assert len(pdf.outline) > 0


def test_letters_that_the_font_lacks_are_told_by_number(sheet: Sheet) -> None:
    """Nothing is lost and nothing stands for another: Hebrew and Arabic as they are, Han by its numbers."""
    names = "\u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627 \u6f22\u5b57"
    contents = contents_of(sheet, [started(sheet, operator=names)])
    pdf = pypdf.PdfReader(io.BytesIO(pdf_report(contents, made=START)))
    text = pdf.pages[0].extract_text()
    assert "[U+6F22][U+5B57]" in text
    assert set(names) - set("\u6f22\u5b57") <= set(text)


def test_a_long_word_is_broken_and_stays_whole_as_text(sheet: Sheet) -> None:
    """Nothing runs into the next column or off the page, and what is copied has no sign that was not said."""
    long = "x" * 300
    (signature,) = contents_of(sheet, [started(sheet), signed(HEAD)]).signatures
    contents = replace(
        contents_of(sheet, [started(sheet)]),
        decision=DecisionPart("open", "no decision yet", long),
        signatures=(replace(signature, name=long),),
    )
    pdf = pypdf.PdfReader(io.BytesIO(pdf_report(contents, made=START)))
    lines = pdf.pages[0].extract_text().splitlines()
    assert max(len(re.sub("[^x]", "", line)) for line in lines) < 120
    assert "".join(lines).count("x") >= 2 * len(long)
    assert not {c for line in lines for c in line if unicodedata.category(c)[0] == "C"}


def test_what_people_type_is_only_text_in_the_pdf(sheet: Sheet) -> None:
    """Markup of the program that lays out, links, scripts: it stands there as typed, and does nothing."""
    typst = '#image("/etc/passwd") #{1+1} $x^2$ `raw` *bold* _it_ @ref <label> // c /* \\u{41} = head - item'
    text = " ".join((typst, *ATTACKS.values()))
    pdf = pypdf.PdfReader(io.BytesIO(pdf_report(contents_of(sheet, [started(sheet, operator=text)]))))
    shown = "".join("".join(page.extract_text().split()) for page in pdf.pages)
    assert "".join(typst.split()) in shown and "".join(ATTACKS["HTML"].split()) in shown
    assert not any("/Annots" in page for page in pdf.pages)
    root: Any = pdf.trailer["/Root"]
    assert not {"/OpenAction", "/AA", "/AcroForm"} & set(root)
    assert "/JavaScript" not in root.get("/Names", {}) and "/EmbeddedFiles" not in root.get("/Names", {})


def test_every_form_says_everything(record: Record, sheet: Sheet) -> None:
    """Each text that a person, sheet or recogniser gave is in the page, the text form and the PDF."""
    store, _ = record
    contents = replace(
        walk_contents(store, WALK, sheet),
        signatures=tuple(
            replace(s, overridden=("class three leak: out of service",), override_reason="ferry to the shop")
            for s in walk_contents(store, WALK, sheet).signatures
        ),
    )
    pdf = pypdf.PdfReader(io.BytesIO(pdf_report(contents)))
    forms = {
        "html": read(html_report(contents, store.clip)).all("body")[0].text,
        "txt": text_report(contents),
        "pdf": " ".join(page.extract_text() for page in pdf.pages),
    }
    for form, text in forms.items():
        said = "".join(words(text)).lower()
        lost = [one for one in texts(replace(contents, missing=(), missing_at_end=())) if one not in said]
        assert lost == [], form


def texts(part: object) -> Iterator[str]:
    """Yield every text of a report that is meant to be read, as letters and digits alone."""
    if isinstance(part, str):
        yield "".join(words(part)).lower()
    elif isinstance(part, tuple):
        for item in part:
            yield from texts(item)
    elif dataclasses.is_dataclass(part):
        for name in (f.name for f in dataclasses.fields(part)):
            value = getattr(part, name)
            if name == "clip":
                yield from texts((value or "")[:12])
            elif name not in ("state", "side", "status", "bar", "kind", "series"):
                yield from texts(value)


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
    read = list(csv.DictReader(opened(csv_report(state, WALK))))
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


def test_csv_says_who_signed_what_and_when(state, sheet: Sheet) -> None:  # type: ignore[no-untyped-def]
    """21 CFR 11.50(b) (from memory): name, date and time and meaning are in any form that people read."""
    signed = {row["signed"] for row in csv.DictReader(opened(csv_report(state, WALK)))}
    (told,) = signed
    assert state.signatures or told == "not signed"
    for at, made in state.signatures:
        for element in (made.by, made.meaning, made.role, f"{at:%Y-%m-%d %H:%M:%S} UTC", made.decision):
            assert element in told or element == "none", told


def test_csv_opens_right_in_a_spreadsheet(sheet: Sheet) -> None:
    """UTF-8 is told by its mark (Unicode 23.8), lines end as RFC 4180 wants, a minus stays a number."""
    made = csv_table("drifting", [DriftRow(*["-0.25"] * len(COLUMNS_ACROSS["drifting"]))])
    assert made.encode().startswith(b"\xef\xbb\xbf")
    assert made.count("\r\n") == made.count("\n") == 2
    assert next(iter(csv.DictReader(opened(made))))["a_week"] == "-0.25"
    odd = 'two "words", and\na line'
    state = state_of(sheet, [started(sheet, operator=odd)])
    assert {row["by"] for row in csv.DictReader(opened(csv_report(state, WALK)))} == {plain(odd)}


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


def test_every_page_tells_of_which_walk_it_is(record: Record, sheet: Sheet) -> None:
    """A page that got lost finds its way home, in the PDF and on paper; no walk's id is a style."""
    contents = walk_contents(record[0], WALK, sheet)
    pdf = pypdf.PdfReader(io.BytesIO(pdf_report(contents, made=START)))
    assert len(pdf.pages) > 1 and all(WALK in page.extract_text() for page in pdf.pages)
    assert f'content: "{WALK}"' in html_report(contents, record[0].clip)
    hostile = html_report(replace(contents, walk='x"; } </style><script>'), record[0].clip)
    assert 'content: "xstylescript"' in hostile and "<script>" not in hostile
