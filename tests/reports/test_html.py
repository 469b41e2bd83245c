"""The HTML form: whole, valid, self-contained, and readable by everyone."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re

import html5lib
import pytest

from voicelog.errors import RecordError
from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.reports.html import html_report
from voicelog.reports.text import text_report
from voicelog.reports.write import walk_contents
from voicelog.sheet.model import Sheet
from voicelog.walk.events import (
    DoubtSettled,
    EntryLogged,
    EntryWithdrawn,
    NotUnderstood,
    RemarkLogged,
)

from .making import WALK, contents_of, started, walk
from .reading_html import Page, read

Record = tuple[Store, dict[str, Clip]]


@pytest.fixture
def html(record: Record, sheet: Sheet) -> str:
    """Give the page of the recorded walk."""
    store, _ = record
    return html_report(walk_contents(store, WALK, sheet), store.clip)


@pytest.fixture
def page(html: str) -> Page:
    """Give the parsed page of the recorded walk."""
    return read(html)


def no_clip(sha256: str) -> bytes:
    """Stand for a store without sound."""
    raise RecordError("The sound clip is missing.", where=sha256)


def test_every_tag_is_closed(page: Page) -> None:
    """Start and end tags pair up."""
    assert page.faults == []


@pytest.mark.parametrize("empty", [False, True])
def test_valid_html5(html: str, sheet: Sheet, empty: bool) -> None:
    """An independent parser (html5lib, strict) finds no error, in a full page and in an empty one."""
    document = html_report(contents_of(sheet, [started(sheet)]), no_clip) if empty else html
    html5lib.HTMLParser(strict=True).parse(document)


def test_sections_in_order(page: Page) -> None:
    """Defects come before the points, and all sections stand in the order of the text form."""
    assert [element.attributes["id"] for element in page.all("h2")] == [
        "decision", "completeness", "signatures", "about", "cautions", "drawn", "defects", "doubts",
        "settled", "readings", "over-time", "points", "changes", "remarks", "refused", "integrity",
    ]  # fmt: skip


def test_both_forms_have_the_same_headings(record: Record, sheet: Sheet, page: Page) -> None:
    """Each heading of a section in HTML is one in the text, in the same order."""
    store, _ = record
    text = text_report(walk_contents(store, WALK, sheet))
    lines = text.splitlines()
    headings = [above for above, below in itertools.pairwise(lines) if below and set(below) == {"-"}]
    assert headings == [element.text.strip().upper() for element in page.all("h2")]


def test_all_entries_present(page: Page, sheet: Sheet) -> None:
    """Whatever was logged, remarked or refused can be read in the page's text."""
    (body,) = page.all("body")
    for event in walk(sheet):
        if isinstance(event, EntryLogged | RemarkLogged):
            assert event.heard.text in body.text
        elif isinstance(event, NotUnderstood):
            assert event.heard.free_text in body.text


def test_audio_is_the_sound_of_the_record(record: Record, page: Page, sheet: Sheet) -> None:
    """Each clip of the record is in the page once, and its bytes hash to the clip's name."""
    store, _ = record
    kinds = EntryLogged | DoubtSettled | EntryWithdrawn | RemarkLogged | NotUnderstood
    events = [stored.event for stored in store.events(WALK)]
    named = {e.heard.clip for e in events if isinstance(e, kinds) and e.heard is not None}
    sounds = [element.attributes["src"] for element in page.all("audio")]
    prefix = "data:audio/flac;base64,"
    assert all(sound.startswith(prefix) for sound in sounds)
    hashes = [
        hashlib.sha256(base64.b64decode(s.removeprefix(prefix), validate=True)).hexdigest() for s in sounds
    ]
    assert sorted(hashes) == sorted(named, key=str)


def test_audio_is_labelled_and_waits(page: Page) -> None:
    """Each player has its own name for screen readers, and plays nothing unasked."""
    labels = [element.attributes["aria-label"] for element in page.all("audio")]
    assert len(set(labels)) == len(labels)
    for element in page.all("audio"):
        assert element.attributes["preload"] == "none"
        assert "controls" in element.attributes and "autoplay" not in element.attributes


def test_missing_sound_is_said_in_words(sheet: Sheet) -> None:
    """A page without its sound is a page still, and says what is missing."""
    page = read(html_report(contents_of(sheet, walk(sheet)), no_clip))
    assert page.all("audio") == []
    assert page.all("body")[0].text.count("cannot be played: The sound clip is missing.") == 14
    assert page.faults == []


