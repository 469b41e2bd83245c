"""The policy file: what it says, and every mistake in it by its line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.conftest import ROOT
from tests.walk.reviewing import sheet
from voicelog.errors import SheetError
from voicelog.sheet import load_sheet, load_unit
from voicelog.sheet.extent import EXTENTS, of_extent
from voicelog.sheet.policy import check_policy, load_policy

WHOLE = """\
[policy]
title = "Example"
edition = "1"

[[out_of_service]]
class = "hold"
why = "the class says so"

[[out_of_service]]
sheet = "engine_bay"
points = ["fan_belt"]
conditions = ["cracked"]
why = "a belt"

[signing]
override_by = ["M. Ruiz"]

[retention]
walks_months = 24
"""


def test_the_shipped_policy_is_usable() -> None:
    """It has no mistake, and every rule says why."""
    policy = load_policy(ROOT / "grammars" / "policy.toml", sheet())
    assert all(rule.why for rule in policy.rules)
    assert {rule.demand for rule in policy.rules} == {"out_of_service", "restrictions"}


def test_what_is_left_out_has_the_stricter_value(tmp_path: Path) -> None:
    """Nobody confirms their own walk, and doubts are overdue after a day, unless it says otherwise."""
    path = tmp_path / "policy.toml"
    path.write_text(WHOLE)
    policy = load_policy(path, sheet())
    assert (policy.own_walk, policy.doubt_hours, policy.override_by) == (False, 24, ("M. Ruiz",))
    assert (policy.walks_months, policy.repairs_months) == (24, 0)
    assert policy.rules[1].points == ("fan_belt",) and policy.rules[1].conditions == ("cracked",)


def test_how_often_a_check_is_due(tmp_path: Path) -> None:
    """The sheet's own interval, else that of all sheets, else what the extent's name says."""
    path = tmp_path / "policy.toml"
    path.write_text(
        WHOLE
        + '[[interval]]\nextent = "daily"\ndays = 7\n'
        + '[[interval]]\nextent = "daily"\ndays = 0\nsheet = "wheel_ends"\n'
    )
    policy = load_policy(path, sheet())
    assert [policy.every_days("engine_bay", extent) for extent in EXTENTS] == [7, 7, 31]
    assert policy.every_days("wheel_ends", "daily") == 0


def test_an_interval_told_twice_is_a_mistake(tmp_path: Path) -> None:
    """Of two intervals for the same checks one would be passed over unseen."""
    path = tmp_path / "policy.toml"
    path.write_text(WHOLE + '[[interval]]\nextent = "daily"\ndays = 7\n' * 2)
    (problem,) = check_policy(path, (sheet(),))
    assert "told twice" in problem.what and problem.line == WHOLE.count("\n") + 4


MISTAKES = [
    ('class = "hold"', 'class = "hald"', 6, 'unknown class "hald"', 'Did you mean "hold"?'),
    ('points = ["fan_belt"]', 'points = ["fan_bolt"]', 11, 'has no point "fan_bolt"', "fan_belt"),
    ('conditions = ["cracked"]', 'conditions = ["crakced"]', 12, "unknown condition", "cracked"),
    ('conditions = ["cracked"]', 'conditions = ["good"]', 12, '"good" is no defect', ""),
    ('sheet = "engine_bay"\n', "", 10, "names points and no sheet", 'sheet = "engine_bay"'),
    ('class = "hold"', "outside_limit = false", 5, "names nothing", ""),
    ('class = "hold"', 'class = "hold"\noutside_limit = true', 7, "fits nothing", "two rules"),
    ('class = "hold"', 'class = "leak_1"\nconditions = ["cracked"]', 7, "fits it nowhere", ""),
    ('why = "a belt"', 'why = " "', 13, "does not say why", ""),
    ('why = "a belt"\n', "", 9, '"why" is missing', ""),
    ('override_by = ["M. Ruiz"]', 'override_bye = ["M. Ruiz"]', 16, "unknown key", "override_by"),
    ('override_by = ["M. Ruiz"]', 'override_by = [""]', 16, "a name is empty", ""),
    ('override_by = ["M. Ruiz"]', 'own_walk = "no"', 16, "own_walk", "true or false"),
    ("walks_months = 24", "walks_months = -1", 19, "walks_months", ""),
    ('title = "Example"', 'title = ""', 2, "no title", ""),
    ('[policy]\ntitle = "Example"\nedition = "1"', "", 1, '"policy" is missing', ""),
    ('edition = "1"', "edition = 1", 3, "edition", "words in quotes"),
    ("[[out_of_service]]", "[[out_of_servis]]", 5, "unknown key", "out_of_service"),
]


@pytest.mark.parametrize(("old", "new", "line", "what", "remedy"), MISTAKES)
def test_each_mistake_is_told_by_its_line(
    tmp_path: Path, old: str, new: str, line: int, what: str, remedy: str
) -> None:
    """What is wrong, where, and what to write; and such a policy is not used."""
    path = tmp_path / "policy.toml"
    assert old in WHOLE
    path.write_text(WHOLE.replace(old, new))
    problems = check_policy(path, (sheet(),))
    assert any(p.line == line and what in p.what and remedy in p.remedy for p in problems), problems
    if "no point" not in what:
        with pytest.raises(SheetError):
            load_policy(path, sheet())


@pytest.mark.parametrize(
    ("months", "what"),
    [
        ("walks_months = 24\nsound_months = 23", ""),
        ("walks_months = 24\nsound_months = 24", "as long as the walk"),
        ("walks_months = 0\nsound_months = 12", ""),
        ("walks_months = 3", ""),
        ("walks_months = 2", "whatever is written here"),
        ("walks_months = 24\nsound_months = 1", "whatever is written here"),
    ],
)
def test_months_that_change_nothing_are_told(tmp_path: Path, months: str, what: str) -> None:
    """Sound kept longer than its walk, and less than three months: a warning, and the policy is used."""
    path = tmp_path / "policy.toml"
    path.write_text(WHOLE.replace("walks_months = 24", months))
    problems = check_policy(path, (sheet(),))
    assert [p.severity for p in problems] == (["warning"] if what else [])
    assert all(what in p.what for p in problems)
    assert load_policy(path, sheet()).sound_months in (0, 1, 12, 23, 24)


def test_a_point_that_this_unit_s_sheet_lacks_does_not_stop_its_review(tmp_path: Path) -> None:
    """It is passed over where the sheet lacks it, a warning where another has it, an error where none has.

    The sheet of wheel ends is written out for a unit's axles (invented units of two and of three).
    """
    two = load_unit(ROOT / "samples" / "engine_61.toml")
    ends = ROOT / "grammars" / "wheel_ends.toml"
    short = load_sheet(ends, unit=two)
    long = load_sheet(ends, unit=replace(two, axles=(*two.axles, two.axles[-1])))
    (only_long, *_) = [name for name in long.points if name not in short.points]
    path = tmp_path / "policy.toml"
    rule = WHOLE.replace("engine_bay", "wheel_ends").replace("fan_belt", only_long)
    path.write_text(rule.replace('conditions = ["cracked"]\n', ""))
    assert load_policy(path, short).rules[1].points == (only_long,)
    assert check_policy(path, (long,)) == ()
    (warning,) = check_policy(path, (short, long))
    assert warning.severity == "warning" and "for every unit" in warning.what
    (error,) = check_policy(path, (short,))
    assert error.severity == "error" and error.line == 11
    (unknown,) = check_policy(path, (sheet(),))
    assert unknown.severity == "warning" and 'is called "wheel_ends"' in unknown.what


def test_a_policy_that_takes_nothing_out_of_service_is_refused(tmp_path: Path) -> None:
    """It would let anything pass."""
    path = tmp_path / "policy.toml"
    path.write_text('[policy]\ntitle = "Example"\nedition = "1"\n')
    (problem,) = check_policy(path, (sheet(),))
    assert "no rule takes a unit out of service" in problem.what


def test_a_rule_may_name_a_point_that_a_daily_walk_leaves_out(tmp_path: Path) -> None:
    """It is known, and fits when a greater walk finds a defect there."""
    whole = sheet()
    for extent in EXTENTS:
        of_walk = of_extent(whole, extent)
        for name in whole.points:
            path = tmp_path / "policy.toml"
            path.write_text(WHOLE.replace("fan_belt", name).replace('conditions = ["cracked"]\n', ""))
            assert check_policy(path, (of_walk,)) == ()
