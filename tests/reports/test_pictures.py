"""The pictures: plots of readings and the drawn walk."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from xml.etree import ElementTree

import numpy as np
import pypdf
import pytest
from scipy import stats

from voicelog.records.clips import Clip
from voicelog.records.readings import PastReading
from voicelog.records.store import Store
from voicelog.reports.drawn_walk import NAMES, boxes, drawn_walk, noted
from voicelog.reports.html import html_report
from voicelog.reports.parts import PointPart, StopPart
from voicelog.reports.pdf import pdf_report
from voicelog.reports.reading_plot import _dates, _figures, reading_plot, reading_plots
from voicelog.reports.series import Series, figure, series_of
from voicelog.reports.write import walk_contents
from voicelog.sheet.model import Sheet, Side

from .making import WALK, contents_of
from .making import walk as a_walk
from .reading_html import read

Record = tuple[Store, dict[str, Clip]]
START = datetime(2026, 3, 1, 7, tzinfo=timezone(timedelta(hours=-5)))
SVG = "{http://www.w3.org/2000/svg}"
VALUES = ["0.40", "0.44", "0.41", "0.50", "0.47", "0.55", "0.53", "0.60", "0.58", "0.66"]


def weekly(values: list[str], limit: Fraction = Fraction(1)) -> list[PastReading]:
    return [
        PastReading(
            f"w{n}",
            START + timedelta(weeks=n),
            "slack_adjuster_left",
            "travel",
            Fraction(value),
            "inch",
            "above" if Fraction(value) > limit else "within",
        )
        for n, value in enumerate(values)
    ]


def series(sheet: Sheet, values: list[str], repaired: datetime | None = None) -> Series:
    by_point = {("u", sheet.id, "slack_adjuster_left"): repaired} if repaired else {}
    (found,) = series_of(sheet, "u", weekly(values), by_point)
    return found


@pytest.fixture
def drifting(sheet: Sheet) -> Series:
    return series(sheet, VALUES)


def test_the_words_tell_what_scipy_finds(drifting: Series) -> None:
    """Slope and crossing by SciPy from the same numbers, to the day; the limit is the sheet's."""
    days = [7.0 * n for n in range(len(VALUES))]
    values = [float(v) for v in VALUES]
    robust = stats.theilslopes(values, days)
    least = stats.linregress(days, values)
    assert drifting.limit is not None and drifting.limit.maximum is not None
    bound = float(drifting.limit.maximum)
    crossing = START + timedelta(days=(bound - least.intercept) / least.slope)
    other = START + timedelta(days=(bound - robust.intercept) / robust.slope)
    assert f"Rises by {figure(7 * robust.slope)} in a week." in drifting.words
    assert f"about {crossing:%Y-%m-%d} ({other:%Y-%m-%d} by the median of slopes)" in drifting.words


def test_what_is_drawn_is_the_fit(drifting: Series) -> None:
    """The dashed line and the dots lie, by the picture's own axes, where SciPy has them."""
    picture = reading_plot(drifting)
    root = ElementTree.fromstring(picture.svg.replace("\n", " "))
    paths = [e.attrib for e in root.iter(f"{SVG}path") if "stroke-dasharray: 5" in e.attrib.get("style", "")]
    (dashed,) = (p for p in paths if "#1b2430" in p["style"])
    line = np.array(
        [[float(n) for n in pair] for pair in re.findall(r"[ML] ([-\d.]+) ([-\d.]+)", dashed["d"])]
    )
    dots = np.array(
        [(float(e.attrib["x"]), float(e.attrib["y"])) for e in root.iter(f"{SVG}use") if _is_dot(e.attrib)]
    )
    assert len(dots) == len(VALUES)
    values = [float(v) for v in VALUES]
    # From the picture's points back to inches, by the dots whose values are known.
    scale = stats.linregress(dots[:, 1], values)
    assert scale.rvalue**2 > 0.999999
    days = stats.linregress(dots[:, 0], [7.0 * n for n in range(len(VALUES))])
    drawn = (line[1] - line[0]) * (days.slope, scale.slope)
    assert drawn[1] / drawn[0] == pytest.approx(
        stats.theilslopes(values, [7.0 * n for n in range(10)]).slope, rel=1e-3
    )


def _is_dot(attributes: dict[str, str]) -> bool:
    """Return whether a mark is a reading: ticks have a stroke of their own width, the rest a white fill."""
    return "x" in attributes and attributes.get("style") == "fill: #1b2430; stroke: #1b2430"


