"""Near phrases for a correction: a typed side is never offered as the other side."""

from __future__ import annotations

import random

import pytest

from tests.walk.reviewing import said, sheet
from voicelog.walk.typed_claim import Phrases


@pytest.fixture(scope="module")
def phrases() -> Phrases:
    """Give what can be typed of the engine bay."""
    return Phrases(sheet())


def mistyped(words: str, seed: int) -> str:
    """Return the words with one letter left out, put in, changed or swapped with the next."""
    chance = random.Random(seed)
    place = chance.randrange(len(words) - 1)
    head, letter, tail = words[:place], words[place], words[place + 1 :]
    other = chance.choice("abcdefghij")
    return chance.choice(
        (head + tail, f"{head}{other}{letter}{tail}", head + other + tail, head + tail[0] + letter + tail[1:])
    )


SIDES = [("left", "right"), ("right", "left")]


@pytest.mark.parametrize(("side", "other"), SIDES)
def test_a_typed_side_is_never_offered_as_the_other(phrases: Phrases, side: str, other: str) -> None:
    """Whatever entry is corrected, of either side, and whatever else is mistyped."""
    offered = 0
    for about in ("lift_cylinder_left", "lift_cylinder_right"):
        for condition in ("dry", "dripping", "weeping"):
            for seed in range(12):
                rest = mistyped(f"lift cylinder {condition}", seed)
                for typed in (f"{side} {rest}", f"{rest} {side}"):
                    near = phrases.near(typed, said(about, "dry"))
                    offered += bool(near)
                    assert not [phrase for phrase in near if other in phrase.split()], (typed, near)
    assert offered > 100


@pytest.mark.parametrize(
    ("typed", "side"),
    [
        ("rigt", "right"),
        ("righ", "right"),
        ("rihgt", "right"),
        ("lft", "left"),
        ("leftt", "left"),
        ("elft", "left"),
    ],
)
def test_a_mistyped_side_is_the_side_that_it_is_nearest_to(phrases: Phrases, typed: str, side: str) -> None:
    """Also where the entry to be corrected is of the other side."""
    other = "left" if side == "right" else "right"
    near = phrases.near(f"{typed} lift cylinder dripping", said(f"lift_cylinder_{other}", "dry"))
    assert near[0] == f"{side} lift cylinder dripping"
    assert not [phrase for phrase in near if other in phrase.split()]
