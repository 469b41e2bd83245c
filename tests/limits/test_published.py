"""Every row of every shipped table of limits is the figure of its source.

The values are written here from the sources named, by hand, and not read from the tables. "From
memory" means that the source itself was not read; where the same figure was read elsewhere it is said.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from tests.conftest import ROOT
from voicelog.sheet import check_limits, load_limits
from voicelog.sheet.limit_model import LimitRow, Limits

F = Fraction

# 49 CFR 393.47(e), 77 FR 46633 (2012), from memory. The same figures were read: types 12 and 16 in a
# fragment of the periodic inspection standards (145 mm: 1 3/8 and 1 3/4 in; 162 mm: 1 3/4 and 2 in);
# 20, 24 and 30 in a truck maker's tables of actuator stroke; 36 on a chamber supplier's page.
CLAMP = {
    ("6", "standard"): F(5, 4),
    ("9", "standard"): F(11, 8),
    ("12", "standard"): F(11, 8), ("12", "long"): F(7, 4),
    ("16", "standard"): F(7, 4), ("16", "long"): F(2),
    ("20", "standard"): F(7, 4), ("20", "long"): F(2), ("20", "three inch"): F(5, 2),
    ("24", "standard"): F(7, 4), ("24", "long"): F(2), ("24", "three inch"): F(5, 2),
    ("30", "standard"): F(2), ("30", "long"): F(5, 2),
    ("36", "standard"): F(9, 4),
}  # fmt: skip
# The same section, bolt-type chambers and rotochambers, from memory.
BOLT = {"A": F(11, 8), "B": F(7, 4), "C": F(7, 4), "D": F(5, 4), "E": F(11, 8), "F": F(9, 4), "G": F(2)}
ROTOCHAMBER = {
    "9": F(3, 2), "12": F(3, 2), "16": F(2), "20": F(2), "24": F(2), "30": F(9, 4), "36": F(11, 4), "50": F(3)
}  # fmt: skip

# 49 CFR 393.209(b), from memory; 18, 20 and 22 in were read on a trade page. (manual, power)
STEERING = {
    "16 or less": (F(2), F(17, 4)), "18": (F(9, 4), F(19, 4)), "19": (F(19, 8), F(5)),
    "20": (F(5, 2), F(21, 4)), "21": (F(21, 8), F(11, 2)), "22": (F(11, 4), F(23, 4)),
}  # fmt: skip

Keys = tuple[tuple[str, str], ...]
Bounds = tuple[Fraction | None, Fraction | None]


def most(value: Fraction) -> Bounds:
    return (None, value)


PUBLISHED: dict[str, dict[Keys, Bounds]] = {
    "pushrod stroke": {
        **{
            (("chamber", "clamp"), ("chamber_type", t), ("stroke", s)): most(v) for (t, s), v in CLAMP.items()
        },
        **{
            (("chamber", kind), ("chamber_type", t), ("stroke", "standard")): most(v)
            for kind, rows in (("bolt", BOLT), ("rotochamber", ROTOCHAMBER))
            for t, v in rows.items()
        },
    },
    # 49 CFR 393.75(b) and (c), read in a reprint: at least 4/32 in on the front wheels, else 2/32 in.
    "tread depth": {
        (("axle_position", "front"),): (F(4, 32), None),
        (("axle_position", "rear"),): (F(2, 32), None),
    },
    "steering wheel play": {
        (("wheel_diameter", d), ("assist", a)): most(v)
        for d, both in STEERING.items()
        for a, v in zip(("manual", "power"), both, strict=True)
    },
    # 49 CFR 393.209(b)(2), from memory.
    "steering wheel angle": {(("assist", "manual"),): most(F(14)), (("assist", "power"),): most(F(30))},
    # A commercial driver's manual handed out by the city of Augusta, Georgia, p. 198, read: on before
    # 60 psi. 49 CFR 393.51(c), from memory: 55 psi, or half of cut-out if that is less.
    "low air warning": {(("rule", "FMVSS 121"),): (F(60), None), (("rule", "393.51"),): (F(55), None)},
    # The same page for one and two vehicles; three or more as the California manual was quoted, 2013.
    "static air leakage": {
        (("vehicles", v),): most(F(p)) for v, p in (("one", 2), ("two", 3), ("three or more", 5))
    },
    "applied air leakage": {
        (("vehicles", v),): most(F(p)) for v, p in (("one", 3), ("two", 4), ("three or more", 6))
    },
    # A reprint of the manual's final air brake check, read: 45 s dual, 3 min single, 20 to 45 psi.
    "air build-up time": {(("air_system", "dual"),): most(F(45)), (("air_system", "single"),): most(F(180))},
    "spring brake application": {(): (F(20), F(45))},
    # FMVSS 121 S5.1.1.1, trucks: 100 psi or more, read in a work truck association's guide.
    "governor cut-in": {(): (F(100), None)},
    # The manual, from memory: about 125 psi; editions differ, 120 to 145 is the widest.
    "governor cut-out": {(): (F(120), F(145))},
    # The manual, from memory: more than about one inch needs adjustment.
    "slack adjuster travel": {(): most(F(1))},
    # The manual, older editions, section 11, from memory: belt play up to 3/4 in at the center.
    "belt play": {(): most(F(3, 4))},
    # 49 CFR 393.60(c), from memory: a damaged area that a disc of 3/4 in covers.
    "windshield damage": {(): most(F(3, 4))},
    # A belt maker's guide to V-belts, p. 13, read: 1/64 in for each inch of span.
    "belt deflection": {(): most(F(1, 64))},
    # Common practice, no published source.
    "tyre pressure": {(): (F(90), F(110))},
    # Common practice, no published source.
    "battery state of charge": {(): (F(50), None)},
    # Three-quarters by the curves below; common practice, no published source.
    "battery rest voltage": {
        (("chemistry", "flooded"),): (F("12.45"), None),
        (("chemistry", "AGM"),): (F("12.6"), None),
        (("chemistry", "gel"),): (F("12.65"), None),
    },
}

# Flooded: Battery Council International's table, read on two battery makers' pages.
# AGM: a vehicle maker's owner's manual, read (its 0 % from memory). Gel: from memory.
CURVES = {
    "flooded": ["12.65", "12.45", "12.24", "12.06", "11.89"],
    "AGM": ["12.8", "12.6", "12.3", "12.0", "11.8"],
    "gel": ["12.85", "12.65", "12.35", "12.0", "11.8"],
}


@pytest.fixture(scope="module")
def limits() -> Limits:
    return load_limits()


def test_every_published_table_and_curve_says_its_edition(limits: Limits) -> None:
    """Or that it is to be checked, or not printed; common practice has none."""
    for table in limits.tables.values():
        assert bool(table.edition) == (table.basis != "common practice"), table.name
        assert table.basis != "common practice" or "no published source" in table.source, table.name
    assert all(curve.edition for curve in limits.curves)


def test_the_tables_have_no_fault() -> None:
    """What is shipped passes the checks that others' tables must pass."""
    assert check_limits(ROOT / "grammars" / "limits" / "published.toml") == ()


