"""Units of measurement: what the trade's own are in SI, and whether a unit is one at all.

pint knows every unit, but takes half a second to be loaded and to read its definitions, which whoever
opens a report would wait for. So the trade's units stand here by their exact definitions; any other is
pint's to know. The tests hold this table against pint.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import NamedTuple


class InSi(NamedTuple):
    """What a unit is in SI: a value times ``factor``, plus ``offset``, is one in ``symbol``."""

    symbol: str
    factor: Fraction
    offset: Fraction = Fraction(0)


_INCH_MM = Fraction("25.4")
_QUART_L = 231 * _INCH_MM**3 / 4 / 10**6
_POUND_FORCE_N = Fraction("0.45359237") * Fraction("9.80665")
_PSI_KPA = _POUND_FORCE_N / (_INCH_MM / 1000) ** 2 / 1000
_FOOT_M = 12 * _INCH_MM / 1000
_ONE = Fraction(1)

TRADE: dict[str, InSi | None] = {
    "inch": InSi("mm", _INCH_MM),
    "millimeter": InSi("mm", _ONE),
    "foot": InSi("m", _FOOT_M),
    "mile": InSi("km", 5280 * _FOOT_M / 1000),
    "psi": InSi("kPa", _PSI_KPA),
    "psi/minute": InSi("kPa/min", _PSI_KPA),
    "kilopascal": InSi("kPa", _ONE),
    "bar": InSi("kPa", Fraction(100)),
    # Conventional columns: of mercury at 0 degrees Celsius, of water at 4.
    "inHg": InSi("kPa", _INCH_MM * Fraction("13.5951") * Fraction("9.80665") / 1000),
    "inH2O": InSi("kPa", _INCH_MM * Fraction("9.80665") / 1000),
    "liter": InSi("L", _ONE),
    "quart": InSi("L", _QUART_L),
    "pint": InSi("L", _QUART_L / 2),
    "gallon": InSi("L", _QUART_L * 4),
    "degC": InSi("\u00b0C", _ONE),
    "degF": InSi("\u00b0C", Fraction(5, 9), Fraction(-160, 9)),
    "volt": InSi("V", _ONE),
    "ampere": InSi("A", _ONE),
    "second": InSi("s", _ONE),
    "foot_pound": InSi("N\u00b7m", _FOOT_M * _POUND_FORCE_N),
    "minute": None,
    "hour": None,
    "percent": None,
    "degree": None,
    "count": None,
    "rpm": None,
    "inch / inch": None,
}
"""Unit to what it is in SI; None for one that is left as it was said."""


@cache
def known_unit(unit: str) -> bool:
    """Return whether ``unit`` is one of the trade's, or pint's default registry defines it."""
    if unit in TRADE:
        return True
    import pint

    try:
        return unit in pint.application_registry
    except (pint.PintError, AttributeError, TypeError, ValueError):
        return False
