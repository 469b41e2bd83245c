"""A reading's value in SI units, for information beside the value as it was spoken.

Converted exactly, then written with at least four figures, and with as many more as keep it on
the side of the limit that it is on.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from functools import cache

import pint

from voicelog.limits.rounding import written

_SHOWN_IN = (
    ("millimeter", "mm"),
    ("kilopascal", "kPa"),
    ("liter", "L"),
    ("degC", "°C"),
    ("volt", "V"),
    ("ampere", "A"),
    ("second", "s"),
    ("newton * meter", "N·m"),
    ("kilogram", "kg"),
    ("kilopascal / minute", "kPa/min"),
    ("liter / hour", "L/h"),
    ("liter / kilometer", "L/km"),
)
"""Units for the trade's quantities: SI, and those accepted for use with SI."""

_LONG = {"mile": ("kilometer", "km"), "foot": ("meter", "m")}
"""Lengths that nobody would look for in millimeters."""

_ACCEPTED = ("hour", "minute")
"""Accepted for use with SI (NIST SP 811, table 6, from memory), so they are left as they were said."""


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    return pint.UnitRegistry(non_int_type=Fraction)


def _target(unit: str) -> tuple[str, str] | None:
    """Return the unit and the symbol that ``unit`` is shown in; None where it has none."""
    if unit in _ACCEPTED:
        return None
    one = _registry().Quantity(Fraction(1), unit)
    return _LONG.get(unit) or next((t for t in _SHOWN_IN if one.is_compatible_with(t[0])), None)


def show_si(value: Fraction, unit: str, bounds: Iterable[Fraction] = ()) -> str:
    """Return ``value``, in ``unit``, in SI units: ``12.7 mm``, ``about 413.7 kPa``.

    ``bounds`` are the limit's bounds in ``unit``: a value beside one stays on its side. Empty for
    a unit that pint does not know or that has none of the units shown.
    """
    registry = _registry()
    try:
        quantity = registry.Quantity(value, unit)
        target = _target(unit)
        if target is None:
            return ""
        exact = Fraction(quantity.to(target[0]).magnitude)
        limits = [Fraction(registry.Quantity(bound, unit).to(target[0]).magnitude) for bound in bounds]
    except pint.PintError:
        return ""
    rounded = written(exact, limits)
    about = "" if Fraction(rounded) == exact else "about "
    # "f" writes 2500, where a Decimal of few figures would be written 2.5E+3.
    return f"{about}{rounded:f} {target[1]}"


@cache
def si_scale(unit: str) -> tuple[str, float, float] | None:
    """Return the symbol of the SI unit that ``unit`` is shown in, and factor and offset to it.

    None for a unit that is SI itself, or that has none of those shown.
    """
    registry = _registry()
    try:
        zero, one = registry.Quantity(Fraction(0), unit), registry.Quantity(Fraction(1), unit)
        target = _target(unit)
        if target is None:
            return None
        offset = Fraction(zero.to(target[0]).magnitude)
        factor = Fraction(one.to(target[0]).magnitude) - offset
    except pint.PintError:
        return None
    return None if factor == 1 and offset == 0 else (target[1], float(factor), float(offset))


@cache
def is_volume(unit: str) -> bool:
    """Return whether a unit is one of volume."""
    try:
        return bool(_registry().Quantity(Fraction(1), unit).is_compatible_with("liter"))
    except pint.PintError:
        return False
