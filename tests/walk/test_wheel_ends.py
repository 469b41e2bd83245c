"""Wheel ends by voice: the unit's chambers judge, and a walk is read again with the unit as it was."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tests.conftest import ROOT
from voicelog.cli import main
from voicelog.loading import load_walk
from voicelog.meaning.understand import Context, understand
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.records.store import Store
from voicelog.sheet import Sheet, check_sheet, load_sheet, load_unit

SHEET = ROOT / "grammars" / "wheel_ends.toml"
UNIT = ROOT / "samples" / "engine_61.toml"


_SHEET = load_sheet(SHEET, unit=load_unit(UNIT))
AFFIRMED = "affirmative\n" * (len(_SHEET.gate) + len(_SHEET.stops[0].gate))
"""The cautions before the walk and at its first stop."""


@pytest.fixture(scope="module")
def wheel_ends() -> Sheet:
    return _SHEET


@pytest.fixture(scope="module")
def at_left(wheel_ends: Sheet) -> PhraseGraph:
    return compile_grammar(sheet_grammar(wheel_ends, "left_wheels"))


def test_the_sheet_has_no_problem_and_no_warning(wheel_ends: Sheet) -> None:
    """With the sample unit and without one."""
    assert check_sheet(SHEET) == ()
    assert check_sheet(SHEET, unit=load_unit(UNIT)) == ()
    assert {p.extent for p in wheel_ends.points.values()} == {"daily", "weekly", "monthly"}


@pytest.mark.parametrize(
    ("said", "point", "value"),
    [
        ("axle two left pushrod one and three quarters", "pushrod_axle_2_left", Fraction(7, 4)),
        ("left axle two pushrod one and three quarters", "pushrod_axle_2_left", Fraction(7, 4)),
        ("axle two push rod two and one eighth inches", "pushrod_axle_2_left", Fraction(17, 8)),
        ("axle one right pushrod stroke one and one half inches", "pushrod_axle_1_right", Fraction(3, 2)),
        ("axle two left outer tread four thirty seconds", "tread_axle_2_left_outer", Fraction(4, 32)),
        ("axle one left tire pressure one hundred twenty", "tire_pressure_axle_1_left", Fraction(120)),
    ],
)
def test_a_wheel_end_is_said_as_it_is_spoken_of(
    wheel_ends: Sheet, at_left: PhraseGraph, said: str, point: str, value: Fraction
) -> None:
    """By axle, side and position, in either order; without a side it is that of the stop."""
    meanings = understand(at_left.parse(tuple(said.split())), Context(wheel_ends, "left_wheels"))
    assert [(c.point_id, c.value) for m in meanings for c in m.claims] == [(point, value)]


@pytest.fixture
def walked(tmp_path: Path) -> Callable[..., Result]:
    """A copy of the unit that can be changed, and a function that makes a walk with it."""
    (tmp_path / "unit.toml").write_bytes(UNIT.read_bytes())

    def run(said: str) -> Result:
        command = [
            "--data", str(tmp_path / "data"),
            "walk", "--unit", str(tmp_path / "unit.toml"), "--sheet", str(SHEET),
            "--operator", "R. Alder", "--keyboard", "--plain", "--extent", "monthly",
        ]  # fmt: skip
        return CliRunner().invoke(main, command, input=AFFIRMED + said)

    return run


def test_each_wheel_end_is_judged_by_its_chamber(
    walked: Callable[..., Result], tmp_path: Path, clock: Callable[[], datetime]
) -> None:
    """1 7/8 in is past a type 24's 1 3/4 in and within a type 30's 2 in; equal to the limit is within."""
    walked(
        "axle one left pushrod one and seven eighths\naxle two left pushrod one and seven eighths\n"
        f"go to right wheels\n{AFFIRMED}axle one right pushrod one and three quarters\nwalk complete\n"
    )
    with Store.open(tmp_path / "data", clock=clock) as store:
        state, _ = load_walk(store, store.walks()[0].walk, None)
    judged = {e.claim.point_id: e.claim.judgement for e in state.standing()}
    assert judged == {
        "pushrod_axle_1_left": "above",
        "pushrod_axle_2_left": "within",
        "pushrod_axle_1_right": "within",
    }


def test_a_walk_is_read_with_the_unit_as_it_was(
    walked: Callable[..., Result], tmp_path: Path, clock: Callable[[], datetime]
) -> None:
    """A chamber that was changed since does not change what the walk was judged by."""
    walked("axle two left pushrod one and seven eighths\nwalk complete\n")
    unit = tmp_path / "unit.toml"
    unit.write_text(unit.read_text(encoding="utf-8").replace('"30"', '"16"'), encoding="utf-8")
    with Store.open(tmp_path / "data", clock=clock) as store:
        _, sheet = load_walk(store, store.walks()[0].walk, None)
        store.backup(tmp_path / "copy")
    limit = sheet.points["pushrod_axle_2_left"].reading("stroke").limit
    assert limit is not None and limit.maximum == 2
    with Store.open(tmp_path / "copy", clock=clock) as store:
        _, again = load_walk(store, store.walks()[0].walk, None)
    assert again.points == sheet.points


def test_an_unfinished_walk_is_not_taken_up_with_another_unit(
    walked: Callable[..., Result], tmp_path: Path
) -> None:
    """What was logged was judged by the unit as it was; the message says which file was changed."""
    walked("axle two left pushrod one and seven eighths\n")
    unit = tmp_path / "unit.toml"
    unit.write_text(unit.read_text(encoding="utf-8").replace('"30"', '"16"'), encoding="utf-8")
    again = walked("")
    assert again.exit_code == 2
    assert "another edition of the unit's file" in again.output and "--new" in again.output


def test_a_walk_is_reviewed_reported_and_signed_with_the_editions_kept(
    walked: Callable[..., Result], tmp_path: Path, clock: Callable[[], datetime]
) -> None:
    """Nothing but the data folder is needed, whatever became of the files."""
    walked("axle two left pushrod one and seven eighths\nwalk complete\n")
    (tmp_path / "unit.toml").unlink()
    data = ["--data", str(tmp_path / "data")]
    with Store.open(tmp_path / "data", clock=clock) as store:
        walk_id = store.walks()[0].walk
    for command in (
        ["review", walk_id, "--plain"],
        ["report", walk_id, "--out", str(tmp_path)],
        ["sign", walk_id, "--by", "R. Alder", "--role", "operator"],
    ):
        result = CliRunner().invoke(main, [*data, *command])
        assert result.exit_code == 0, result.output


def test_an_edition_that_was_altered_is_not_used(
    walked: Callable[..., Result], tmp_path: Path, clock: Callable[[], datetime]
) -> None:
    """The record is then not read with what somebody wrote into the folder."""
    walked("axle two left pushrod one and seven eighths\nwalk complete\n")
    for path in (tmp_path / "data" / "editions").glob("*.toml"):
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace('type = "30"', 'type = "16"'), encoding="utf-8")
    command = ["--data", str(tmp_path / "data"), "review", "--plain"]
    with Store.open(tmp_path / "data", clock=clock) as store:
        command.append(store.walks()[0].walk)
    result = CliRunner().invoke(main, command)
    assert result.exit_code == 2
    assert "the unit's file it was made with" in result.output
