"""The small parts of the loader: lines of keys, quantities, spoken phrases."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicelog.sheet.lines import LineMap
from voicelog.sheet.quantities import parse_quantity, show
from voicelog.sheet.spoken import CONTROL_PHRASES, as_spoken, phrase_fault

TOML = """\
title = "a" # a comment
[head]
"quoted key" = 1
a.b.c = 2
[[stop]]
id = "one"
[[stop.point]] # a comment
id = "p"
say = [
  "first", # the name
  # nothing here
  "second",
]
limit = { max = "3/4", source = "x" }
[[stop.point.reading]]
id = "r"
[stop.point.more]
deep = { inner = [ { leaf = 1 } ] }
[[stop]]
id = "two"
[[stop.point]]
id = "q"
"""

# Counted by hand in the text above, the first line being 1.
LINES: list[tuple[tuple[str | int, ...], int]] = [
    (("title",), 1),
    (("head",), 2),
    (("head", "quoted key"), 3),
    (("head", "a", "b", "c"), 4),
    (("stop", 0), 5),
    (("stop", 0, "point", 0, "id"), 8),
    (("stop", 0, "point", 0, "say", 1), 12),
    (("stop", 0, "point", 0, "limit", "source"), 14),
    (("stop", 0, "point", 0, "reading", 0, "id"), 16),
    (("stop", 0, "point", 0, "more", "deep", "inner", 0, "leaf"), 18),
    (("stop", 1, "id"), 20),
    (("stop", 1, "point", 0, "id"), 22),
    (("stop", 1, "point", 0, "side"), 21),
    (("nowhere",), 1),
]


@pytest.mark.parametrize(("path", "line"), LINES)
def test_a_key_path_is_found_at_its_line(path: tuple[str | int, ...], line: int) -> None:
    """A key is on its own line; one that is not written is at what should have held it."""
    assert LineMap(TOML).line(path) == line


def test_every_value_of_the_standard_readers_tree_has_a_line() -> None:
    """The two readers agree on the key paths; reference: tomllib of the standard library."""
    lines = TOML.splitlines()
    found = LineMap(TOML)

    def leaves(value: object, path: tuple[str | int, ...]) -> list[tuple[str | int, ...]]:
        if isinstance(value, dict):
            return [leaf for key, inner in value.items() for leaf in leaves(inner, (*path, key))]
        if isinstance(value, list):
            return [leaf for i, inner in enumerate(value) for leaf in leaves(inner, (*path, i))]
        return [path]

    for path in leaves(tomllib.loads(TOML), ()):
        text = lines[found.line(path) - 1]
        name = next(part for part in reversed(path) if isinstance(part, str))
        assert name in text or isinstance(path[-1], int)


QUANTITIES: list[tuple[object, Fraction | None]] = [
    (2, Fraction(2)),
    (-34, Fraction(-34)),
    (Decimal("0.05"), Fraction(1, 20)),
    ("0.05", Fraction(1, 20)),
    ("1/2", Fraction(1, 2)),
    ("1 1/2", Fraction(3, 2)),
    ("-1 1/2", Fraction(-3, 2)),
    (" 3/4 ", Fraction(3, 4)),
    ("12.40", Fraction(62, 5)),
    (True, None),
    (0.1, None),
    ("1/0", None),
    ("1 3/2", None),
    ("1 -1/2", None),
    ("1e3", None),
    ("1_000", None),
    ("", None),
    ("half", None),
    (Decimal("nan"), None),
    (Decimal("inf"), None),
    (None, None),
]


@pytest.mark.parametrize(("written", "value"), QUANTITIES)
def test_a_quantity_is_read_exactly_or_refused(written: object, value: Fraction | None) -> None:
    """Whole numbers, decimals, fractions and mixed numbers are exact; all else is refused."""
    if value is None:
        with pytest.raises(ValueError, match="not a quantity"):
            parse_quantity(written)
    else:
        assert parse_quantity(written) == value


@given(st.integers(-5000, 5000), st.sampled_from([1, 2, 4, 8, 16, 32, 10, 20, 100, 1000, 3]))
def test_what_is_shown_can_be_written_back(numerator: int, denominator: int) -> None:
    """A quantity in a message can be copied into the sheet and means the same."""
    value = Fraction(numerator, denominator)
    assert parse_quantity(show(value)) == value


PHRASES: list[tuple[str, str | None]] = [
    ("fan belt", None),
    ("p t o", None),
    ("Fan belt", "fan belt"),
    ("driver's side", "drivers side"),
    ("no. 2 filter", "no two filter"),
    ("nuts & bolts", "nuts and bolts"),
    ("push-rod", "push rod"),
    ("caf\u00e9", "cafe"),
    ("fan  belt", "fan belt"),
    (" fan belt", "fan belt"),
]


@pytest.mark.parametrize(("phrase", "instead"), PHRASES)
def test_a_phrase_must_be_words_a_person_says(phrase: str, instead: str | None) -> None:
    """Anything but lower-case words is refused, and the remedy is itself a phrase that passes."""
    found = phrase_fault(phrase)
    if instead is None:
        assert found is None
    else:
        assert found is not None
        assert f'"{instead}"' in found[1]
        assert phrase_fault(as_spoken(phrase)) is None


@pytest.mark.parametrize("phrase", CONTROL_PHRASES)
def test_control_words_are_kept_for_the_dialogue(phrase: str) -> None:
    """A part called "correction" would make the word mean two things."""
    found = phrase_fault(phrase)
    assert found is not None
    assert "control word" in found[0]
