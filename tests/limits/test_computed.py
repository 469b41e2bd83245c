"""Computed values are exact, carry the bounds of their error, and are never shown across a limit."""

from __future__ import annotations

import math
import re
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.conftest import ROOT
from voicelog.limits.computed import (
    PI,
    compute,
    consumption,
    deflection_per_inch,
    share_of_placard,
    state_of_charge,
    steering_angle,
    stroke,
)
from voicelog.limits.judge import judge
from voicelog.limits.timed import Estimate, judgements, read
from voicelog.meaning.computed import show_computed
from voicelog.meaning.facts import Claim
from voicelog.sheet import Limit, Reading, load_lexicon, load_limits
from voicelog.sheet.model import Computed

F = Fraction
LEXICON = load_lexicon(ROOT / "grammars" / "lexicon.toml")


def exact(value: Fraction | int | str) -> Estimate:
    return Estimate(F(value), F(value), F(value))


def reading(unit: str, limit: Limit | None) -> Reading:
    return Reading("x", "x", ("x",), unit, F(-1000), F(1000), F(1, 64), limit, True)


def battery(chemistry: str = "flooded") -> Computed:
    curve = load_limits().curve(chemistry)
    assert curve is not None
    return Computed(
        "state of charge", reading("percent", None), (("voltage", "voltage"),),
        curve=curve.points, curve_at=curve.at, per_degree=curve.per_degree,
    )  # fmt: skip


def test_a_stroke_is_applied_minus_released_with_both_errors() -> None:
    """Ontario's air brake handbook, section 11: stroke is the applied reading less the released one."""
    found = stroke(read(F(3), F(1, 16)), read(F(5, 4), F(1, 16)))
    assert found == Estimate(F(7, 4), F(27, 16), F(29, 16))


def test_a_belts_deflection_is_for_each_inch_of_span() -> None:
    """A 100 in span is deflected by 100/64 in: the example of a belt maker's guide to V-belts, page 13."""
    assert deflection_per_inch(exact(F(100, 64)), F(100)).value == F(1, 64)


@pytest.mark.parametrize(
    ("diameter", "degrees", "arc"),
    [
        # Arcs of 14 and 30 degrees, computed apart with math.pi.
        *((d, a, math.pi * d * a / 360) for d in (16, 18, 19, 20, 21, 22) for a in (14, 30)),
        # The commercial driver's manual: about 2 in at a 20 in wheel is more than 10 degrees.
        (20, 11.459, 2.0),
    ],
)
def test_steering_play_becomes_the_angle_of_its_arc(diameter: int, degrees: float, arc: float) -> None:
    """Degrees are the rim's travel over the rim, with pi between bounds."""
    found = steering_angle(exact(F(arc)), F(diameter))
    assert float(found.value) == pytest.approx(degrees, rel=1e-4)
    assert found.low <= F(arc) * 360 / (F(math.pi) * diameter) <= found.high


def test_pi_lies_between_its_bounds() -> None:
    """Reference: the first sixteen decimals, 3.1415926535897932 (any table)."""
    assert PI.low < F("3.1415926535897932") < PI.high


def test_a_tyre_is_measured_by_its_placard() -> None:
    """84 of 105 psi is four fifths."""
    assert share_of_placard(exact(84), F(105)).value == 80


@pytest.mark.parametrize("chemistry", ["flooded", "AGM", "gel"])
def test_the_charge_is_that_of_the_published_table_at_its_points(chemistry: str) -> None:
    """And in a straight line between them; its bounds are no finer than the tables agree."""
    computed = battery(chemistry)
    for volts, percent in computed.curve:
        found = state_of_charge(computed, exact(volts), None)
        assert found.value == percent
        assert found.low <= max(percent - F(25, 2), F(0)) and found.high >= min(percent + F(25, 2), F(100))
    (above, more), (below, less) = computed.curve[:2]
    assert state_of_charge(computed, exact((above + below) / 2), None).value == (more + less) / 2
    assert state_of_charge(computed, exact(14), None).value == 100
    assert state_of_charge(computed, exact(9), None).value == 0


