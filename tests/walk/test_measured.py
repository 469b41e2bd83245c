"""Every computed and timed value of the shipped sheets, said by keyboard to the walk, judged and reported.

Each expected value is worked out by hand from what is said; each limit is that of its table, or of the
demonstration unit's file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from tests.conftest import ROOT
from tests.opening import without_gate
from voicelog.conduct import Conductor
from voicelog.records.store import Store
from voicelog.reports.contents import report_contents
from voicelog.reports.parts import ReadingPart
from voicelog.sheet import Sheet, Unit, load_sheet, load_unit

F = Fraction
ENGINE_61 = ROOT / "samples" / "engine_61.toml"


@dataclass(frozen=True)
class Case:
    """What is said at a stop of a sheet, and what it comes to."""

    sheet: str
    stop: str
    said: tuple[str, ...]
    """A number of seconds to let pass stands between phrases as ``60 s``."""
    point: str
    result: str
    value: Fraction
    judgement: str
    in_doubt: bool
    shown: str
    si: str


CASES = (
    # Fan belt, span 18 in: 9/32 over 18 is 1/64, the limit, so that half a thirty-second more is past it.
    Case("belts_and_fluids", "drive belts", ("fan belt tension deflection nine thirty seconds",),
         "tension_belt_fan", "of_span", F(1, 64), "above", True, "0.015625 in per in (0.0147 to 0.0165)", ""),
    Case("belts_and_fluids", "drive belts", ("fan belt tension deflection one quarter",),
         "tension_belt_fan", "of_span", F(1, 72), "within", False, "0.0139 in per in (0.013 to 0.0148)", ""),
    Case("belts_and_fluids", "drive belts", ("air conditioning belt tension gives one half inch",),
         "tension_belt_air_conditioning", "of_span", F(1, 24), "above", False,
         "0.0417 in per in (0.0403 to 0.043)", ""),
    # Two quarts in a hundred hours; the unit's limit is a twentieth. 0.02 qt/h = 0.018927 L/h.
    Case("belts_and_fluids", "fluids used",
         ("engine oil use added two quarts", "engine oil use hours since one hundred hours"),
         "engine_oil", "use", F(1, 50), "within", False, "0.02 qt/h (0.0174 to 0.0227)", "about 0.01893 L/h"),
    Case("belts_and_fluids", "fluids used", ("oil use added six quarts", "oil use hours since sixty"),
         "engine_oil", "use", F(1, 10), "above", False, "0.1 qt/h (0.095 to 0.106)", "about 0.09464 L/h"),
    # Half a quart in forty hours, read in half quarts: it may be on either side of 0.01.
    Case("belts_and_fluids", "fluids used",
         ("coolant use added one half quart", "coolant use since full forty"),
         "coolant", "use", F(1, 80), "above", True, "0.0125 qt/h (0.00617 to 0.019)", "about 0.01183 L/h"),
    # Forty gallons in two hundred miles; no limit in the unit's file. 0.2 gal/mi = 0.47043 L/km.
    Case("belts_and_fluids", "fluids used",
         ("fuel use added forty gallons", "fuel use miles since two hundred"),
         "fuel", "use", F(1, 5), "no limit", False, "0.2 gal/mi (0.197 to 0.204)", "about 0.4704 L/km"),
    # 20 in wheel: 5.25 in of rim is 5.25 x 360 / (20 pi) = 30.08 degrees; the table of play judges it.
    Case("cab", "driver seat", ("steering wheel play five and one quarter inches",),
         "steering_wheel", "angle", F("30.0803"), "no limit", False, "30.1 ° (29.3 to 30.8)", ""),
    # Flooded, 12.35 V at 30 F: 12.35 + 0.0024 x 50 = 12.47 V, 75 + 25 x 0.02 / 0.2 = 77.5 percent.
    Case("electrical", "battery box",
         ("front battery temperature thirty", "front battery rest voltage twelve point three five"),
         "battery_battery_front", "charge", F("77.5"), "within", False, "77.5 % (61.1 to 93.9)", ""),
    # 12.24 V is half a charge by the table: 12.25 V is on both sides of a half.
    Case("electrical", "battery box", ("rear battery rest voltage twelve point two five",),
         "battery_battery_rear", "charge", F(50) + F(25, 21), "below", True, "51.2 % (35.4 to 66.9)", ""),
    # 96 of 120 psi is four fifths of the placard.
    Case("wheel_ends", "left wheels", ("axle one left tire pressure ninety six",),
         "tire_pressure_axle_1_left", "placard", F(80), "below", False, "80 % (79.5 to 80.5)", ""),
    # Engine 61's load table has 7,600 lb at 110 psi and 8,100 at 120: 7,800 lb of 7,850 at 115.
    Case("wheel_ends", "left wheels", ("axle one left tire pressure one hundred fifteen",),
         "tire_pressure_axle_1_left", "load", F(78000, 785), "within", False, "99.4 % (99 to 99.7)", ""),
    # Duals carry half of 12,000 lb each; 5,600 lb at 90 psi and 6,050 at 100: 6,000 of 5,825 at 95.
    Case("wheel_ends", "left wheels", ("axle two left outer tire pressure ninety five",),
         "tire_pressure_axle_2_left_outer", "load", F(24000, 233), "above", False, "103 % (102 to 104)", ""),
    # 2 1/2 less 1/2 is 2 in, the limit of a type 30: with half a sixteenth at each mark it may be more.
    Case("wheel_ends", "left wheels",
         ("axle two pushrod marks released one half", "axle two pushrod marks applied two and one half"),
         "pushrod_marks_axle_2_left", "stroke", F(2), "above", True, "2 in (1.93 to 2.07)", "50.8 mm"),
    # 100 to 99 psi in two minutes: half a psi a minute, and no more than 1.02.
    Case("air_brakes", "holding air",
         ("start static loss at one hundred", "120 s", "stop ninety nine"),
         "brakes_released", "static_loss", F(1, 2), "within", False,
         "0.5 psi/min (0 to 1.02)", "about 3.447 kPa/min"),
    # 100 to 90 in two minutes: five a minute.
    Case("air_brakes", "holding air",
         ("start applied loss at one hundred", "120 s", "stop ninety"),
         "brakes_applied", "applied_loss", F(5), "above", False,
         "5 psi/min (4.42 to 5.6)", "about 34.47 kPa/min"),
    # 90 to 100 psi in 20 s is 30 s from 85 to 100.
    Case("air_brakes", "building up", ("start build up", "ninety", "20 s", "one hundred"),
         "air_supply", "build_up", F(30), "within", False, "30 s (24.5 to 36.7)", "30 s"),
)  # fmt: skip


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self, start: datetime) -> None:
        self.now = start

    def __call__(self) -> datetime:
        return self.now


Walk = Callable[..., Conductor]


@pytest.fixture(scope="module")
def sheets() -> dict[str, Sheet]:
    """The sheets by id, for Engine 61, without their cautions."""
    unit = load_unit(ENGINE_61)
    names = dict.fromkeys(case.sheet for case in CASES)
    return {name: without_gate(load_sheet(ROOT / "grammars" / f"{name}.toml", unit=unit)) for name in names}


@pytest.fixture
def walk(tmp_path: Path, clock: Callable[[], datetime]) -> Iterator[Walk]:
    """Begin a walk of a sheet for a unit, and say what is to be said."""
    time = Clock(clock())
    with Store.open(tmp_path, clock=time) as store:

        def begin(sheet: Sheet, unit: Unit, *said: str) -> Conductor:
            walk = Conductor(store, sheet, unit, None, clock=time)
            walk.begin("R. Alder")
            for phrase in said:
                if phrase.endswith(" s") and phrase[0].isdigit():
                    time.now += timedelta(seconds=int(phrase.split()[0]))
                else:
                    walk.typed(phrase)
            return walk

        yield begin


def reported(walk: Conductor, point: str, result: str) -> ReadingPart:
    """Return a result as a report of the walk shows it."""
    contents = report_contents(walk.state, walk_id="w", problems=(), head="")
    at = walk.state.sheet.points[point]
    (part,) = [r for r in contents.readings if (r.point, r.name) == (at.full_name, at.reading(result).name)]
    return part


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.point}-{case.result}-{case.judgement}")
def test_what_is_said_is_computed_judged_and_reported(
    case: Case, sheets: dict[str, Sheet], walk: Walk, engine_61: Unit
) -> None:
    """Exact in the record, and in the report in the unit spoken and in SI, on its side of the limit."""
    made = walk(sheets[case.sheet], engine_61, f"go to {case.stop}", *case.said)
    (entry,) = [
        e for e in made.state.entries.values()
        if (e.claim.point_id, e.claim.reading_id) == (case.point, case.result) and e.status != "replaced"
    ]  # fmt: skip
    assert entry.claim.value is not None and entry.claim.low is not None and entry.claim.high is not None
    assert float(entry.claim.value) == pytest.approx(float(case.value), rel=1e-5)
    assert entry.claim.low < entry.claim.value < entry.claim.high
    assert (entry.claim.judgement, entry.in_doubt) == (case.judgement, case.in_doubt)
    covered = made.state.status(case.point) == "sound"
    assert not covered or (case.judgement in ("within", "no limit") and not case.in_doubt)
    part = reported(made, case.point, case.result)
    if not case.in_doubt:
        assert (part.value, part.si) == (case.shown, case.si)
    assert bool(part.source) == (case.judgement != "no limit")


def test_a_single_air_system_has_its_own_build_up(walk: Walk, tmp_path: Path) -> None:
    """From 50 to 90 psi within three minutes, by the commercial driver's manual, read in a reprint."""
    path = tmp_path / "unit.toml"
    text = ENGINE_61.read_text(encoding="utf-8").replace('air_system = "dual"', 'air_system = "single"')
    path.write_text(text, encoding="utf-8")
    unit = load_unit(path)
    sheet = without_gate(load_sheet(ROOT / "grammars" / "air_brakes.toml", unit=unit))
    made = walk(sheet, unit, "go to building up", "start build up", "fifty", "120 s", "ninety")
    part = reported(made, "air_supply_single", "build_up")
    assert (part.value, part.limit) == ("120 s (115 to 126)", "at most 180 s")
    assert (part.judgement, part.basis) == ("within the limit", "published")


