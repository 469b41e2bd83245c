"""What views show, without a screen: bars, cautions, big letters, colours."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicelog.screens import palette
from voicelog.screens.big_letters import LARGE, MIDDLE, Font, draw, draw_largest
from voicelog.screens.far_view import far_rows
from voicelog.screens.outside_text import in_ascii, visible
from voicelog.screens.reading_texts import doubts_text
from voicelog.screens.shown import Shown, after
from voicelog.screens.walk_facts import (
    Trouble,
    bar,
    most_urgent,
    next_point,
    point_facts,
    reading_facts,
    short_caution,
    stop_facts,
)
from voicelog.screens.widgets.side import side_text
from voicelog.screens.widgets.top import meter
from voicelog.walk.carried_events import CarriedDefect
from voicelog.walk.events import Event, WalkFinished
from voicelog.walk.replies import Reply, ReplyKind

from .making import condition, doubtful, last_update, reading, sheet, started, state_of, updates, walk_events


@pytest.mark.parametrize(
    ("point_id", "reading_id", "value", "expected", "verdict"),
    [
        ("fan_belt", "deflection", Fraction(3, 4), "within the limit, at most 3/4 in", "within"),
        ("fan_belt", "deflection", Fraction(7, 8), "above the limit, at most 3/4 in", "outside"),
        ("front_battery", "voltage", Fraction(123, 10), "below the limit, at least 12.45 V", "outside"),
        ("front_battery", "voltage", Fraction(126, 10), "within the limit, at least 12.45 V", "within"),
    ],
)
def test_a_reading_is_shown_against_its_limit(
    point_id: str, reading_id: str, value: Fraction, expected: str, verdict: str
) -> None:
    """The words and the bar agree on which side of the limit a value lies; equal is within."""
    point = sheet().points[point_id]
    facts = reading_facts(reading("1", point_id, reading_id, value).claim, point.reading(reading_id), sheet())
    assert facts.verdict == expected
    assert facts.outside == (verdict == "outside")


@given(steps=st.integers(0, 24), width=st.integers(6, 40))
def test_a_bar_never_puts_a_value_on_the_wrong_side(steps: int, width: int) -> None:
    """Whatever the rounding to cells: ink beyond the mark means above the limit, and only then."""
    value = Fraction(steps, 8)
    known = sheet().points["slack_adjuster_left"].reading("hand_travel")
    claim = reading("1", "slack_adjuster_left", "hand_travel", value).claim
    drawn = bar(reading_facts(claim, known, sheet()), width)
    assert len(drawn) == width
    assert known.limit is not None and known.limit.maximum is not None
    assert ("█" in drawn.split("|")[1]) == (value > known.limit.maximum)


@pytest.mark.parametrize("width", [40, 60, 78])
def test_every_caution_of_the_sheet_has_a_short_form(width: int) -> None:
    """A short caution fits, starts as the full one does, and says when words were left out."""
    for caution in (c for stop in sheet().stops for c in stop.cautions):
        short = short_caution(caution, width)
        assert len(short) <= width
        assert short == caution or (short.endswith(" ...") and caution.startswith(short[:-4]))


def test_a_defect_with_a_doubt_beside_it_shows_both() -> None:
    """The word is the worst of them, and the doubt is still in what was said."""
    events: list[Event] = [
        started(),
        reading("1", "slack_adjuster_left", "hand_travel", Fraction(2)),
        doubtful("2", ("slack_adjuster_left", "tight"), ("slack_adjuster_left", "loose")),
    ]
    facts = point_facts(state_of(events), "slack_adjuster_left")
    assert (facts.status, facts.said) == ("defect", "in doubt: tight or loose")
    assert [r.value for r in facts.readings] == ["2 in"]


def test_a_point_waits_for_its_required_reading() -> None:
    """Saying that a fluid is clear does not cover a point whose level must be read."""
    facts = point_facts(state_of([started(), condition("1", "steering_fluid", "clear")]), "steering_fluid")
    assert facts.status == "open"
    assert facts.said == "clear; still to read: below full"


def test_stops_count_what_is_covered() -> None:
    """The stops' counts add up to the walk's own count, and a doubt is not covered."""
    state = state_of(walk_events())
    stops = stop_facts(state)
    assert sum(stop.covered for stop in stops) == state.covered == 11
    assert [(s.covered, s.required) for s in stops if s.here] == [(6, 11)]


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        (("taken", "doubt"), "doubt"),
        (("answer", "caution", "caution"), "caution"),
        (("taken", "trouble", "doubt"), "trouble"),
        (("taken",), "taken"),
    ],
)
def test_the_most_urgent_reply_leads(kinds: tuple[ReplyKind, ...], expected: str) -> None:
    """From afar only one reply is seen: the one that needs the operator most."""
    reply = most_urgent(tuple(Reply(kind, kind) for kind in kinds))
    assert reply is not None and reply.kind == expected


def test_a_level_leaves_the_last_reply_standing() -> None:
    """An update without words or replies does not wipe what was said back."""
    spoken = last_update(walk_events())
    shown = after(after(None, spoken), last_update(walk_events()[:1]))
    assert shown.replies == spoken.replies
    assert shown.heard == spoken.heard


@pytest.mark.parametrize(
    ("level", "expected"),
    [(-100.0, 0), (-60.0, 0), (-30.0, 5), (0.0, 10), (6.0, 10)],
)
def test_the_meter_is_empty_at_60_below_and_full_at_0(level: float, expected: int) -> None:
    """The meter is linear in decibels and never leaves its cells."""
    assert meter(level).count("█") == expected
    assert len(meter(level)) == 10


# far view -----------------------------------------------------------------------------------


@pytest.mark.parametrize("font", [LARGE, MIDDLE])
def test_every_letter_has_its_own_shape(font: Font) -> None:
    """Letters and digits can be told apart, save O from 0 where the words around it tell."""
    shapes = {c: draw(c, font, 80) for c in "ABCDEFGHIJKLMNPQRSTUVWXYZ0123456789?/"}
    assert len(set(shapes.values())) == len(shapes)
    assert all(shape and len(shape) == font.rows for shape in shapes.values())


def _fits_from_afar(shown: Shown, width: int, height: int) -> list[str]:
    rows = [row.plain for row in far_rows(shown, width, height)]
    assert len(rows) <= height
    assert all(len(row.rstrip()) <= width for row in rows)
    return rows


@pytest.mark.parametrize(("width", "height"), [(80, 23), (100, 29), (140, 44)])
@pytest.mark.parametrize("kind", ["taken", "doubt", "not understood", "trouble"])
def test_the_far_view_shows_word_reply_and_next_point_huge(kind: ReplyKind, width: int, height: int) -> None:
    """The state, the reply and the next point are drawn in block letters at every size."""
    shown = after(None, last_update(walk_events(), Reply(kind, "fan belt frayed")))
    picture = "\n".join(_fits_from_afar(shown, width, height))
    for text in (kind, "fan", "frayed", "drag", "left"):
        forms = [draw(word, font, width) for font in (LARGE, MIDDLE) for word in text.split()]
        assert any(form and all(row.strip() in picture for row in form) for form in forms), text


@pytest.mark.parametrize(("width", "height"), [(80, 23), (100, 29), (140, 44)])
def test_the_far_view_holds_the_longest_question(width: int, height: int) -> None:
    """The longest names of the sheet in one question are still in block letters, all of it."""
    entry = doubtful("1", ("ac_compressor", "dripping"), ("power_takeoff", "dripping"))
    question = entry.doubts[0].question
    shown = after(None, updates([started(), entry])[-1])
    rows = _fits_from_afar(shown, width, height)
    huge = draw(question, MIDDLE, width - 1)
    large = draw(question, LARGE, width - 1)
    text = "\n".join(row[1:].rstrip() for row in rows)
    assert any("\n".join(r.rstrip() for r in form) in text for form in (huge, large) if form)


def test_what_has_no_room_in_huge_letters_is_still_complete() -> None:
    """A reply of many words is shown in plain capitals rather than cut."""
    said = "left front " * 20
    rows = draw_largest(said, 79, 12)
    assert " ".join(rows).split() == said.upper().split()


def test_trouble_is_seen_from_afar_with_its_place() -> None:
    """A device that went away takes over the far view."""
    shown = Shown(last_update(walk_events()), trouble=Trouble("no sound", "device 2"))
    text = "\n".join(_fits_from_afar(shown, 80, 23))
    form = draw("device 2: no sound", MIDDLE, 79)
    assert form and all(row.strip() in text for row in form)


def test_a_finished_walk_says_so_from_afar() -> None:
    """The last word is that the walk is finished, not the last reply's kind."""
    events = [*walk_events(), WalkFinished(missing=())]
    rows = _fits_from_afar(after(None, last_update(events, Reply("answer", "walk complete"))), 80, 23)
    form = draw("finished", MIDDLE, 40)
    assert form and all(any(part.strip() in row for row in rows) for part in form)


