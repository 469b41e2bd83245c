"""The kinds of computed values: which readings each needs, in which units, and what else.

The arithmetic is in :mod:`voicelog.limits.computed`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from voicelog.sheet.model import ComputedKind


@dataclass(frozen=True, slots=True)
class Kind:
    """What a kind of computed value is made from."""

    needs: Mapping[str, str]
    """Role to the unit its reading must have."""
    unit: str
    """Of the result."""
    may_have: Mapping[str, str]
    """Roles that may be left out."""
    constant: str = ""
    """What the unit's file or the sheet gives besides, by its attribute's name."""
    curve: Literal["", "chemistry", "tyre load"] = ""
    """Which curve it needs: that of the battery's chemistry, or the load table of the tyre."""
    where_given: bool = False
    """Whether it is left out where the unit's file does not give what it needs."""


KINDS: Mapping[ComputedKind, Kind] = {
    "stroke": Kind({"applied": "inch", "released": "inch"}, "inch", {}),
    "belt deflection": Kind({"deflection": "inch"}, "inch / inch", {}, constant="span"),
    "state of charge": Kind({"voltage": "volt"}, "percent", {"temperature": "degF"}, curve="chemistry"),
    "steering angle": Kind({"play": "inch"}, "degree", {}, constant="wheel_diameter"),
    "share of placard": Kind({"pressure": "psi"}, "percent", {}, constant="tyre_pressure"),
    "share of tyre load": Kind(
        {"pressure": "psi"}, "percent", {}, constant="tyre_load", curve="tyre load", where_given=True
    ),
    "consumption per hour": Kind({"used": "quart", "over": "hour"}, "quart / hour", {}),
    "consumption per mile": Kind({"used": "gallon", "over": "mile"}, "gallon / mile", {}),
}