def test_a_picture_stands_alone(drifting: Series) -> None:
    """Well-formed, named and told in words, no date in it, nothing fetched, the same bytes again."""
    picture = reading_plot(drifting)
    root = ElementTree.fromstring(picture.svg)
    assert root.attrib["role"] == "img"
    title, described = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None and title.text == "left slack adjuster, travel"
    assert described is not None and described.text == picture.alt and drifting.words in picture.alt
    assert "<dc:date>" not in picture.svg and "<script" not in picture.svg
    for element in root.iter():
        for name, value in element.attrib.items():
            assert not name.endswith("href") or value.startswith("#")
    assert reading_plot(drifting).svg == picture.svg


def test_drawn_together_or_alone(sheet: Sheet) -> None:
    """A picture is the same bytes whatever was drawn before it."""
    some = [series(sheet, VALUES[:count]) for count in (10, 3, 7)]
    alone = [reading_plot(one).svg for one in some]
    assert [picture.svg for picture in reading_plots(some[::-1])][::-1] == alone
    assert len(set(alone)) == len(alone)


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.3), (-12.5, 40.0), (99.0, 101.0), (0.0, 4000.0)])
def test_the_figures_of_an_axis_are_its_values(low: float, high: float) -> None:
    """Each is written in full, in order, inside the field, with at least three of them to read by."""
    found = _figures(low, high)
    assert len(found) >= 3 and all(low <= value <= high for value, _ in found)
    assert [float(shown.replace("\N{MINUS SIGN}", "-")) for _, shown in found] == pytest.approx(
        [value for value, _ in found]
    )


def test_the_dates_of_an_axis_are_those_of_the_walks_zone() -> None:
    """A tick of days is at midnight where the walk was made; what is left out of its name is told once."""
    zone = timezone(timedelta(hours=-5))
    begin, end = (datetime(2026, 3, day, tzinfo=zone).timestamp() / 86_400 for day in (2, 9))
    days, names, about = _dates(begin, end, zone)
    assert about == "2026-Mar"
    for day, name in zip(days, names, strict=True):
        at = datetime.fromtimestamp(round(day * 86_400), zone)
        assert (at.hour, at.minute) == (0, 0) and int(name) == at.day


def test_a_repair_begins_anew(sheet: Sheet) -> None:
    """What came before the repair of the point is shown and not fitted."""
    repaired = START + timedelta(weeks=5, days=1)
    found = series(sheet, VALUES, repaired)
    assert (len(found.values), found.fitted, found.repaired_at) == (10, 4, repaired)
    assert "4 readings since the repair of 2026-04-06" in found.words
    before = series(sheet, VALUES, START - timedelta(days=1))
    assert (before.fitted, before.repaired_at) == (10, None)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (["0.4"], "1 reading: too few to tell a drift."),
        (["0.4", "0.9"], "2 readings: too few"),
        (["0.5", "0.4", "0.5", "0.4", "0.5"], "No drift beyond chance."),
        (["0.9", "0.8", "0.7", "0.6", "0.5"], "Not toward its limit."),
        (["0.9", "1.1", "1.3", "1.5", "1.7"], "Beyond its limit already."),
    ],
)
def test_no_crossing_is_told_where_there_is_none(sheet: Sheet, values: list[str], words: str) -> None:
    """Too few readings, no drift, a drift away, or one past the limit: nothing is projected."""
    found = series(sheet, values)
    assert words in found.words and "If that goes on" not in found.words


# the drawn walk --------------------------------------------------------------------------------


def stop(name: str, side: Side, *states: str, first: int = 1) -> StopPart:
    points = tuple(
        PointPart(f"{name} {n}", state, state, (), first + n, by_group=False)  # type: ignore[arg-type]
        for n, state in enumerate(states)
    )
    return StopPart(name, (), points, side)


AROUND = (
    stop("tilt", "none", "sound"),
    stop("left front", "left", "defect", "sound", first=2),
    stop("left rear", "left", "doubt", first=4),
    stop("right rear", "right", "open", first=5),
    stop("right front", "right", "sound", first=6),
    stop("front", "none", "sound", first=7),
)


def test_sides_are_left_and_right_and_the_way_goes_round() -> None:
    """Left of the middle is left; the first stop of one side is level with the last of the other."""
    placed = {box.stop.name: box for box in boxes(AROUND)}
    assert placed["left front"].left < placed["tilt"].left < placed["right front"].left
    assert placed["left front"].top == placed["right front"].top < placed["left rear"].top
    assert placed["left rear"].bottom == pytest.approx(placed["right rear"].bottom)