# text from outside --------------------------------------------------------------------------


@given(st.text())
def test_visible_text_is_one_line_without_controls(text: str) -> None:
    """Whatever comes in, what is shown has no character of Unicode's category C."""
    assert all(unicodedata.category(c)[0] != "C" for c in visible(text))


@given(st.text())
def test_ascii_text_is_ascii(text: str) -> None:
    """Whatever comes in, the fallback is ASCII."""
    assert in_ascii(text).isascii()


@pytest.mark.parametrize("text", ["left lift cylinder", "3/4 in", "[red]x[/red]", "Zoë", "50 % (about)"])
def test_ordinary_text_is_left_as_it_is(text: str) -> None:
    """Only what could command a terminal is taken out."""
    assert visible(text) == text


# colours ------------------------------------------------------------------------------------


def _luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_text_has_the_contrast_that_wcag_asks_for() -> None:
    """Every colour of text on the ground has 4.5 to 1 (W3C, WCAG 2.1, 1.4.3), and as a label too."""
    colours = {*palette.STATUS_COLOUR.values(), *palette.REPLY_COLOUR.values(), palette.QUIET, palette.TEXT}
    assert all(_contrast(colour, palette.GROUND) >= 4.5 for colour in colours)
    assert _contrast(palette.TEXT, palette.RAISED) >= 7


