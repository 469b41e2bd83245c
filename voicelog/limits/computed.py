"""What readings of one point come to, exactly, with the bounds of the error.

Every input is an :class:`Estimate`: a reading may be half its resolution off either way. The bounds
are of the worst case. What lies on both sides of a limit is for the caller to doubt, never to pass.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from fractions import Fraction

from voicelog.limits.timed import Estimate
from voicelog.sheet.model import Computed

PI = Estimate(
    Fraction("3.14159265358979"), Fraction("3.14159265358979"), Fraction("3.14159265358980")
)  # fmt: skip
"""The ratio of a circle's circumference to its diameter, between bounds."""

CURVE_STEP = 25
"""Percent: published tables of rest voltage differ so much that no finer charge can be told from one."""

HUNDRED = 100


def compute(computed: Computed, inputs: Mapping[str, Estimate]) -> Estimate:
    """Return a computed value of a point. ``inputs`` are its readings by role, in the units of the kind.

    ValueError, worded for the operator, where nothing follows from them.
    """
    match computed.kind:
        case "stroke":
            return stroke(inputs["applied"], inputs["released"])
        case "belt deflection":
            return deflection_per_inch(inputs["deflection"], _constant(computed, "the belt's span"))
        case "steering angle":
            return steering_angle(inputs["play"], _constant(computed, "the steering wheel's diameter"))
        case "share of placard":
            return share_of_placard(inputs["pressure"], _constant(computed, "the placard's pressure"))
        case "share of tyre load":
            return share_of_load(computed, inputs["pressure"], _constant(computed, "the load on the tire"))
        case "consumption per hour" | "consumption per mile":
            return consumption(inputs["used"], inputs["over"])
        case "state of charge":
            if not computed.curve:
                raise ValueError("the unit's file does not say which kind of battery it is")
            return state_of_charge(computed, inputs["voltage"], inputs.get("temperature"))


def stroke(applied: Estimate, released: Estimate) -> Estimate:
    """Return a pushrod's stroke: how far it comes out from released to fully applied."""
    return applied.minus(released)


def deflection_per_inch(deflection: Estimate, span: Fraction) -> Estimate:
    """Return a belt's deflection for each inch of its free span, both in inches."""
    return deflection.times(1 / span)


def steering_angle(play: Estimate, diameter: Fraction) -> Estimate:
    """Return the degrees that a steering wheel turns for a travel of its rim, both in inches."""
    return play.times(360 / diameter).over(PI)


def share_of_placard(pressure: Estimate, placard: Fraction) -> Estimate:
    """Return a tyre's pressure as a percentage of its placard's."""
    return pressure.times(HUNDRED / placard)


def state_of_charge(computed: Computed, voltage: Estimate, temperature: Estimate | None) -> Estimate:
    """Return the state of charge in percent of a battery at rest, by its published curve.

    ``temperature`` is in degrees Fahrenheit; without it the voltage is taken as it was read. The
    bounds have half of :data:`CURVE_STEP` to either side, for what published tables differ by.
    """
    at_curve = voltage
    if temperature is not None:
        at = Estimate(computed.curve_at, computed.curve_at, computed.curve_at)
        at_curve = voltage.minus(temperature.minus(at).times(computed.per_degree))
    half = Fraction(CURVE_STEP, 2)
    return Estimate(
        _on_curve(computed.curve, at_curve.value),
        max(_on_curve(computed.curve, at_curve.low) - half, Fraction(0)),
        min(_on_curve(computed.curve, at_curve.high) + half, Fraction(HUNDRED)),
    )


def share_of_load(computed: Computed, pressure: Estimate, load: Fraction) -> Estimate:
    """Return the load on a tyre as a percentage of what it carries at its pressure, by its maker's table.

    ``load`` is in pounds. In a straight line between the rows, and from nothing at no pressure to the
    lowest; never more than the highest row. What a tyre carries rises ever less with pressure, so that
    the line does not overstate it (Tire and Rim Association's formula, load as the 0.7th power of
    pressure, from memory). ValueError without a load table, and for a tyre that may have no pressure.
    """
    if not computed.curve:
        raise ValueError("the unit's file has no load table for this tire")
    zero = Fraction(0)
    # The curve is read from its highest row down.
    rows = (*reversed(computed.curve), (zero, zero))
    at = [_on_curve(rows, max(psi, zero)) for psi in (pressure.value, pressure.low, pressure.high)]
    if at[1] <= 0:
        raise ValueError("the tire may have no pressure")
    value, most, least = (HUNDRED * load / pounds for pounds in at)
    return Estimate(value, least, most)


def consumption(used: Estimate, over: Estimate) -> Estimate:
    """Return what is used of a fluid for each hour or mile.

    ``used`` is what it took to fill it up again; ``over`` the hours or miles since it was last full.
    ValueError where the meter may not have moved.
    """
    if over.low <= 0:
        raise ValueError("the meter may not have moved")
    return used.over(over)


def _on_curve(curve: tuple[tuple[Fraction, Fraction], ...], volts: Fraction) -> Fraction:
    """Return the percentage at a voltage, in a straight line between the table's points; its ends beyond."""
    if volts >= curve[0][0]:
        return curve[0][1]
    for (above, more), (below, less) in itertools.pairwise(curve):
        if volts >= below:
            return less + (more - less) * (volts - below) / (above - below)
    return curve[-1][1]


def _constant(computed: Computed, what: str) -> Fraction:
    if computed.constant is None:
        raise ValueError(f"the unit's file does not say {what}")
    return computed.constant
