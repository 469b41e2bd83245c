"""Every sheet in ``grammars/`` is whole, its limits have sources, and no defect sounds like a pass."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest

from voicelog.sheet import EXTENTS, Sheet, check_sheet, load_limits, load_sheet, load_unit, sheet_needs_unit
from voicelog.sheet.model import ComputedKind, TimedKind

ROOT = Path(__file__).parents[2]
OTHERS = ("lexicon.toml", "policy.toml")
SHEETS = sorted(path for path in (ROOT / "grammars").glob("*.toml") if path.name not in OTHERS)
UNIT = load_unit(ROOT / "samples" / "engine_61.toml")
EACH = pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)


def loaded(path: Path) -> Sheet:
    """Return a sheet, written out for the demonstration unit where it asks about one."""
    return load_sheet(path, unit=UNIT)


def without_side(said: tuple[str, ...], side: str) -> list[list[str]]:
    """Return phrases without the word of a point's own side, which a wheel end may be said with."""
    return [[word for word in phrase.split() if word != side] for phrase in said]


@EACH
def test_a_shipped_sheet_has_no_problem_and_no_warning(path: Path) -> None:
    """What is shipped passes the checks that others' files must pass."""
    assert check_sheet(path) == ()
    assert check_sheet(path, unit=UNIT) == ()


@EACH
def test_a_shipped_sheet_is_called_as_its_file(path: Path) -> None:
    """A unit names a sheet by its id, and the file is found by it."""
    assert loaded(path).id == path.stem


def test_the_sample_unit_names_every_sheet() -> None:
    """The demonstration unit can be inspected with all of them."""
    assert set(load_unit(ROOT / "samples" / "engine_61.toml").sheets) == {path.stem for path in SHEETS}


@EACH
def test_each_stop_says_what_can_hurt_there(path: Path) -> None:
    """A caution is a full sentence, and every stop has one."""
    for stop in loaded(path).stops:
        assert stop.cautions, stop.id
        for caution in stop.cautions:
            # A caution may be more than its text.
            assert str(getattr(caution, "text", caution)).endswith("."), stop.id


@EACH
def test_each_caution_but_the_first_is_asked_briefly_and_affirmed_in_its_own_words(path: Path) -> None:
    """The first bids to follow the maker's manual; of any other "affirmative" alone would not say what
    was seen to, and its whole sentence is too long to be asked again beside an engine."""
    sheet = loaded(path)
    first, *rest = sheet.gate
    assert "maker's manual" in first.text
    for caution in (*rest, *(caution for stop in sheet.stops for caution in stop.gate)):
        assert caution.say and caution.ask.endswith("?"), caution.text
        assert len(caution.ask.split()) <= 8, caution.ask


@EACH
def test_each_point_says_what_to_look_for(path: Path) -> None:
    """A new member of the crew can use the sheet without asking."""
    for point in loaded(path).points.values():
        assert point.look_for.endswith("."), point.id
        assert point.aspects or point.readings, point.id


@EACH
def test_parts_of_both_sides_are_looked_at_alike(path: Path) -> None:
    """A part on the left is looked at and measured as its twin on the right is."""
    sheet = loaded(path)
    told: dict[tuple[str, str], list[object]] = {}
    for point in sheet.points.values():
        if point.side != "none":
            said = without_side(point.say, point.side)
            what = (point.look_for, said, frozenset(point.aspects), point.readings, point.extent)
            told.setdefault((point.name, point.side), []).append(what)
    for (name, side), here in told.items():
        twin = told.get((name, "right" if side == "left" else "left"))
        assert twin is None or twin == here, name


@EACH
def test_every_limit_names_its_source(path: Path) -> None:
    """A published figure says how it is known; all else says that no document stands behind it."""
    for point in loaded(path).points.values():
        for reading in point.measured:
            if reading.limit is None:
                continue
            source = reading.limit.source
            if reading.limit.basis == "published":
                assert "from memory" in source or ", seen" in source, source
            elif reading.limit.basis == "common practice":
                assert source.startswith("common practice") and "no published source" in source, source


def test_no_sheet_has_a_published_figure_of_its_own() -> None:
    """Published figures stand once, in the tables, where every row is checked against its source."""
    for path in SHEETS:
        assert 'basis = "published"' not in path.read_text(encoding="utf-8"), path.name


