"""Text from people, sheets and recognisers can change neither page nor terminal."""

from __future__ import annotations

import unicodedata
from dataclasses import replace

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicelog.reports.contents import ReportContents
from voicelog.reports.html import html_report
from voicelog.reports.plain import plain
from voicelog.reports.text import text_report
from voicelog.sheet.model import Caution, Sheet
from voicelog.walk.events import EntryWithdrawn, Event, Heard, RemarkLogged

from .making import HEAD, Making, contents_of, signed, started
from .reading_html import read
from .test_html import no_clip

ATTACKS = [
    "<script>alert(1)</script>",
    "</style><script>alert(1)</script>",
    "{{7*7}} {% for x in y %} ${7*7}",
    '" onmouseover="alert(1)" x=\'',
    "'><img src=x onerror=alert(1)>",
    "--><svg onload=alert(1)>",
    "&lt;b&gt; &amp;amp;",
    "\x1b[31mred\x1b]0;title\x07",
    "\x9b31m and \x00 \x08\x08\x08",
    "RLO \u202egnp.exe LRI \u2066x\u2069 mark \u200f",
    "two\nlines\r\nSIGNATURES\u2028-----\u2029\x85end",
    "\ufeff\u200b\ufffe\U000e0041 hidden",
]


def _everywhere(sheet: Sheet, text: str) -> ReportContents:
    """Return the contents of a walk where ``text`` is in every place that is free text."""
    make = Making(sheet)
    bad_sheet = replace(sheet, gate=(Caution(text),), title=text, edition=text)
    heard = Heard(text=text, free_text=f"free {text}", how="keyboard")
    entry = make.entry("x", make.condition("coolant", "dry")).model_copy(update={"heard": heard})
    claim = make.condition("fan_belt", "chafed")
    doubt = make.doubt(text, (text, claim, 0.5))
    doubted = make.entry("x", claim, doubts=(doubt,)).model_copy(update={"heard": heard})
    facts = dict.fromkeys(
        ("unit_name", "station", "identification", "sheet_title", "operator", "recogniser", "version"), text
    )
    events: list[Event] = [
        started(sheet, **facts),
        entry,
        doubted,
        RemarkLogged(remark_id="r1", point_id=None, heard=heard),
        EntryWithdrawn(entry_id="e1", by=text, reason=text),
        signed(HEAD).model_copy(update={"by": text, "reason": text}),
    ]
    return contents_of(bad_sheet, events, problems=(text,))


@pytest.mark.parametrize("attack", ATTACKS)
def test_page_keeps_its_form(sheet: Sheet, attack: str) -> None:
    """The page has the same elements and attributes with hostile text as with harmless text."""
    hostile = html_report(_everywhere(sheet, attack), no_clip)
    harmless = read(html_report(_everywhere(sheet, "harmless"), no_clip))
    page = read(hostile)
    assert page.faults == []
    assert [(e.tag, list(e.attributes)) for e in page.elements] == [
        (e.tag, list(e.attributes)) for e in harmless.elements
    ]
    html5lib.HTMLParser(strict=True).parse(hostile)


@pytest.mark.parametrize("attack", ATTACKS)
def test_page_shows_the_text_as_it_is(sheet: Sheet, attack: str) -> None:
    """Hostile text is shown, not run: what a reader sees is what was written, made plain."""
    page = read(html_report(_everywhere(sheet, attack), no_clip))
    assert " ".join(page.all("body")[0].text.split()).count(plain(attack)) >= 10
    assert plain(attack) in page.all("title")[0].text


@pytest.mark.parametrize("attack", ATTACKS)
def test_text_form_cannot_move_the_cursor(sheet: Sheet, attack: str) -> None:
    """The text form holds line feeds and visible characters, and nothing else."""
    text = text_report(_everywhere(sheet, attack))
    hidden = {c for c in text if unicodedata.category(c)[0] == "C" or c in "\u2028\u2029"}
    assert hidden == {"\n"}


def test_text_cannot_forge_a_section(sheet: Sheet) -> None:
    """A name with line breaks in it stays on its line."""
    forged = "R. Alder\n\nSIGNATURES\n----------\nConfirmed by M. Ruiz, officer"
    text = text_report(contents_of(sheet, [started(sheet, operator=forged)]))
    assert text.splitlines().count("SIGNATURES") == 1


@given(st.text())
def test_plain_is_one_visible_line(text: str) -> None:
    """Whatever the text, what comes out is one line, and made plain again stays the same."""
    shown = plain(text)
    assert len(shown.splitlines()) <= 1
    assert all(unicodedata.category(c)[0] != "C" or c in "\u200c\u200d" for c in shown)
    assert plain(shown) == shown


@pytest.mark.parametrize("name", ["Zoë Müller-O'Brien", "李小龙", "עידו כהן", "می‌خواهم", "½ in ≥ 12 °C"])
def test_names_of_all_scripts_are_kept(name: str) -> None:
    """Letters of any script, also those joined by invisible joiners, are left as they are."""
    assert plain(name) == name
