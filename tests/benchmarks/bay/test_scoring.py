from __future__ import annotations

from fractions import Fraction

import pytest

from tests.benchmarks.bay.said import Case, Fact, Logged, Row, Said
from tests.benchmarks.bay.scoring import refusal, score
from tests.benchmarks.bay.tables import interval
from voicelog.paths import shipped
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet

DRY = Fact(point_id="lift_cylinder_left", condition_id="dry", sound=True)
DRIPPING = Fact(point_id="lift_cylinder_left", condition_id="dripping", sound=False)
CRACKED = Fact(point_id="lift_cylinder_left", condition_id="cracked", sound=False)
RIGHT_DRY = Fact(point_id="lift_cylinder_right", condition_id="dry", sound=True)
ARM_TIGHT = Fact(point_id="pitman_arm", condition_id="tight", sound=True)
LINK_TIGHT = Fact(point_id="drag_link", condition_id="tight", sound=True)
HALF = Fact(point_id="fan_belt", reading_id="deflection", value=Fraction(1, 2), sound=True)
ONE_AND_A_HALF = Fact(point_id="fan_belt", reading_id="deflection", value=Fraction(3, 2), sound=False)


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    return load_sheet(shipped("grammars", "engine_bay.toml"))


def taken(fact: Fact) -> Logged:
    return Logged(fact=fact, posterior={"claim": 1.0})


def asked(*facts: Fact) -> Logged:
    return Logged(fact=facts[0], posterior={"claim": 0.5}, doubts=("condition",), candidates=facts)


def row(truth: tuple[Fact, ...], *logged: Logged, acts: tuple[str, ...] = ()) -> Row:
    said = Said(text="words", kind="condition", stop_id="left_front", facts=truth)
    return Row(case=Case(set="test", number=0, said=said), utterances=1, logged=logged, acts=acts)


@pytest.mark.parametrize(
    ("truth", "logged", "outcome", "slips", "passed", "crossed", "unspoken"),
    [
        ((DRY,), [taken(DRY)], "right", (), 0, 0, 0),
        ((DRY,), [], "refused", (), 0, 0, 0),
        ((DRY,), [asked(DRY, DRIPPING)], "asked", (), 0, 0, 0),
        # The unforgivable ones: another condition, half of what was said, another side.
        ((DRIPPING,), [taken(DRY)], "wrong", ("condition",), 1, 0, 0),
        ((DRY, CRACKED), [taken(DRY)], "wrong", ("lost",), 1, 0, 0),
        ((DRIPPING,), [taken(RIGHT_DRY)], "wrong", ("side", "condition"), 1, 0, 1),
        ((ONE_AND_A_HALF,), [taken(HALF)], "wrong", ("value",), 0, 1, 0),
        # A doubt is not a pass, nor is a defect beside it, nor the defect in a doubt of its own.
        ((DRIPPING,), [asked(DRY, DRIPPING)], "asked", (), 0, 0, 0),
        ((DRY, CRACKED), [taken(DRY), asked(CRACKED)], "asked", (), 0, 0, 0),
        ((DRY, CRACKED), [taken(DRIPPING)], "wrong", ("condition", "lost"), 0, 0, 0),
        # A pass that nobody spoke: of another point, or beside what was said.
        ((ARM_TIGHT,), [taken(LINK_TIGHT)], "wrong", ("point",), 0, 0, 1),
        ((ARM_TIGHT,), [taken(ARM_TIGHT), taken(LINK_TIGHT)], "wrong", ("extra",), 0, 0, 1),
        # False alarms and other slips pass nothing.
        ((DRY,), [taken(DRIPPING)], "wrong", ("condition",), 0, 0, 0),
        ((HALF,), [taken(ONE_AND_A_HALF)], "wrong", ("value",), 0, 0, 0),
        ((DRIPPING,), [taken(CRACKED)], "wrong", ("condition",), 0, 0, 0),
        # The order of entries does not matter.
        ((ARM_TIGHT, LINK_TIGHT), [taken(LINK_TIGHT), taken(ARM_TIGHT)], "right", (), 0, 0, 0),
    ],
)
def test_what_was_logged_is_compared_with_what_was_said(
    sheet: Sheet,
    truth: tuple[Fact, ...],
    logged: list[Logged],
    outcome: str,
    slips: tuple[str, ...],
    passed: int,
    crossed: int,
    unspoken: int,
) -> None:
    """Each kind of slip is counted as what it is; a passed defect is never overlooked."""
    scored = score(row(truth, *logged), sheet)
    assert (scored.outcome, scored.slips) == (outcome, slips)
    assert (len(scored.passed), len(scored.crossed), len(scored.unspoken)) == (passed, crossed, unspoken)


@pytest.mark.parametrize(
    ("logged", "acts", "expected"),
    [
        ([], (), "refused"),
        ([asked(DRY)], (), "asked"),
        ([], ("named fan_belt",), "named"),
        ([asked(DRY)], ("command disregard",), "acted"),
        ([taken(DRIPPING)], (), "taken as a defect"),
        ([taken(DRIPPING), taken(DRY)], (), "passed"),
        ([], ("doubt settled",), "passed"),
    ],
)
def test_what_must_make_no_entry_is_counted_by_the_worst_that_came_of_it(
    logged: list[Logged], acts: tuple[str, ...], expected: str
) -> None:
    """A sound entry is a pass; so is an open question that noise has answered."""
    assert refusal(row((), *logged, acts=acts)) == expected


def test_a_row_is_read_as_it_was_written() -> None:
    """Values are exact in the rows file."""
    written = row((ONE_AND_A_HALF,), asked(HALF, ONE_AND_A_HALF), acts=("named fan_belt",))
    assert Row.model_validate_json(written.model_dump_json()) == written


def test_the_interval_is_wilsons() -> None:
    """10 of 50 is 0.112 to 0.330 (computed by hand from E. B. Wilson's formula of 1927)."""
    z, n, p = 1.959964, 50, 0.2
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * (p * (1 - p) / n + z * z / (4 * n * n)) ** 0.5
    assert interval(10, 50) == pytest.approx((middle - half, middle + half), abs=1e-6)
    assert interval(10, 50) == pytest.approx((0.112, 0.330), abs=1e-3)
