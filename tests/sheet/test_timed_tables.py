"""Timed tests in a sheet: what is read, and every mistake by name."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest

from voicelog.sheet import check_sheet, load_sheet, load_unit

ROOT = Path(__file__).parents[2]

SHEET = """\
[sheet]
id = "air"
title = "Air"
edition = "1"
[[stop]]
id = "cab"
name = "cab"
cautions = ["Chock the wheels."]
[[stop.point]]
id = "system"
name = "air system"
[[stop.point.reading]]
id = "pressure"
name = "pressure"
unit = "psi"
range = [0, 150]
resolution = 1
{reading}
[[stop.point.timed]]
id = "loss"
name = "static loss"
{timed}
"""
LIMIT = 'limit = { max = 2, source = "a test", basis = "maker" }\n'


def problems(folder: Path, timed: str, reading: str = "") -> list[str]:
    path = folder / "air.toml"
    path.write_text(SHEET.format(timed=timed, reading=reading), encoding="utf-8")
    return [p.what for p in check_sheet(path, lexicon_path=ROOT / "grammars" / "lexicon.toml")]


def test_a_test_is_read_exactly(tmp_path: Path) -> None:
    """Its result has a unit of its own, and the clock is told at its planned time too."""
    timed = 'kind = "loss"\nreading = "pressure"\nplanned = 120\ntell = [60, 30]\n' + LIMIT
    assert problems(tmp_path, timed) == []
    sheet = load_sheet(tmp_path / "air.toml", lexicon_path=ROOT / "grammars" / "lexicon.toml")
    test = sheet.points["system"].timed_test("loss")
    assert (test.result.unit, test.tell) == ("psi/minute", (F(30), F(60), F(120)))
    assert test.result.limit is not None and test.result.limit.maximum == F(2)


@pytest.mark.parametrize(
    ("timed", "reading", "what"),
    [
        ('kind = "loss"', "", 'a test of kind "loss" needs the reading that is taken'),
        ('kind = "loss"\nreading = "presure"', "", '"air system" has no reading "presure"'),
        ('kind = "lost"\nreading = "pressure"', "", 'unknown kind "lost"'),
        ('kind = "loss"\nreading = "pressure"\nspan = [85, 100]', "", "a loss has no span"),
        ('kind = "build-up"\nreading = "pressure"', "", "a build-up needs the two values it is stated for"),
        ('kind = "build-up"\nreading = "pressure"\nspan = [100, 85]', "", "a build-up needs the two values"),
        ('kind = "build-up"\nreading = "pressure"\nspan = [85, 160]', "", "160 lies outside the range"),
        ('kind = "duration"\nreading = "pressure"', "", 'a test of kind "duration" has no reading'),
        ('kind = "duration"\nby_reading = true', "", "cannot be run by a reading"),
        ('kind = "duration"\ntell = [0]', "", '"tell" is 0, and a time must be above zero'),
        ('kind = "duration"\nlimit = { basis = "maker", source = "a test" }', "", "neither min nor max"),
        ('kind = "duration"\nlimit = { basis = "maker", min = 3 }', "", "the limit has no source"),
        ('kind = "loss"\nreading = "pressure"\nby_reading = true', LIMIT, "has a limit of its own"),
        ('kind = "duration"\nsay = ["stop"]', "", '"stop" is a control word'),
        ('kind = "duration"\n[[stop.point.timed]]\nid = "two"\nname = "static loss"\nkind = "duration"', "",
         'two timed tests are both called "static loss"'),
        ('kind = "duration"\n[[stop.point.timed]]\nid = "pressure"\nname = "hold"\nkind = "duration"', "",
         'the reading or timed test id "pressure" is used twice'),
    ],
)  # fmt: skip
def test_mistakes_in_a_timed_test(tmp_path: Path, timed: str, reading: str, what: str) -> None:
    """Each is named once."""
    found = problems(tmp_path, timed, reading)
    assert len(found) == 1 and what in found[0], found


def test_the_shipped_sheet_has_each_kind_with_a_limit_and_its_source() -> None:
    """Losses, a build-up and a duration; what has no published source says so."""
    unit = load_unit(ROOT / "samples" / "engine_61.toml")
    sheet = load_sheet(ROOT / "grammars" / "air_brakes.toml", unit=unit)
    tests = [test for point in sheet.points.values() for test in point.timed]
    assert sorted(t.kind for t in tests) == ["build-up", "duration", "loss", "loss"]
    for test in tests:
        limit = test.result.limit
        assert limit is not None
        assert ("no published source" in limit.source) == (limit.basis == "common practice")
    # The commercial driver's manual (AAMVA model, section 5.3, as reprinted): 85 to 100 psi in 45 s; 2 psi in
    # one minute released and 3 applied, for a single vehicle (California's text, as quoted in 2013).
    bounds = {t.name: (t.span, limit.maximum) for t in tests if (limit := t.result.limit) is not None}
    assert bounds["build up"] == ((F(85), F(100)), F(45))
    assert (bounds["static loss"][1], bounds["applied loss"][1]) == (F(2), F(3))
