"""Writing exact values in decimals without moving them across a limit."""

from __future__ import annotations

import decimal
from collections.abc import Iterable
from decimal import Context, Decimal
from fractions import Fraction

_MOST_FIGURES = 25


def written(
    exact: Fraction,
    bounds: Iterable[Fraction] = (),
    figures: int = 4,
    rounding: str = decimal.ROUND_HALF_EVEN,
) -> Decimal:
    """Return ``exact`` with ``figures`` figures, or as many more as keep it on its side of each bound.

    ``rounding`` is one of the modes of :mod:`decimal`.
    """
    limits = tuple(bounds)
    rounded = Decimal(0)
    for count in range(figures, _MOST_FIGURES):
        context = Context(prec=count, rounding=rounding)
        rounded = context.divide(Decimal(exact.numerator), Decimal(exact.denominator))
        if all(_same_side(exact, Fraction(rounded), limit) for limit in limits):
            break
    return rounded.normalize()


def _same_side(exact: Fraction, rounded: Fraction, limit: Fraction) -> bool:
    """Return whether both are above, both below or both on the limit.

    A value on a limit that no decimal can write has no side.
    """
    if exact == limit:
        return rounded == limit or not _has_decimal(limit)
    return rounded != limit and (exact > limit) == (rounded > limit)


def _has_decimal(value: Fraction) -> bool:
    return (Fraction(10**_MOST_FIGURES) / value.denominator).denominator == 1