@pytest.mark.parametrize(
    ("volts", "fahrenheit", "percent"),
    # A battery maker's page: a full battery reads 12.53 V at 30 F and 12.698 V at 100 F.
    [("12.53", 30, 100), ("12.698", 100, 100), ("12.45", 80, 75), ("12.33", 30, 75)],
)
def test_the_charge_is_corrected_for_temperature(volts: str, fahrenheit: int, percent: int) -> None:
    """A cold battery reads less for the same charge."""
    assert state_of_charge(battery(), exact(volts), exact(fahrenheit)).value == percent


def tyre(*rows: tuple[int, int], load: str) -> Computed:
    loads = tuple((F(psi), F(pounds)) for psi, pounds in rows)
    return Computed(
        "share of tyre load", reading("percent", Limit(None, F(100), "s", "maker")),
        (("pressure", "pressure"),), constant=F(load), curve=loads,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("load", "pressure", "carried"),
    # A trade magazine's example, read: 295/75R22.5, single, 5,980 lb at 105 psi and 6,175 at 110. For an
    # axle of 12,000 lb, 105 psi is too little (11,960) and 110 enough (12,350).
    [("6000", 105, False), ("6000", 110, True), ("5980", 105, True), ("6175", 110, True), ("6175", 130, True),
     ("6176", 130, False)],
)  # fmt: skip
def test_a_tyre_is_measured_by_its_makers_load_table(load: str, pressure: int, carried: bool) -> None:
    """Equal to what the table has is within, and no tyre carries more than the table's highest row."""
    found = compute(tyre((105, 5980), (110, 6175), load=load), {"pressure": exact(pressure)})
    assert (found.value <= 100) == carried


def test_a_tyre_between_and_below_the_rows_is_not_overstated() -> None:
    """A line between rows lies below a load that rises as pressure to the 0.7, and so does one to zero."""
    true = {psi: round(1000 * psi**0.7) for psi in (70, 100, 120)}
    for psi in range(5, 121):
        found = compute(tyre(*true.items(), load="10000"), {"pressure": exact(psi)})
        assert float(100 * 10000 / found.value) <= 1000 * psi**0.7 + 1
    with pytest.raises(ValueError, match="no pressure"):
        compute(tyre(*true.items(), load="10000"), {"pressure": read(F(0), F(1))})


def test_what_a_fluid_is_used_up_by() -> None:
    """Two quarts in a hundred hours, with the error of the stick and of the meter."""
    found = consumption(exact(2), exact(100))
    assert found.value == F(1, 50)
    doubtful = consumption(read(F(2), F(1, 2)), read(F(100), F(1)))
    assert doubtful.low < F(1, 50) < doubtful.high
    with pytest.raises(ValueError, match="meter"):
        consumption(exact(2), read(F(0), F(1)))


def test_a_unit_that_does_not_say_what_is_needed_comes_to_nothing() -> None:
    """The operator is told what is missing from the unit's file."""
    lacking = Computed("steering angle", reading("degree", None), (("play", "play"),))
    with pytest.raises(ValueError, match="diameter"):
        compute(lacking, {"play": exact(2)})


# never across a limit ------------------------------------------------------------------------

values = st.fractions(min_value=-100, max_value=200, max_denominator=10_000)
errors = st.fractions(min_value=0, max_value=2, max_denominator=1000)
limits = st.fractions(min_value=F(1, 64), max_value=100, max_denominator=64)


