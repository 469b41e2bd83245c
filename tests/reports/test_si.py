"""Readings in SI units, against published conversion factors."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicelog.reports.si import by_pint, show_si
from voicelog.sheet.units import TRADE

# NIST Special Publication 811 (2008), appendix B.8, from memory: inch 2.54 E-02 m (exact), psi
# 6.894757 kPa, quart (US liquid) 9.463529 E-04 m3, inch of water (conventional) 2.490889 E+02 Pa,
# degree Fahrenheit (t - 32)/1.8.
PUBLISHED = [
    ("1", "inch", "25.4 mm"),
    ("1/2", "inch", "12.7 mm"),
    ("9/8", "inch", "about 28.58 mm"),
    ("100", "psi", "about 689.5 kPa"),
    ("1", "quart", "about 0.9464 L"),
    ("25", "inH2O", "about 6.227 kPa"),
    ("212", "degF", "100 °C"),
    ("-40", "degF", "-40 °C"),
    ("2.5", "bar", "250 kPa"),
    ("12.60", "volt", "12.6 V"),
    ("0", "inch", "0 mm"),
    # Mile 1.609344 E+03 m and foot 3.048 E-01 m, both exact; hours are used with SI as they are.
    ("200", "mile", "about 321.9 km"),
    ("10", "foot", "3.048 m"),
    ("100", "hour", ""),
]


@pytest.mark.parametrize(("value", "unit", "shown"), PUBLISHED)
def test_published_factors(value: str, unit: str, shown: str) -> None:
    """A value is converted by the published factor, and said to be rounded when it is."""
    assert show_si(Fraction(value), unit) == shown


@pytest.mark.parametrize("unit", ["furlongs_of_oil", "candela"])
def test_no_si_for_what_has_none(unit: str) -> None:
    """A unit that is unknown, or of another kind of quantity, is left without SI."""
    assert show_si(Fraction(1), unit) == ""


@pytest.mark.parametrize("unit", TRADE)
def test_the_trades_units_are_what_pint_says(unit: str) -> None:
    """Each unit that is written down, exactly; and those that are shown in none."""
    assert TRADE[unit] == by_pint(unit)


def test_rounding_gives_more_figures_beside_a_limit() -> None:
    """59.999 psi is below 60 psi, which is 413.685... kPa: 413.7 kPa would stand above it."""
    assert show_si(Fraction("59.999"), "psi") == "about 413.7 kPa"
    assert show_si(Fraction("59.999"), "psi", [Fraction(60)]) == "about 413.68 kPa"


@given(
    st.fractions(min_value=0, max_value=200, max_denominator=1000),
    st.fractions(min_value=Fraction(-1, 20), max_value=Fraction(1, 20), max_denominator=1000),
    st.sampled_from([("psi", Fraction(6894757, 1000000)), ("inch", Fraction("25.4"))]),
)
def test_never_rounded_across_a_limit(limit: Fraction, off: Fraction, unit: tuple[str, Fraction]) -> None:
    """Whatever lies beside a limit is shown on the side of it where it is."""
    name, factor = unit
    value = limit + off
    if value < 0 or not off:
        return
    shown = Fraction(show_si(value, name, [limit]).removeprefix("about ").split()[0])
    # The published factor has seven figures; allow for what it leaves out.
    slack = abs(limit * factor) / 10**6
    if off > 0:
        assert shown > limit * factor - slack
    else:
        assert shown < limit * factor + slack
