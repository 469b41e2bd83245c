"""The plain text form."""

from __future__ import annotations

from voicelog.reports.text import WIDTH, text_report
from voicelog.sheet.model import Sheet

from .making import HEAD, HERE, contents_of, signed, started, walk

GOLDEN = HERE / "report.txt"


def test_golden(sheet: Sheet) -> None:
    """The whole report, byte by byte; a change of the file is a decision to be read in review."""
    contents = contents_of(sheet, [*walk(sheet), signed(HEAD)])
    assert text_report(contents) == GOLDEN.read_bytes().decode("utf-8")


def test_78_columns(sheet: Sheet) -> None:
    """No line is wider than a terminal or a mail takes, even with long words in it."""
    long = started(sheet, operator="X" * 300, station="word " * 60)
    text = text_report(contents_of(sheet, [long, *walk(sheet)[1:]]))
    assert max(map(len, text.splitlines())) <= WIDTH == 78
    assert "X" * 50 in text


def test_an_empty_walk_says_so_in_each_section(sheet: Sheet) -> None:
    """A section without content says in words that there is none."""
    text = text_report(contents_of(sheet, [started(sheet)]))
    for words in (
        "Not signed.",
        "No defect stands.",
        "No doubt is open.",
        "No doubt was settled.",
        "Nothing was changed.",
        "No remark was made.",
        "Nothing heard was refused.",
    ):
        assert words in text
