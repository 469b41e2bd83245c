"""A reading's value in SI units, for information beside the value as it was spoken.

Converted exactly, then written with at least four figures, and with as many more as keep it on
the side of the limit that it is on.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Context, Decimal
from fractions import Fraction
from functools import cache

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
)
"""Units for the trade's quantities: SI, and those accepted for use with SI."""

_FIGURES = 4
_MOST_FIGURES = 25


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    return pint.UnitRegistry(non_int_type=Fraction)


def show_si(value: Fraction, unit: str, bounds: Iterable[Fraction] = ()) -> str:
    """Return ``value``, in ``unit``, in SI units: ``12.7 mm``, ``about 413.7 kPa``.

    ``bounds`` are the limit's bounds in ``unit``: a value beside one stays on its side. Empty for
    a unit that pint does not know or that has none of the units shown.
    """
    registry = _registry()
    try:
        quantity = registry.Quantity(value, unit)
        target = next((t for t in _SHOWN_IN if quantity.is_compatible_with(t[0])), None)
        if target is None:
            return ""
        exact = Fraction(quantity.to(target[0]).magnitude)
        limits = [Fraction(registry.Quantity(bound, unit).to(target[0]).magnitude) for bound in bounds]
    except pint.PintError:
        return ""
    written = _written(exact, limits)
    about = "" if Fraction(written) == exact else "about "
    return f"{about}{written} {target[1]}"


def _written(exact: Fraction, limits: list[Fraction]) -> str:
    """Return ``exact`` with the fewest figures that keep it on its side of each limit."""
    rounded = Decimal(0)
    for figures in range(_FIGURES, _MOST_FIGURES):
        rounded = Context(prec=figures).divide(Decimal(exact.numerator), Decimal(exact.denominator))
        if all(_same_side(exact, Fraction(rounded), limit) for limit in limits):
            break
    # "f" writes 2500, where a Decimal of few figures would be written 2.5E+3.
    return f"{rounded.normalize():f}"


def _same_side(exact: Fraction, rounded: Fraction, limit: Fraction) -> bool:
    """Return whether both are above, or both below, the limit; a value on it has no side."""
    return exact == limit or (rounded != limit and (exact > limit) == (rounded > limit))
