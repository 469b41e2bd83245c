"""Claims that are typed: the phrases of the sheet, figures, and help when they are not understood."""

from __future__ import annotations

import pytest

from tests.walk.reviewing import read, said, sheet
from voicelog.errors import WalkError
from voicelog.walk.review import claims_from_words
from voicelog.walk.typed_claim import Phrases
from voicelog.walk.wording import show_claim

DRIPPING = said("lift_cylinder_left", "dripping")
BELT = read("fan_belt", "deflection", "1/2")


@pytest.fixture(scope="module")
def phrases() -> Phrases:
    """Return the engine bay's phrases, compiled once."""
    return Phrases(sheet())


@pytest.mark.parametrize(
    ("words", "about", "expected"),
    [
        ("left lift cylinder dry", DRIPPING, "left lift cylinder dry"),
        ("  Right LIFT cylinder\tdry ", DRIPPING, "right lift cylinder dry"),
        ("weeping", DRIPPING, "left lift cylinder weeping"),
        ("not tight", DRIPPING, "left lift cylinder loose"),
        ("right", DRIPPING, "right lift cylinder dripping"),
        ("radiator", DRIPPING, "radiator dripping"),
        ("3/4", BELT, "fan belt deflection 3/4 in"),
        ("3/4 in", BELT, "fan belt deflection 3/4 in"),
        ("0.75", BELT, "fan belt deflection 3/4 in"),
        ("1 1/8 inches", BELT, "fan belt deflection 1 1/8 in"),
        ("one half inch", BELT, "fan belt deflection 1/2 in"),
        ("front battery 12.6 V", BELT, "front battery voltage 12.6 V"),
        ("front battery 12.65 volts", BELT, "front battery voltage 12.65 V"),
        ("primary air tank 95 psi", None, "primary air tank pressure 95 psi"),
        ("fan belt frayed", None, "fan belt frayed"),
    ],
)
def test_typed_words_mean_what_the_same_words_mean_when_spoken(
    phrases: Phrases, words: str, about: object, expected: str
) -> None:
    """What is left out comes from the entry; figures and symbols are read exactly."""
    claims = phrases.claims(words, "engine_front", about)  # type: ignore[arg-type]
    assert [show_claim(c, sheet()) for c in claims] == [expected]


def test_words_that_fit_two_sides_give_both(phrases: Phrases) -> None:
    """Nobody picks a side for the person who left it out."""
    claims = phrases.claims("lift cylinder dripping", "battery_box")
    assert {c.point_id for c in claims} == {"lift_cylinder_left", "lift_cylinder_right"}


@pytest.mark.parametrize(
    ("words", "about", "remedy"),
    [
        ("lft lift cylindr drippin", None, "left lift cylinder dripping"),
        ("lift cylinder dripping and loose", DRIPPING, "type one thing only"),
        ("fan belt 12.6 psi", BELT, "fan belt"),
        ("12", BELT, "give a value from 0 in to 1 1/2 in, in steps of 1/8 in"),
        ("fan belt deflection", BELT, "fan belt deflection"),
        ("next stop", DRIPPING, "did you mean"),
        ("xyzzy", None, "name the point"),
        ("", DRIPPING, "did you mean"),
    ],
)
def test_words_that_are_no_fact_are_refused_with_a_help(
    phrases: Phrases, words: str, about: object, remedy: str
) -> None:
    """Nothing is guessed; near phrases are offered."""
    with pytest.raises(WalkError) as refused:
        phrases.claims(words, "left_front", about)  # type: ignore[arg-type]
    assert remedy in refused.value.remedy


def test_a_help_never_offers_a_pass_before_an_equal_defect_nor_a_value(phrases: Phrases) -> None:
    """Before anything is typed only what is not sound is offered, and readings stop before the value."""
    assert phrases.near("", BELT)[0] == "fan belt deflection"
    for offered in phrases.near("", DRIPPING):
        claim = phrases.claims(offered, "left_front")[0]
        assert claim.polarity == "defect"
    assert phrases.near("drip", DRIPPING)[0] == "left lift cylinder dripping"


def test_the_function_alone_does_the_same() -> None:
    """One line can be read without keeping anything."""
    assert claims_from_words(sheet(), "fan belt frayed", "engine_front") == (said("fan_belt", "frayed"),)
