"""A walk takes in the points of its extent and of every lesser one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.sheet.making import SHEET, written
from voicelog.errors import SheetError
from voicelog.sheet import Extent, check_sheet, load_sheet, of_extent

WITH_EXTENTS = SHEET.replace(
    'id = "belt"', 'id = "belt"\nextent = "weekly"'
).replace('id = "latch"', 'id = "latch"\nextent = "monthly"')  # fmt: skip


@pytest.mark.parametrize(
    ("extent", "points", "stops"),
    [
        ("daily", ["cylinder"], ["front"]),
        ("weekly", ["cylinder", "belt"], ["front"]),
        ("monthly", ["cylinder", "belt", "latch"], ["front", "rear"]),
    ],
)
def test_a_walk_has_the_points_of_its_extent(
    tmp_path: Path, extent: Extent, points: list[str], stops: list[str]
) -> None:
    """The lesser extents' points are in it, a stop without a point is not, and it says what it is."""
    sheet = of_extent(load_sheet(written(tmp_path, WITH_EXTENTS)), extent)
    assert list(sheet.points) == points
    assert [stop.id for stop in sheet.stops] == stops
    assert sheet.extent == extent


def test_a_point_without_an_extent_is_a_daily_one(tmp_path: Path) -> None:
    """Sheets written before extents existed are daily sheets, whole."""
    sheet = load_sheet(written(tmp_path))
    assert list(of_extent(sheet, "daily").points) == list(sheet.points)


def test_a_sheet_without_a_point_for_the_walk_says_which_walk_it_has(tmp_path: Path) -> None:
    """An empty walk is not begun; the least walk that has a point is named."""
    text = SHEET.replace("aspects =", 'extent = "weekly"\naspects =')
    with pytest.raises(SheetError, match="no daily point") as raised:
        of_extent(load_sheet(written(tmp_path, text)), "daily")
    assert "--extent weekly" in raised.value.remedy


def test_a_misspelt_extent_is_named_by_its_line(tmp_path: Path) -> None:
    """With the one that was meant."""
    text = WITH_EXTENTS.replace('"weekly"', '"weakly"')
    (problem,) = check_sheet(written(tmp_path, text))
    assert problem.line == text.splitlines().index('extent = "weakly"') + 1
    assert problem.what == 'unknown extent "weakly"'
    assert problem.remedy == 'Did you mean "weekly"?'
