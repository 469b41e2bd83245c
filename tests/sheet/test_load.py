"""Loading a sheet gives the values that were written, exactly."""

from __future__ import annotations

import hashlib
from dataclasses import FrozenInstanceError
from fractions import Fraction
from pathlib import Path

import pytest

from voicelog.errors import SheetError
from voicelog.sheet import check_sheet, load_lexicon, load_sheet, load_unit

from .making import LEXICON, SHEET, written


def test_quantities_are_exact(tmp_path: Path) -> None:
    """Fractions and decimals arrive as written: 0.1 is one tenth, not its binary neighbour."""
    text = SHEET.replace('range = [0, "1 1/2"]', "range = [-0.3, 2.7]").replace('"1/8"', "0.1")
    reading = load_sheet(written(tmp_path, text)).points["belt"].reading("deflection")
    assert (reading.low, reading.high) == (Fraction(-3, 10), Fraction(27, 10))
    assert reading.resolution == Fraction(1, 10)
    assert reading.limit is not None
    assert (reading.limit.minimum, reading.limit.maximum) == (None, Fraction(3, 4))
    assert reading.limit.basis == "common practice"


def test_name_comes_first_and_is_not_repeated(tmp_path: Path) -> None:
    """The first spoken form is the name, because it is the one read back."""
    text = SHEET.replace('say = ["cab lift cylinder"]', 'say = ["cab lift cylinder", "lift cylinder"]')
    sheet = load_sheet(written(tmp_path, text))
    assert sheet.points["cylinder"].say == ("lift cylinder", "cab lift cylinder")
    assert sheet.stops[0].say == ("left front", "left front corner")
    assert sheet.points["belt"].say == ("fan belt",)


def test_a_point_takes_its_stops_side_unless_it_has_its_own(tmp_path: Path) -> None:
    """The side a point is logged with is written once, at the stop, or at the point."""
    text = SHEET.replace('name = "fan belt"', 'name = "fan belt"\nside = "none"')
    points = load_sheet(written(tmp_path, text)).points
    assert {p.id: p.side for p in points.values()} == {"cylinder": "left", "belt": "none", "latch": "none"}
    assert points["cylinder"].full_name == "left lift cylinder"
    assert points["belt"].full_name == "fan belt"


def test_the_same_name_may_stand_on_both_sides_of_one_stop(tmp_path: Path) -> None:
    """Left and right of the same part differ by the side that is said with them."""
    text = SHEET + '[[stop.point]]\nid = "l"\nname = "hook"\nside = "left"\n'
    text += '[[stop.point]]\nid = "r"\nname = "hook"\nside = "right"\n'
    path = written(tmp_path, text)
    assert check_sheet(path) == ()
    assert load_sheet(path).points["r"].full_name == "right hook"


def test_the_same_name_at_two_stops_is_only_a_warning(tmp_path: Path) -> None:
    """Where the operator stands tells the two apart, but the author is told."""
    text = SHEET + '[[stop.point]]\nid = "belt_2"\nname = "fan belt"\nside = "left"\n'
    (problem,) = check_sheet(written(tmp_path, text))
    assert problem.severity == "warning"
    assert '"belt"' in problem.what


def test_every_point_can_be_called_good_or_bad(tmp_path: Path) -> None:
    """The general aspect is added once, also where it is written already."""
    text = SHEET.replace('name = "fan belt"\naspects = ["leak"]', 'name = "fan belt"\naspects = ["general"]')
    points = load_sheet(written(tmp_path, text)).points
    assert points["belt"].aspects == ("general",)
    assert points["latch"].aspects == ("leak", "general")


def test_required_is_the_default(tmp_path: Path) -> None:
    """A point is left out of the count only when its author says so."""
    text = SHEET.replace('name = "cab latch"', 'name = "cab latch"\nrequired = false')
    points = load_sheet(written(tmp_path, text)).points
    assert [points[key].required for key in ("cylinder", "belt", "latch")] == [True, True, False]
    assert points["belt"].readings[0].required


def test_the_hashes_are_of_the_files_bytes(tmp_path: Path) -> None:
    """A record names the exact edition it was made with; reference: hashlib over the bytes."""
    path = written(tmp_path)
    sheet = load_sheet(path)
    assert sheet.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert sheet.lexicon.sha256 == hashlib.sha256(LEXICON.encode()).hexdigest()
    assert sheet.path == str(path)


def test_another_lexicon_can_take_the_place_of_the_named_one(tmp_path: Path) -> None:
    """A department's own words can be tried without changing the sheet."""
    path = written(tmp_path)
    other = tmp_path / "other.toml"
    other.write_text(LEXICON.replace('say = ["dry"]', 'say = ["bone dry"]'))
    assert load_sheet(path, lexicon_path=other).lexicon.conditions["dry"].say == ("bone dry",)
    assert load_sheet(path).lexicon.conditions["dry"].say == ("dry",)
    with pytest.raises(SheetError, match="no such lexicon"):
        load_sheet(path, lexicon_path=tmp_path / "none.toml")


def test_a_condition_without_a_name_is_called_by_its_first_phrase(tmp_path: Path) -> None:
    """What is shown and what is read back agree unless the author says otherwise."""
    path = tmp_path / "lexicon.toml"
    path.write_text(LEXICON.replace('id = "leaking"', 'id = "leaking"\nname = "a leak"'))
    conditions = load_lexicon(path).conditions
    assert (conditions["dry"].name, conditions["leaking"].name) == ("dry", "a leak")


def test_a_file_saved_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    """Some Windows editors put the mark in front; it is no fault of the author."""
    path = written(tmp_path)
    path.write_bytes(b"\xef\xbb\xbf" + SHEET.encode())
    assert load_sheet(path).id == "bay"


def test_what_is_loaded_cannot_be_changed(tmp_path: Path) -> None:
    """A sheet stays what its hash says it is."""
    sheet = load_sheet(written(tmp_path))
    with pytest.raises(FrozenInstanceError):
        sheet.stops[0].points[0].name = "other"  # type: ignore[misc]


def test_a_unit_is_read(tmp_path: Path) -> None:
    """A unit file gives its identity and the sheets that apply."""
    path = tmp_path / "unit.toml"
    path.write_text('[unit]\nid = "e9"\nname = "Engine 9"\nstation = "One"\nsheets = ["bay", "pump"]\n')
    unit = load_unit(path)
    assert (unit.id, unit.name, unit.sheets, unit.identification) == ("e9", "Engine 9", ("bay", "pump"), "")