def test_there_is_no_table_but_those_checked_here(limits: Limits) -> None:
    """A new table needs its values here, from its source."""
    assert set(limits.tables) == set(PUBLISHED)


@pytest.mark.parametrize("name", PUBLISHED)
def test_every_row_is_the_figure_of_its_source(limits: Limits, name: str) -> None:
    """No row is missing, none is made up, and each has both bounds as published."""
    found = {row.keys: (row.minimum, row.maximum) for row in limits.tables[name].rows}
    assert found == PUBLISHED[name]


@pytest.mark.parametrize("chemistry", CURVES)
def test_every_curve_is_the_table_of_its_source(limits: Limits, chemistry: str) -> None:
    """At 100, 75, 50, 25 and 0 percent."""
    curve = limits.curve(chemistry)
    assert curve is not None
    expected = zip(CURVES[chemistry], (100, 75, 50, 25, 0), strict=True)
    assert curve.points == tuple((F(volts), F(percent)) for volts, percent in expected)


def test_the_flooded_curve_has_the_published_temperature_compensation(limits: Limits) -> None:
    """A full battery reads 12.53 V at 30 degrees Fahrenheit and 12.698 V at 100 (a battery maker's page)."""
    curve = limits.curve("flooded")
    assert curve is not None
    full = curve.points[0][0]
    assert full + curve.per_degree * (30 - curve.at) == F("12.53")
    assert full + curve.per_degree * (100 - curve.at) == F("12.698")


def test_what_was_seen_says_where(limits: Limits) -> None:
    """And what is of no published source does not claim to have been published."""
    rows = [row for table in limits.tables.values() for row in table.rows]
    assert any(row.known == "seen" for row in rows) and any(row.known == "from memory" for row in rows)
    assert all(row.read_in for row in rows if row.known == "seen")
    for table in limits.tables.values():
        assert (table.basis == "common practice") == (
            "no published source" in table.source or "three-quarters" in table.source
        )


# Clear of the question whether equal is within: read in the truck maker's tables named above.
JUDGED = [
    ("30", "standard", F(15, 8), True), ("30", "standard", F(17, 8), False), ("30", "long", F(17, 8), True),
    ("30", "long", F(21, 8), False), ("16", "standard", F(15, 8), False), ("16", "long", F(15, 8), True),
    ("24", "standard", F(13, 8), True), ("24", "long", F(9, 4), False), ("24", "three inch", F(9, 4), True),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "stroke", "value", "within"), JUDGED)
def test_a_chamber_is_judged_by_its_own_row(
    limits: Limits, kind: str, stroke: str, value: Fraction, within: bool
) -> None:
    """The same stroke is within one chamber's limit and past another's."""
    row = limits.tables["pushrod stroke"].row({"chamber": "clamp", "chamber_type": kind, "stroke": stroke})
    assert isinstance(row, LimitRow) and row.maximum is not None
    assert (value <= row.maximum) is within


@pytest.mark.parametrize(("diameter", "row"), [("14", "16 or less"), ("16", "16 or less"), ("20", "20")])
def test_a_small_wheel_is_of_the_row_sixteen_or_less(limits: Limits, diameter: str, row: str) -> None:
    """And a wheel of a size between two rows is of none: it is judged by its angle."""
    table = limits.tables["steering wheel play"]
    found = table.row({"wheel_diameter": diameter, "assist": "power"})
    assert found is not None and dict(found.keys)["wheel_diameter"] == row
    assert table.row({"wheel_diameter": "17", "assist": "power"}) is None
