"""Quantities as they are written in a sheet, read without rounding.

A whole number, a decimal (``0.05`` or ``"0.05"``), a fraction (``"3/4"``) or a mixed number
(``"1 1/2"``, ``"-1 1/2"``); the unit is written elsewhere.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

_MIXED = re.compile(r"(?P<sign>-?)(?P<whole>\d+)\s+(?P<part>\d+/\d+)")
_SIMPLE = re.compile(r"-?\d+(?:/\d+|\.\d+)?")

FORMS = 'a number or a fraction in quotes, such as 2, 0.05, "3/4" or "1 1/2"'


def parse_quantity(value: object) -> Fraction:
    """Return ``value`` as an exact fraction.

    Accepts int, Decimal and the string forms above. Raises ValueError for anything else; a
    float is refused because it has been rounded already.
    """
    if isinstance(value, bool):
        raise ValueError(f"not a quantity: {value}")
    if isinstance(value, int):
        return Fraction(value)
    if isinstance(value, Decimal):
        if not value.is_finite():
            raise ValueError(f"not a quantity: {value}")
        return Fraction(value)
    if isinstance(value, str):
        text = value.strip()
        mixed = _MIXED.fullmatch(text)
        try:
            if mixed:
                part = Fraction(mixed["part"])
                if part >= 1:
                    raise ValueError(f"not a quantity: {value}")
                size = int(mixed["whole"]) + part
                return -size if mixed["sign"] else size
            if _SIMPLE.fullmatch(text):
                return Fraction(text)
        except ZeroDivisionError:
            pass
    raise ValueError(f"not a quantity: {value}")


def show(value: Fraction) -> str:
    """Return ``value`` as it would be written: ``3/4``, ``1 1/2``, ``12.4``, ``2``.

    Fractions of the inch kind (a denominator that is a power of two up to 64) are written as
    fractions, others as decimals where that is exact.
    """
    if value.denominator == 1:
        return str(value.numerator)
    sign, size = ("-", -value) if value < 0 else ("", value)
    decimal = _decimal(size)
    if decimal is not None and size.denominator not in (2, 4, 8, 16, 32, 64):
        return sign + decimal
    whole, part = divmod(size, 1)
    return f"{sign}{whole} {part}" if whole else f"{sign}{part}"


def _decimal(size: Fraction) -> str | None:
    for places in range(1, 7):
        scaled = size * 10**places
        if scaled.denominator == 1:
            digits = str(scaled.numerator).rjust(places + 1, "0")
            return f"{digits[:-places]}.{digits[-places:]}"
    return None
