"""A reading's value in SI units, for information beside the value as it was spoken.

Converted exactly, then written with at least four figures, and with as many more as keep it on
the side of the limit that it is on.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

from voicelog.limits.rounding import written
from voicelog.sheet.units import TRADE, InSi

if TYPE_CHECKING:
    import pint

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


def show_si(value: Fraction, unit: str, bounds: Iterable[Fraction] = ()) -> str:
    """Return ``value``, in ``unit``, in SI units: ``12.7 mm``, ``about 413.7 kPa``.

    ``bounds`` are the limit's bounds in ``unit``: a value beside one stays on its side. Empty for
    a unit that is not known or that has none of the units shown.
    """
    si = in_si(unit)
    if si is None:
        return ""
    exact = value * si.factor + si.offset
    rounded = written(exact, [bound * si.factor + si.offset for bound in bounds])
    about = "" if Fraction(rounded) == exact else "about "
    # "f" writes 2500, where a Decimal of few figures would be written 2.5E+3.
    return f"{about}{rounded:f} {si.symbol}"


def si_scale(unit: str) -> tuple[str, float, float] | None:
    """Return the symbol of the SI unit that ``unit`` is shown in, and factor and offset to it.

    None for a unit that is SI itself, or that has none of those shown.
    """
    si = in_si(unit)
    if si is None or (si.factor == 1 and si.offset == 0):
        return None
    return si.symbol, float(si.factor), float(si.offset)


def is_volume(unit: str) -> bool:
    """Return whether a unit is one of volume."""
    si = in_si(unit)
    return si is not None and si.symbol == "L"


def in_si(unit: str) -> InSi | None:
    """Return what a unit is in the SI unit that it is shown in; None where it is shown in none."""
    return TRADE[unit] if unit in TRADE else by_pint(unit)


@cache
def by_pint(unit: str) -> InSi | None:
    """Return the same of any unit that pint knows."""
    import pint

    if unit in _ACCEPTED:
        return None
    registry = _registry()
    try:
        one = registry.Quantity(Fraction(1), unit)
        target = _LONG.get(unit) or next((t for t in _SHOWN_IN if one.is_compatible_with(t[0])), None)
        if target is None:
            return None
        offset = Fraction(registry.Quantity(Fraction(0), unit).to(target[0]).magnitude)
        return InSi(target[1], Fraction(one.to(target[0]).magnitude) - offset, offset)
    except pint.PintError:
        return None


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)