@given(value=values, below=errors, above=errors, bound=limits, minimum=st.booleans())
def test_a_result_is_never_shown_on_the_other_side_of_its_limit(
    value: Fraction, below: Fraction, above: Fraction, bound: Fraction, minimum: bool
) -> None:
    """2.04 is not shown as 2.0 where the limit is 2: value and bounds each stay on their side."""
    limit = Limit(bound, None, "s", "maker") if minimum else Limit(None, bound, "s", "maker")
    estimate = Estimate(value, value - below, value + above)
    of = reading("inch", limit)
    claim = Claim(
        point_id="p", reading_id="x", value=value, unit="inch", judgement=judge(value, limit),
        polarity="sound", low=estimate.low, high=estimate.high,
    )  # fmt: skip
    shown = [F(n) for n in re.findall(r"-?\d+(?:\.\d+)?", show_computed(claim, of, LEXICON))]
    for number, true in zip(shown, (value, estimate.low, estimate.high), strict=True):
        assert judge(number, limit) == judge(true, limit)
    assert shown[1] <= estimate.low and shown[2] >= estimate.high


@given(value=values, error=errors, bound=limits)
def test_what_straddles_a_limit_has_both_judgements(
    value: Fraction, error: Fraction, bound: Fraction
) -> None:
    """It is within without a doubt only where all that it may be is within."""
    limit = Limit(None, bound, "s", "maker")
    found = judgements(Estimate(value, value - error, value + error), limit)
    assert (found == ("within",)) == (value + error <= bound)
    assert (found == ("above",)) == (value - error > bound)


# units ---------------------------------------------------------------------------------------

# NIST SP 811 (2008), appendix B: factors as printed, to SI; exact ones marked there as such.
SP_811 = [
    ("inch", "meter", "0.0254"), ("psi", "pascal", "6894.757"), ("quart", "meter ** 3", "0.0009463529"),
    ("gallon", "meter ** 3", "0.003785412"), ("foot", "meter", "0.3048"), ("bar", "pascal", "100000"),
    ("pound_force", "newton", "4.448222"), ("degree", "radian", "0.01745329"),
    ("foot_pound", "joule", "1.355818"),
    # From memory: B.8, conventional inches of mercury and of water; mile; revolutions a minute.
    ("inHg", "pascal", "3386.389"), ("inH2O", "pascal", "249.0889"), ("mile", "meter", "1609.344"),
    ("rpm", "radian / second", "0.1047198"), ("minute", "second", "60"), ("hour", "second", "3600"),
]  # fmt: skip
SI = {"millimeter", "liter", "kilopascal", "degC", "degF", "second", "ampere", "volt", "percent", "count"}
"""Units of SI or beside it, pure numbers, and the temperatures that are checked below."""


@pytest.mark.parametrize(("unit", "si", "factor"), SP_811)
def test_units_are_converted_as_nist_prints_them(unit: str, si: str, factor: str) -> None:
    """Pint, which converts for the reports, agrees with every printed figure."""
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    assert float(registry.Quantity(1.0, unit).to(si).magnitude) == pytest.approx(float(factor), rel=5e-7)


def test_every_unit_that_can_be_said_is_checked_here() -> None:
    """A new measure of the lexicon needs its printed factor."""
    assert set(LEXICON.measures) <= {unit for unit, _, _ in SP_811} | SI


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32, 0), (77, 25), (212, 100), (-40, -40)])
def test_temperatures_are_converted_as_nist_prints_them(fahrenheit: int, celsius: int) -> None:
    """SP 811: t/C = (t/F - 32) / 1.8."""
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    assert float(registry.Quantity(float(fahrenheit), "degF").to("degC").magnitude) == pytest.approx(celsius)


# leak classes --------------------------------------------------------------------------------


def test_leak_classes_are_the_published_ones() -> None:
    """US Army TM 10-6640-233-10, 2-4 h, read: seepage that forms no drops; drops that do not drip from
    the item; drops that fall from the item."""
    first, second, third = (LEXICON.classes[f"leak_{n}"] for n in (1, 2, 3))
    assert [c.rank for c in (first, second, third)] == [1, 2, 3]
    assert "form drops" in first.meaning and "too little" in first.meaning
    assert "drop" in second.meaning.lower() and "fall" in second.meaning.lower()
    assert "fall" in third.meaning.lower()
