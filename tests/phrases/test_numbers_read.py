"""What is read back means the same to a library that reads numbers for a living.

Reference: text2num, which turns spoken numbers into digits. It does not read fractions of an inch.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from text_to_num import alpha2digit, text2num

from voicelog.phrases import numbers


def test_every_whole_number_read_back_is_read_by_text2num_as_that_number() -> None:
    """All of 0 to 9999."""
    wrong = [n for n in range(10_000) if text2num(numbers.say_value(F(n), F(1)), "en") != n]
    assert wrong == []


# The decimal ranges of the shipped sheets: volts, amperes and results.
@pytest.mark.parametrize(("high", "step"), [(18, "0.1"), (16, "0.05"), (5, "0.05"), (3, "0.001")])
def test_every_decimal_read_back_is_read_by_text2num_as_that_value(high: int, step: str) -> None:
    """From nothing to the end of the range."""
    wrong = []
    for value in numbers.values(F(0), F(high), F(step)):
        said = numbers.say_value(value, F(step))
        if F(alpha2digit(said, "en", threshold=0)) != value:
            wrong.append((value, said))
    assert wrong == []