@pytest.mark.parametrize("stops", [AROUND, AROUND[:3], (AROUND[1], AROUND[3], AROUND[1]), AROUND[:1]])
def test_no_two_stops_overlap(stops: tuple[StopPart, ...]) -> None:
    """Whatever the order of the sides, each stop has its own place, in walking order."""
    placed = boxes(stops)
    assert [box.place for box in placed] == list(range(1, len(stops) + 1))
    for n, one in enumerate(placed):
        for other in placed[n + 1 :]:
            beside = one.left + one.width <= other.left or other.left + other.width <= one.left
            assert beside or one.bottom <= other.top or other.bottom <= one.top


def test_states_differ_by_shape() -> None:
    """With all colour taken out, no two states are drawn by the same mark."""
    drawn = set()
    states = ("defect", "doubt", "open", "sound")
    pictures = [drawn_walk([stop("here", "none", state)]) for state in states]
    for picture in pictures:
        assert picture is not None
        body = picture.svg.split("</desc>")[1]
        # Of the mark and its number; the key below is the same in all.
        drawn.add(tuple(re.findall(r'<path id="m\w+" d="([^"]+)"', body))[:1] or body.count("<use"))
    assert len(drawn) >= 3
    assert len({picture.alt for picture in pictures if picture}) == len(states) < len(NAMES)


def test_the_picture_counts_what_the_report_says(sheet: Sheet) -> None:
    """Stop by stop, its words count the states of the points as the report has them."""
    contents = contents_of(sheet, a_walk(sheet))
    picture = drawn_walk(contents.stops)
    assert picture is not None
    for count in contents.counts:
        told = [int(n) for n in re.findall(rf"(\d+) {NAMES[count.state]}\b(?!,? by)", picture.alt)]
        assert sum(told) == count.number
    numbers = [point.number for part in contents.stops for point in part.points]
    assert numbers == list(range(1, len(sheet.points) + 1))
    assert {p.state for p, _ in noted(contents.stops)} <= {"defect", "doubt", "open"}


def test_names_are_escaped_in_pictures() -> None:
    """A hostile name of a stop is text in the picture, its words and the page."""
    name = '"><script>alert(1)</script>&$x^2$'
    picture = drawn_walk([stop(name, "none", "defect")])
    assert picture is not None
    root = ElementTree.fromstring(picture.svg)
    described = root.find(f"{SVG}desc")
    assert described is not None and described.text is not None and name in described.text
    assert "<script" not in picture.svg


def test_letters_that_the_font_lacks_are_no_noise(recwarn: pytest.WarningsRecorder) -> None:
    """A name in Korean stands in the words; nothing is said on standard error of its glyphs."""
    picture = drawn_walk([stop("\uc67c\ucabd \uc55e", "left", "sound")])
    assert picture is not None and "\uc67c\ucabd \uc55e" in picture.alt
    assert not [w for w in recwarn if "Glyph" in str(w.message)]


def test_the_users_own_settings_change_nothing(drifting: Series) -> None:
    """A matplotlib that was told to draw otherwise draws the same bytes."""
    import matplotlib

    with matplotlib.rc_context({"lines.linewidth": 9, "axes.grid": True, "font.size": 30}):
        assert reading_plot(drifting).svg == reading_plot(drifting).svg
        styled = reading_plot(drifting).svg
    assert reading_plot(drifting).svg == styled


def test_pictures_are_in_page_and_pdf(record: Record, sheet: Sheet) -> None:
    """A walk and an earlier one: each reading given twice has its plot, in HTML with its words as text."""
    store, _ = record
    contents = walk_contents(store, WALK, sheet)
    assert contents.series == ()
    contents = replace(contents, series=(series(sheet, VALUES),))
    page = read(html_report(contents, store.clip))
    (drawn, plot) = page.all("img")
    assert plot.attributes["alt"].startswith("Plot of 10 readings of left slack adjuster, travel")
    assert drawn.attributes["alt"].startswith("The walk in its order")
    pdf = pypdf.PdfReader(io.BytesIO(pdf_report(contents)))
    text = " ".join(" ".join(page.extract_text().split()) for page in pdf.pages)
    assert "one reading in forty may be beyond from" in text
    assert "Every stop in walking order" in text
