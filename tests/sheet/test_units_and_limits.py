"""A sheet is written out for its unit: points for its parts, limits for what they are."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from tests.sheet.making import LEXICON, SHEET, UNIT, written
from voicelog.errors import SheetError
from voicelog.meaning.wording import show_limit
from voicelog.sheet import Problem, Sheet, Unit, check_sheet, check_unit, load_sheet, load_unit

PARTS = (
    UNIT
    + """\
air_system = "dual"
[unit.steering]
wheel_diameter = 20
assist = "power"
[[unit.belt]]
name = "fan"
span = 18
[[unit.battery]]
name = "front"
chemistry = "AGM"
[[unit.axle]]
position = "front"
[[unit.axle.wheel_end]]
side = "left"
chamber = { type = "16", stroke = "long" }
tyres = [{ size = "11R22.5", pressure = 110 }]
[[unit.axle.wheel_end]]
side = "right"
chamber = { type = "16" }
tyres = [{ size = "11R22.5", pressure = 110 }]
[[unit.axle]]
position = "rear"
[[unit.axle.wheel_end]]
side = "left"
chamber = { type = "30", stroke = "long" }
weight = 9000
tyres = [
  { size = "11R22.5", pressure = 100, position = "outer" },
  { size = "11R22.5", pressure = 100, position = "inner" },
]
[[unit.tyre_load]]
size = "11R22.5"
fitted = "dual"
loads = [[90, 4000], [100, 4400]]
source = "the tire maker's table, 2026"
"""
)

POINT = """
[[stop.point]]
id = "rod"
for_each = "wheel end"
name = "axle {axle} pushrod"
say = ["axle {axle} {side} pushrod"]
[[stop.point.reading]]
id = "stroke"
name = "stroke"
unit = "inch"
range = [0, 4]
resolution = "1/8"
limit = { table = "pushrod stroke" }
"""
SIDELESS = SHEET.replace('name = "left rear"', 'name = "under the unit"')
WITH_RODS = SIDELESS + POINT

OWN = """
[[unit.limit]]
sheet = "bay"
point = "rod_axle_1_left"
reading = "stroke"
max = "1 1/2"
source = "the maker's manual, 2024"
basis = "maker"
"""


def unit_of(folder: Path, text: str = PARTS) -> Unit:
    path = folder / "unit.toml"
    path.write_text(text, encoding="utf-8")
    return load_unit(path)


def sheet_of(folder: Path, sheet: str = WITH_RODS, unit: str = PARTS) -> Sheet:
    return load_sheet(written(folder, sheet), unit=unit_of(folder, unit))


def problems_of(folder: Path, sheet: str = WITH_RODS, unit: str = PARTS) -> tuple[Problem, ...]:
    return check_sheet(written(folder, sheet), unit=unit_of(folder, unit))


def rods(sheet: Sheet) -> dict[str, Fraction | None]:
    found = {}
    for point in sheet.points.values():
        if point.id.startswith("rod"):
            limit = point.reading("stroke").limit
            assert limit is not None
            found[point.full_name] = limit.maximum
    return found


def test_a_point_is_written_out_for_each_wheel_end_and_judged_by_its_chamber(tmp_path: Path) -> None:
    """Type 16 long stroke 2 in, standard 1 3/4, type 30 long stroke 2 1/2 (a truck maker's tables)."""
    sheet = sheet_of(tmp_path)
    assert rods(sheet) == {
        "left axle one pushrod": Fraction(2),
        "right axle one pushrod": Fraction(7, 4),
        "left axle two pushrod": Fraction(5, 2),
    }
    point = sheet.points["rod_axle_2_left"]
    assert (point.side, point.say) == ("left", ("axle two pushrod", "axle two left pushrod"))
    limit = point.reading("stroke").limit
    assert limit is not None
    assert "393.47(e)" in limit.source and "clamp 30 long" in limit.source and "memory" in limit.source


def test_at_a_stop_with_a_side_only_that_side_is_written_out(tmp_path: Path) -> None:
    """The left of the unit is looked at from the left."""
    text = SHEET.replace('[[stop]]\nid = "rear"', POINT.lstrip() + '\n[[stop]]\nid = "rear"')
    assert list(rods(sheet_of(tmp_path, text))) == ["left axle one pushrod", "left axle two pushrod"]


@pytest.mark.parametrize(
    ("for_each", "name", "expected"),
    [
        ("axle", "axle {axle} hub", ["axle one hub", "axle two hub"]),
        (
            "tyre",
            "axle {axle} {position} tire",
            [
                "left axle one tire",
                "right axle one tire",
                "left axle two outer tire",
                "left axle two inner tire",
            ],
        ),
        ("battery", "{battery} battery", ["front battery"]),
        ("belt", "{belt} belt drive", ["fan belt drive"]),
    ],
)
def test_every_kind_of_part_can_be_written_for(
    tmp_path: Path, for_each: str, name: str, expected: list[str]
) -> None:
    """A single tyre has no position, so its name does without one."""
    text = SIDELESS + f'[[stop.point]]\nid = "x"\nfor_each = "{for_each}"\nname = "{name}"\n'
    points = sheet_of(tmp_path, text).points.values()
    assert [p.full_name for p in points if p.id.startswith("x_")] == expected


def test_tread_is_judged_by_the_axle(tmp_path: Path) -> None:
    """Front 4/32 in, others 2/32 in: 49 CFR 393.75(b) and (c), read in a reprint."""
    changed = {
        '"wheel end"': '"tyre"',
        "pushrod stroke": "tread depth",
        "{side} pushrod": "{side} {position} tread",
        "{axle} pushrod": "{axle} {position} tread",
    }
    text = WITH_RODS
    for old, new in changed.items():
        text = text.replace(old, new)
    limits = [
        r.limit
        for p in sheet_of(tmp_path, text).points.values()
        if p.id.startswith("rod")
        for r in p.readings
    ]
    assert [limit.minimum for limit in limits if limit] == [Fraction(4, 32)] * 2 + [Fraction(2, 32)] * 2


WHERE = (
    SIDELESS
    + """
[[stop.point]]
id = "gauge"
where = { air_system = "dual" }
name = "air gauge"
[[stop.point]]
id = "gauge_single"
where = { air_system = "single" }
name = "air gauge"
[[stop.point]]
id = "tire"
for_each = "tyre"
where = { fitted = "dual" }
name = "axle {axle} {position} tire"
"""
)


@pytest.mark.parametrize(
    ("said", "gauges"),
    [
        ('air_system = "dual"', ["gauge"]),
        ('air_system = "single"', ["gauge_single"]),
        ('air_system = "none"', []),
    ],
)
def test_a_point_is_written_only_where_the_unit_or_its_part_is_so(
    tmp_path: Path, said: str, gauges: list[str]
) -> None:
    """Two that no unit has both may be called the same."""
    unit = PARTS.replace('air_system = "dual"', said)
    points = sheet_of(tmp_path, WHERE, unit).points
    assert [p for p in points if p.startswith("gauge")] == gauges
    assert [p for p in points if p.startswith("tire")] == ["tire_axle_2_left_outer", "tire_axle_2_left_inner"]
    assert problems_of(tmp_path, WHERE, unit) == ()
    assert check_sheet(written(tmp_path, WHERE)) == ()


def test_a_unit_that_does_not_say_what_a_point_depends_on_cannot_be_walked(tmp_path: Path) -> None:
    """A point must not be left out of every walk because a line is missing from the unit's file."""
    problems = problems_of(tmp_path, WHERE, PARTS.replace('air_system = "dual"', ""))
    assert [p.severity for p in problems] == ["error", "error"]
    assert (
        "does not say its air_system" in problems[0].what and "dual or single or none" in problems[0].remedy
    )


def test_a_sheet_about_parts_that_the_unit_has_none_of_says_so(tmp_path: Path) -> None:
    """And not that the sheet is empty."""
    text = (
        SHEET.split("[[stop]]", 1)[0]
        + """[[stop]]
id = "drives"
name = "drives"
cautions = ["Engine off."]
[[stop.point]]
id = "x"
for_each = "belt"
name = "{belt} drive"
"""
    )
    errors = [p for p in problems_of(tmp_path, text, UNIT) if p.severity == "error"]
    assert len(errors) == 1 and "has nothing that this sheet asks about" in errors[0].what


@pytest.mark.parametrize(
    ("old", "new", "what", "remedy"),
    [
        ('{ air_system = "dual" }', '{ air_system = "duel" }', 'unknown air_system "duel"', '"dual"'),
        ('{ air_system = "dual" }', '{ fitted = "dual" }', 'by "fitted"', "air_system"),
        ('{ fitted = "dual" }', '{ fited = "dual" }', 'by "fited"', '"fitted"'),
        ('{ air_system = "single" }', '{ air_system = "dual" }', "both be meant", "other words"),
    ],
)
def test_a_mistake_in_where_is_an_error(tmp_path: Path, old: str, new: str, what: str, remedy: str) -> None:
    """A misspelt one would leave the point out of every walk."""
    problems = problems_of(tmp_path, WHERE.replace(old, new, 1))
    found = [p for p in problems if what in p.what and p.severity == "error"]
    assert found and remedy in found[0].remedy, [str(p) for p in problems]


STEERING = (
    SIDELESS
    + """
[[stop.point]]
id = "wheel"
name = "steering wheel"
[[stop.point.reading]]
id = "play"
name = "play"
unit = "inch"
range = [0, 12]
resolution = "1/4"
limit = { table = "steering wheel play", or_none = true }
[[stop.point.computed]]
id = "angle"
name = "angle"
kind = "steering angle"
range = [0, 90]
limit = { table = "steering wheel angle", unless = "steering wheel play" }
"""
)


@pytest.mark.parametrize(
    ("diameter", "assist", "play", "angle"),
    # 49 CFR 393.209(b)(1) and (2), from memory: inches for the sizes listed, degrees for any other.
    [("20", "power", Fraction(21, 4), None), ("15", "manual", Fraction(2), None),
     ("17", "power", None, Fraction(30)), ("24", "manual", None, Fraction(14))],
)  # fmt: skip
def test_a_steering_wheel_of_a_size_that_is_not_listed_is_judged_by_its_angle(
    tmp_path: Path, diameter: str, assist: str, play: Fraction | None, angle: Fraction | None
) -> None:
    """One of the two limits holds, never both and never none."""
    unit = PARTS.replace("wheel_diameter = 20", f"wheel_diameter = {diameter}").replace(
        '"power"', f'"{assist}"'
    )
    point = sheet_of(tmp_path, STEERING, unit).points["wheel"]
    found = [point.reading(name).limit for name in ("play", "angle")]
    assert [limit.maximum if limit else None for limit in found] == [play, angle]


def test_a_limit_unless_a_table_that_there_is_not_is_an_error(tmp_path: Path) -> None:
    """A misspelt name would otherwise leave the value without its limit."""
    text = STEERING.replace('unless = "steering wheel play"', 'unless = "steering weel play"')
    (problem,) = problems_of(tmp_path, text)
    assert "no table of limits" in problem.what and "steering wheel play" in problem.remedy


LOADS = (
    SIDELESS
    + """
[[stop.point]]
id = "gauge"
for_each = "tyre"
name = "axle {axle} {position} gauge"
[[stop.point.reading]]
id = "pressure"
name = "pressure"
unit = "psi"
range = [0, 160]
resolution = 1
[[stop.point.computed]]
id = "load"
name = "load"
kind = "share of tyre load"
range = [0, 1000]
limit = { max = 100, source = "the load table", basis = "maker" }
"""
)


def test_a_tyres_load_is_asked_only_where_the_unit_has_its_weight_and_table(tmp_path: Path) -> None:
    """Duals share the weight of their end; front tyres have neither weight nor a table for singles."""
    lexicon = LEXICON + '[[measure]]\nunit = "psi"\nsymbol = "psi"\nsay = ["psi"]\n'
    points = load_sheet(written(tmp_path, LOADS, lexicon), unit=unit_of(tmp_path)).points
    loads = {p.id: p.computed for p in points.values() if p.id.startswith("gauge")}
    assert [len(computed) for computed in loads.values()] == [0, 0, 1, 1]
    (computed,) = loads["gauge_axle_2_left_outer"]
    assert (computed.constant, computed.curve[-1]) == (Fraction(4500), (Fraction(100), Fraction(4400)))
    assert computed.basis == "the tire maker's table, 2026"


def test_a_sheet_that_depends_on_the_unit_cannot_be_used_without_one(tmp_path: Path) -> None:
    """It can be checked without one, and then says what to do to use it."""
    path = written(tmp_path, WITH_RODS)
    assert check_sheet(path) == ()
    with pytest.raises(SheetError, match="no unit was given") as raised:
        load_sheet(path)
    assert "--unit FILE" in raised.value.remedy


def test_the_edition_of_the_unit_counts_only_where_the_sheet_asks_about_it(tmp_path: Path) -> None:
    """Its hash is the sheet's own edition where the points are written out for it."""
    unit = unit_of(tmp_path)
    assert sheet_of(tmp_path).unit_sha256 == unit.sha256 != ""
    assert sheet_of(tmp_path).limits_sha256 != ""
    plain = load_sheet(written(tmp_path), unit=unit)
    assert (plain.unit_sha256, plain.limits_sha256) == ("", "")


# the unit's own limits -------------------------------------------------------------------------


def test_a_stricter_limit_of_the_unit_takes_the_place_of_the_published_one(tmp_path: Path) -> None:
    """Its source is told, and so is what it replaces."""
    sheet = sheet_of(tmp_path, unit=PARTS + OWN)
    reading = sheet.points["rod_axle_1_left"].reading("stroke")
    assert reading.limit is not None
    assert (reading.limit.maximum, reading.limit.source) == (Fraction(3, 2), "the maker's manual, 2024")
    assert show_limit(reading, sheet.lexicon) == "at most 1 1/2 in, the unit's own; published at most 2 in"
    assert rods(sheet)["right axle one pushrod"] == Fraction(7, 4)


def test_an_own_limit_of_the_written_point_is_that_of_every_part(tmp_path: Path) -> None:
    """The point's id as the sheet has it stands for all of them."""
    sheet = sheet_of(tmp_path, unit=PARTS + OWN.replace("rod_axle_1_left", "rod"))
    assert set(rods(sheet).values()) == {Fraction(3, 2)}


def test_a_looser_limit_of_the_unit_is_a_warning_and_is_told_everywhere(tmp_path: Path) -> None:
    """With the line of the unit's file and both sources."""
    text = PARTS + OWN.replace('max = "1 1/2"', 'max = "2 1/4"')
    (problem,) = problems_of(tmp_path, unit=text)
    line = text.splitlines().index("[[unit.limit]]") + 1
    assert (problem.severity, problem.line, Path(problem.path).name) == ("warning", line, "unit.toml")
    assert "looser" in problem.what
    assert "maker's manual, 2024" in problem.remedy and "393.47(e)" in problem.remedy
    reading = sheet_of(tmp_path, unit=text).points["rod_axle_1_left"].reading("stroke")
    shown = show_limit(reading, sheet_of(tmp_path, unit=text).lexicon)
    assert shown == "at most 2 1/4 in, the unit's own, looser than published at most 2 in"


def test_an_own_bound_leaves_the_other_bound_as_it_was(tmp_path: Path) -> None:
    """A policy that raises the least does not take the most away."""
    sheet = SHEET.replace('{ max = "3/4"', '{ min = "1/8", max = "3/4"')
    own = OWN.replace("rod_axle_1_left", "belt").replace('"stroke"', '"deflection"').replace(
        'max = "1 1/2"', 'min = "1/4"'
    )  # fmt: skip
    limit = sheet_of(tmp_path, sheet, PARTS + own).points["belt"].reading("deflection").limit
    assert limit is not None
    assert (limit.minimum, limit.maximum, limit.looser) == (Fraction(1, 4), Fraction(3, 4), False)


# mistakes --------------------------------------------------------------------------------------

# name: (text replaced in the unit, text put in with #! on the line expected, what, remedy)
UNIT_CASES = {
    "stroke class": ('stroke = "long" }', 'stroke = "longg" } #!', '"longg"', '"long"'),
    "chemistry": ('chemistry = "AGM"', 'chemistry = "agn" #!', '"agn"', '"AGM"'),
    "axle position": ('position = "rear"', 'position = "reer" #!', '"reer"', '"rear"'),
    "assist": ('assist = "power"', 'assist = "powre" #!', '"powre"', '"power"'),
    "air system": ('air_system = "dual"', 'air_system = "duel" #!', '"duel"', '"dual"'),
    "key of a chamber": ('{ type = "16" }', '{ typ = "16" } #!', '"typ"', '"type"'),
    "key of an axle": ('[[unit.axle.wheel_end]]\nside = "left"\nchamber = { type = "30"',
                       '[[unit.axle.wheel_end]]\nsid = "left" #!\nchamber = { type = "30"',
                       '"sid"', '"side"'),
    "two left ends": ('side = "right"', 'side = "left" #!', "two left wheel ends", "one left and one right"),
    "duals alike": ('position = "inner" },\n]', 'position = "outer" },\n] #', "told apart", "inner"),
    "belt span": ("span = 18", "span = 0 #!", "not above zero", "inches"),
    "wheel diameter": ("wheel_diameter = 20", "wheel_diameter = 0 #!", "not above zero", "inches"),
    "weight": ("weight = 9000", "weight = 0 #!", "not above zero", "pounds"),
    "fitted": ('fitted = "dual"', 'fitted = "duel" #!', '"duel"', '"dual"'),
    "one row of a load table": (", [100, 4400]]", "] #!", "two rows or more", "psi and pounds"),
    "falling load table": ("4400]]", "3900]] #!", "must rise", "lowest pressure first"),
    "load table's source": (
        'source = "the tire maker\'s table, 2026"', 'source = "" #!', "no source", "edition"
    ),
    "two load tables": ("[[unit.tyre_load]]", """[[unit.tyre_load]]
size = "11R22.5"
fitted = "dual"
loads = [[90, 4000], [100, 4400]]
source = "another"
[[unit.tyre_load]] #!""", "two load tables", "Keep one"),
    "battery's name": ('name = "front"', 'name = "Front 1" #!', "digits", "front one"),
}  # fmt: skip


@pytest.mark.parametrize("case", UNIT_CASES)
def test_a_mistake_in_a_units_attributes_is_named_by_its_line(tmp_path: Path, case: str) -> None:
    """With what is wrong and what to write."""
    old, new, what, remedy = UNIT_CASES[case]
    assert PARTS.count(old) >= 1
    text = PARTS.replace(old, new, 1)
    path = tmp_path / "unit.toml"
    path.write_text(text, encoding="utf-8")
    problems = [p for p in check_unit(path) if what in p.what]
    assert problems, [str(p) for p in check_unit(path)]
    assert remedy in problems[0].remedy
    marked = [n for n, line in enumerate(text.splitlines(), 1) if "#!" in line]
    assert not marked or problems[0].line == marked[0]


# name: (text replaced in the sheet's point, text put in, text put into the unit, what, remedy)
SHEET_CASES = {
    "word": ("{axle} pushrod", "{axel} pushrod", "", '"{axel}"', '"axle"'),
    "brace": ('"axle {axle} pushrod"', '"axle {axle pushrod"', "", "brace", "{axle}"),
    "no for_each": ('for_each = "wheel end"\n', "", "", "stands for nothing", "for_each"),
    "for_each": ('"wheel end"', '"weel end"', "", 'unknown for_each "weel end"', '"wheel end"'),
    "table": ('"pushrod stroke"', '"pushrod strok"', "", "no table of limits", '"pushrod stroke"'),
    "both": ('stroke" }', 'stroke", max = 2 }', "", 'its own "max"', "Keep one"),
    "unit of measure": ('"pushrod stroke"', '"low air warning"', "", "psi", "psi"),
    "key of a row": ('stroke" }', 'stroke", row = { strok = "long" } }', "", 'not by "strok"', '"stroke"'),
    "no such chamber": ("", "", 'type = "30"|type = "31"', "chamber_type 31", "30 long"),
    "no chamber": ("", "", 'chamber = { type = "16" }\n|', "does not say its chamber", "unit's file"),
}  # fmt: skip


@pytest.mark.parametrize("case", SHEET_CASES)
def test_a_mistake_about_parts_and_tables_is_named_by_its_line(tmp_path: Path, case: str) -> None:
    """In the sheet's file, where the point is written."""
    old, new, unit, what, remedy = SHEET_CASES[case]
    was, _, put = unit.partition("|")
    assert (old in POINT) and (was in PARTS)
    problems = problems_of(
        tmp_path, SIDELESS + (POINT.replace(old, new, 1) if old else POINT), PARTS.replace(was, put, 1)
    )
    found = [p for p in problems if what in p.what]
    assert found, [str(p) for p in problems]
    assert remedy in found[0].remedy + found[0].what
    first = SIDELESS.count("\n")
    assert first < found[0].line <= first + POINT.count("\n") + 1
    assert found[0].severity == "error"


def test_a_part_that_the_unit_does_not_have_is_left_out_with_a_warning(tmp_path: Path) -> None:
    """So that a misspelt unit does not pass as one without brakes."""
    text = SIDELESS + '[[stop.point]]\nid = "x"\nfor_each = "belt"\nname = "{belt} drive"\n'
    (problem,) = problems_of(tmp_path, text, UNIT)
    assert problem.severity == "warning" and "has no belt" in problem.what
    assert not any(p.startswith("x") for p in sheet_of(tmp_path, text, UNIT).points)


@pytest.mark.parametrize(
    ("old", "new", "what", "remedy"),
    [
        ("rod_axle_1_left", "rodd", 'no point "rodd"', '"rod"'),
        ('"stroke"', '"strok"', 'no reading "strok"', '"stroke"'),
    ],
)
def test_an_own_limit_of_nothing_on_the_sheet_is_an_error(
    tmp_path: Path, old: str, new: str, what: str, remedy: str
) -> None:
    """A limit that is silently without effect would be taken for one that holds."""
    (problem,) = problems_of(tmp_path, unit=PARTS + OWN.replace(old, new))
    assert what in problem.what and remedy in problem.remedy and problem.severity == "error"
