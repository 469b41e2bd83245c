"""Judging a value against a limit, exactly, in the unit that was spoken."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from voicelog.sheet.model import Limit

Judgement = Literal["within", "below", "above", "no limit"]


def judge(value: Fraction, limit: Limit | None) -> Judgement:
    """Return where ``value`` lies; equal to a bound is within (see :class:`Limit`)."""
    if limit is None:
        return "no limit"
    if limit.minimum is not None and value < limit.minimum:
        return "below"
    if limit.maximum is not None and value > limit.maximum:
        return "above"
    return "within"