def test_needs_nothing_else(html: str, page: Page) -> None:
    """No script, no address outside the page: only data and places in it."""
    assert page.all("script", "link", "iframe", "object", "form", "base") == []
    for element in page.elements:
        for name, value in element.attributes.items():
            assert not name.startswith("on")
            if name in ("src", "href", "xlink:href", "action"):
                kind = {"audio": "audio/flac", "img": "image/svg+xml"}.get(element.tag)
                assert value.startswith(f"data:{kind};" if name == "src" else "#")
    (style,) = page.all("style")
    assert "@import" not in style.text and "url(" not in style.text
    assert not re.search(r"https?:", html)


def test_content_security_policy(page: Page) -> None:
    """The page itself forbids everything but its style, pictures and sound (W3C CSP level 3)."""
    (policy,) = (
        element.attributes["content"]
        for element in page.all("meta")
        if element.attributes.get("http-equiv") == "Content-Security-Policy"
    )
    directives = dict(part.split(maxsplit=1) for part in policy.split("; "))
    assert directives == {
        "default-src": "'none'",
        "media-src": "data:",
        "img-src": "data:",
        "style-src": "'unsafe-inline'",
        "base-uri": "'none'",
        "form-action": "'none'",
    }


def test_links_and_labels_lead_somewhere(page: Page) -> None:
    """Ids are unique, and every link and label names one."""
    ids = [e.attributes["id"] for e in page.elements if "id" in e.attributes]
    assert len(set(ids)) == len(ids)
    asked = [e.attributes["href"].removeprefix("#") for e in page.all("a")]
    asked += [e.attributes["aria-labelledby"] for e in page.elements if "aria-labelledby" in e.attributes]
    assert set(asked) <= set(ids)


def test_the_page_says_what_is_on_it(page: Page) -> None:
    """A link to every section, by its name, in its order."""
    links = [(e.attributes["href"].removeprefix("#"), e.text) for e in page.all("a")]
    heads = [(e.attributes["id"], e.text) for e in page.all("h2")]
    assert links[: len(heads)] == heads


def test_headings_skip_no_level(page: Page) -> None:
    """One first-level heading, and none further down than one below the heading before it."""
    levels = [int(element.tag[1]) for element in page.all("h1", "h2", "h3", "h4")]
    assert levels.count(1) == 1 and levels[0] == 1
    assert all(below <= above + 1 for above, below in itertools.pairwise(levels))


def test_language_and_tables(page: Page) -> None:
    """The language is given; every table has a caption, and every header cell its scope."""
    assert page.all("html")[0].attributes["lang"] == "en"
    assert len(page.all("table")) == len(page.all("caption")) >= 4
    assert all(e.attributes["scope"] in ("col", "row") for e in page.all("th"))
    for element in page.all("svg"):
        assert element.attributes.get("aria-hidden") == "true" or element.attributes["aria-label"]


@pytest.mark.parametrize("kind", ["defect", "doubt", "open", "sound"])
def test_states_are_told_by_word(page: Page, kind: str) -> None:
    """Each state that has a colour has words too."""
    states = [e for e in page.all("span") if e.attributes.get("class") == f"state {kind}"]
    assert states
    assert all(re.search(r"[a-z]{4}", element.text) for element in states)


def _luminance(colour: str) -> float:
    """Return the relative luminance by WCAG 2.2."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(
    ("ink", "paper"),
    [
        ("ink", "paper"),
        ("ink", "panel"),
        ("quiet", "paper"),
        ("quiet", "panel"),
        ("link", "paper"),
        ("defect-ink", "defect-paper"),
        ("doubt-ink", "doubt-paper"),
        ("open-ink", "open-paper"),
        ("sound-ink", "sound-paper"),
    ],
)
def test_contrast(page: Page, ink: str, paper: str) -> None:
    """Text stands out from what is behind it by 4.5 to 1 at least, by day and by night (WCAG 2.2, 1.4.3)."""
    by_day, by_night = re.findall(r":root \{(.*?)\}", page.all("style")[0].text, re.DOTALL)
    for block in (by_day, by_night):
        colours = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block))
        lighter, darker = sorted((_luminance(colours[ink]), _luminance(colours[paper])), reverse=True)
        assert (lighter + 0.05) / (darker + 0.05) >= 4.5


def test_same_record_same_page(record: Record, sheet: Sheet, html: str) -> None:
    """The same record gives the same bytes."""
    store, _ = record
    assert html_report(walk_contents(store, WALK, sheet), store.clip) == html