# the unit's own limits ------------------------------------------------------------------------

OWN = """
[[unit.limit]]
sheet = "{sheet}"
point = "{point}"
reading = "{reading}"
{bound}
source = "Policy 12, 2026 edition (invented)"
basis = "local policy"
"""


@pytest.mark.parametrize(
    ("sheet", "stop", "said", "point", "reading", "bound", "limit"),
    [
        # A reading with the sheet's own figure, one with a table's row, a computed value, a timed test.
        ("engine_bay", "engine front", ("coolant below full three quarters",), "coolant", "below_mark",
         'max = "1/2"', "at most 1/2 in, the unit's own; the sheet's at most 1 in"),
        ("cab", "driver seat", ("steering wheel play four inches",), "steering_wheel", "play",
         "max = 3", "at most 3 in, the unit's own; published at most 5 1/4 in"),
        ("wheel_ends", "left wheels",
         ("axle two pushrod marks released one half", "axle two pushrod marks applied two and one quarter"),
         "pushrod_marks_axle_2_left", "stroke", 'max = "1 1/2"',
         "at most 1 1/2 in, the unit's own; published at most 2 in"),
        ("air_brakes", "holding air",
         ("start static loss at one hundred", "180 s", "stop ninety six"),
         "brakes_released", "static_loss", 'max = "0.5"',
         "at most 0.5 psi/min, the unit's own; published at most 2 psi/min"),
    ],
)  # fmt: skip
def test_a_stricter_limit_of_the_unit_judges_and_the_report_says_so(
    walk: Walk, tmp_path: Path, sheet: str, stop: str, said: tuple[str, ...], point: str, reading: str,
    bound: str, limit: str,
) -> None:  # fmt: skip
    """What the sheet would pass is a defect; the report has both limits and the policy that is the source."""
    own = OWN.format(sheet=sheet, point=point, reading=reading, bound=bound)
    path = tmp_path / "unit.toml"
    path.write_text(ENGINE_61.read_text(encoding="utf-8") + own, encoding="utf-8")
    path_of = ROOT / "grammars" / f"{sheet}.toml"
    before, after = load_unit(ENGINE_61), load_unit(path)
    lax = walk(without_gate(load_sheet(path_of, unit=before)), before, f"go to {stop}", *said)
    assert reported(lax, point, reading).judgement == "within the limit"
    strict = walk(without_gate(load_sheet(path_of, unit=after)), after, f"go to {stop}", *said)
    part = reported(strict, point, reading)
    assert (part.judgement, part.outside, part.limit) == ("above the limit", True, limit)
    assert (part.source, part.basis) == ("Policy 12, 2026 edition (invented)", "local policy")