def test_the_hues_are_those_of_okabe_and_ito() -> None:
    """The colours are as published (Okabe and Ito, Color Universal Design, from memory)."""
    published = {
        (230, 159, 0),
        (86, 180, 233),
        (0, 158, 115),
        (240, 228, 66),
        (213, 94, 0),
        (204, 121, 167),
    }
    ours = (
        palette.ORANGE,
        palette.SKY_BLUE,
        palette.BLUISH_GREEN,
        palette.YELLOW,
        palette.VERMILLION,
        palette.REDDISH_PURPLE,
    )
    assert {tuple(int(c[i : i + 2], 16) for i in (1, 3, 5)) for c in ours} == published


def test_defects_from_before_are_told_beside_the_walks_own() -> None:
    """A panel that says "no defects" also says how many are known already; the full text names each."""
    known = CarriedDefect(
        defect_id="d1",
        point_id="tilt_pump",
        point="tilt pump",
        matter="leaks",
        what="dripping",
        class_name="class three leak",
        state="in the shop",
        stood="in the shop",
        since="2026-11-25",
    )
    update = last_update([started()])
    shown = after(None, replace(update, state=replace(update.state, carried=(known,))))
    for height in (4, 12, 40):
        panel = side_text(shown, 26, height).plain
        assert "NO DEFECTS\n1 from before: press d" in panel
        assert len(panel.splitlines()) <= height
    full = doubts_text(shown).plain
    assert "1 defect from before this walk" in full
    assert "2026-11-25  tilt pump dripping (class three leak): in the shop" in full
    assert "from before" not in side_text(after(None, update), 26, 12).plain
    # What has to be acknowledged comes before any point, also when the last thing said was not understood.
    assert next_point(shown.state) == (
        "acknowledged?",
        "tilt pump dripping, class three leak, since 2026-11-25: in the shop",
    )