def test_every_table_of_limits_judges_something() -> None:
    """Each published table is named by a sheet, so that none is there for show."""
    named = {
        name for path in SHEETS for name in re.findall(r'table = "([^"]+)"', path.read_text(encoding="utf-8"))
    }
    assert named == set(load_limits().tables)


def test_every_kind_of_computed_and_timed_value_is_in_some_sheet() -> None:
    """What can be computed is computed on the demonstration unit."""
    points = [point for path in SHEETS for point in loaded(path).points.values()]
    assert {c.kind for point in points for c in point.computed} == set(get_args(ComputedKind))
    assert {t.kind for point in points for t in point.timed} == set(get_args(TimedKind))


@EACH
def test_a_reading_can_be_said_well_past_its_limit(path: Path) -> None:
    """At least four steps lie past each bound, so that a bad value is sayable and not only just bad."""
    for point in loaded(path).points.values():
        for r in point.readings:
            if r.limit is None:
                continue
            where = (point.id, r.id)
            if r.limit.maximum is not None:
                assert r.high - r.limit.maximum >= 4 * r.resolution, where
            if r.limit.minimum is not None:
                assert r.limit.minimum - r.low >= 2 * r.resolution, where


@EACH
def test_a_defect_does_not_sound_like_a_pass(path: Path) -> None:
    """No conditions of opposite polarity and no opposite sides are below the threshold of confusion.

    References: CMUdict and panphon, through voicelog.sounds.
    """
    from voicelog.sounds.pairs import GRAVE, confusable, ear_for

    sheet = loaded(path)
    ear = ear_for(sheet)
    assert [pair for pair in confusable(sheet, ear) if pair.kind in (*GRAVE, "command", "point")] == []


@EACH
def test_no_name_holds_a_side_word(path: Path) -> None:
    """ "Left" and "right" in a point's or reading's name would be taken for the side of the point.

    In a further way to say it, the point's own side may stand: "axle two left pushrod".
    """
    for point in loaded(path).points.values():
        for phrase in (point.name, *(said for reading in point.readings for said in reading.say)):
            assert not {"left", "right"} & set(phrase.split()), phrase
        for phrase in point.say:
            assert {"left", "right"} & set(phrase.split()) <= {point.side}, phrase


@EACH
def test_a_shipped_sheet_has_points_for_each_extent(path: Path) -> None:
    """A daily walk has something to look at, and a longer one more."""
    assert {point.extent for point in loaded(path).points.values()} == set(EXTENTS)


def test_the_sheets_are_of_the_size_they_should_be() -> None:
    """At least 250 points and 60 readings in all, and points for each extent."""
    points = [point for path in SHEETS for point in loaded(path).points.values()]
    assert len(points) >= 250
    assert sum(len(point.readings) for point in points) >= 60
    assert {point.extent for point in points} == set(EXTENTS)


def test_every_aspect_is_used_by_some_point() -> None:
    """No part of the lexicon is out of reach of all sheets."""
    sheets: list[Sheet] = [loaded(path) for path in SHEETS]
    used = {aspect for sheet in sheets for point in sheet.points.values() for aspect in point.aspects}
    assert used == set(sheets[0].lexicon.aspects)


def test_the_readmes_table_counts_right() -> None:
    """Every sheet has its row, with the points and readings that it has for the demonstration unit."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(grammars/\w+\.toml)` \| (\d+) \| (\d+) \|", readme, flags=re.MULTILINE)
    assert {name for name, _, _ in rows} == {f"grammars/{path.name}" for path in SHEETS}
    for name, points, readings in rows:
        found = loaded(ROOT / name).points.values()
        assert (len(found), sum(len(point.readings) for point in found)) == (int(points), int(readings)), name


def test_the_guide_says_which_sheets_ask_nothing_of_the_unit() -> None:
    """Those can be walked with any unit's file; every sheet has its row."""
    guide = (ROOT / "grammars" / "README.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| `(\w+\.toml)` \| [^|]+ \| ([^|]+) \|$", guide, flags=re.MULTILINE))
    assert set(rows) == {path.name for path in SHEETS}
    for path in SHEETS:
        assert (rows[path.name] == "nothing") != sheet_needs_unit(path), path.name
