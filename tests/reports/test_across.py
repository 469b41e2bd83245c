"""A unit's history and a station's overview: from the same record as the walks themselves."""

from __future__ import annotations

import csv
import io
import json
import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import html5lib
import pypdf
import pytest
from click.testing import CliRunner

from voicelog import cli
from voicelog.commands import across as commands
from voicelog.commands import shop
from voicelog.defects import acts
from voicelog.defects.life import SHOWN
from voicelog.errors import RecordError
from voicelog.limits.trend import fluid_use, may_cross, trend
from voicelog.records.across import LastWalk
from voicelog.records.decisions import Decided
from voicelog.records.store import Store
from voicelog.reports.across import gather_history, gather_overview
from voicelog.reports.across_html import history_html, overview_html
from voicelog.reports.across_pdf import history_pdf, overview_pdf
from voicelog.reports.across_tables import COLUMNS, csv_table, history_tables, overview_tables
from voicelog.reports.across_write import write_history
from voicelog.reports.glance import decision_rows, glances
from voicelog.reports.overview import Overview, checks
from voicelog.reports.unit_history import UnitHistory
from voicelog.sheet.model import Extent, Limit, Sheet, Unit
from voicelog.sheet.policy import NO_POLICY, Interval
from voicelog.walk.events import (
    Event,
    GroupMarkConfirmed,
    GroupMarked,
    GroupMarkReopened,
    SignedOff,
    WalkFinished,
    WalkResumed,
    WalkStarted,
)
from voicelog.walk.state import fold

from .making import START, Making, bay, opened, started
from .reading_html import read

HOSTILE = '=cmd|x!"><script>alert(1)</script>\u202e\x1b[31m'
TRAVEL = ["5/16", "3/8", "7/16", "1/2", "9/16", "5/8", "11/16"]
NOW = START + timedelta(days=7 * len(TRAVEL))


@dataclass
class Clock:
    """Goes on by half a second each time it is read."""

    now: datetime = START

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=0.5)
        return self.now


@dataclass
class Station:
    """A record of two units: seven weekly walks of one, and one that was broken off of the other."""

    store: Store
    sheet: Sheet
    walks: list[str] = field(default_factory=list)

    def sheet_of(self, started: WalkStarted) -> Sheet | None:
        return self.sheet if started.sheet_id == self.sheet.id else None

    def history(self, unit: str = "engine_61", since: date | None = None) -> UnitHistory:
        return gather_history(self.store, unit, self.sheet_of, NOW, since)

    def overview(self, *units: Unit) -> Overview:
        return gather_overview(self.store, self.sheet_of, NOW, NO_POLICY, units)


def weekly_walk(sheet: Sheet, number: int) -> list[Event]:
    make = Making(sheet, lambda words: None)  # type: ignore[arg-type,return-value]
    operator = ("R. Alder", "J. Okafor")[number % 2]
    events: list[Event] = [started(sheet, operator=operator)]
    if number == 2:
        events.append(make.entry("weeping", make.condition("lift_cylinder_left", "weeping")))
    if number == 3:
        events.append(WalkResumed(operator="T. Nyberg"))
    events.append(make.entry("travel", make.reading("slack_adjuster_left", TRAVEL[number])))
    events += [make.entry("fine", make.condition(point, "intact")) for point in ("brake_hose_left", "shroud")]
    events += [make.entry("volts", make.reading("battery", f"12.{5 + number % 2}")) for _ in range(3)]
    heard = make.heard("affirmative")
    points = ("fan_belt", "coolant", "air_tank")
    events.append(
        GroupMarked(stop_id="engine_front", point_ids=points, by=operator, asked=heard, heard=heard)
    )
    events.append(GroupMarkConfirmed(point_ids=("fan_belt",), by="M. Ruiz"))
    events.append(GroupMarkReopened(point_ids=("coolant",), by="M. Ruiz", reason="look"))
    return events


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Station]:
    """Give the record."""
    sheet, clock = bay(), Clock()
    with Store.open(tmp_path_factory.mktemp("station"), clock=clock) as store:
        made = Station(store, sheet)
        for number in range(len(TRAVEL)):
            clock.now = START + timedelta(days=7 * number)
            walk = f"engine_61-{number}"
            for event in weekly_walk(sheet, number):
                store.append(walk, [event])
            state = fold(sheet, ((s.at, s.event) for s in store.events(walk)))
            store.append(walk, [WalkFinished(missing=tuple(p.id for p in state.missing()))])
            store.defects.take_up(walk, fold(sheet, ((s.at, s.event) for s in store.events(walk))))
            made.walks.append(walk)
            if number == 3:
                store.defects.do(
                    "engine_61-d1", lambda d: acts.repair(d, by=HOSTILE, role="mechanic", findings="new seal")
                )
        signed = SignedOff(
            by="M. Ruiz",
            role="officer",
            meaning="confirmed by",
            decision="in service",
            head=store.head(walk),
        )
        store.append(walk, [signed])
        store.append("other-1", [started(sheet, unit_id="other", unit_name=HOSTILE, operator=HOSTILE)])
        yield made


# the walks -----------------------------------------------------------------------------------------


def test_walks_are_told_as_they_are(station: Station) -> None:
    """Coverage, group marks, people and signature of each, as the folded walk has them; newest first."""
    rows = station.history().walks
    assert [row.walk for row in rows] == station.walks[::-1]
    for row in rows:
        events = [(s.at, s.event) for s in station.store.events(row.walk)]
        state = fold(station.sheet, events)
        assert state.finished is not None and state.finished_at is not None
        assert int(row.not_covered) == len(state.finished.missing) > 0
        assert int(row.required) == state.required
        assert row.coverage == f"{state.covered} of {state.required}"
        assert int(row.group_marked) == len(state.marks.points) == 2
        assert int(row.group_confirmed) == len(state.marks.confirmed) == 1
        assert int(row.entries) == len(state.entries)
        assert row.by == ", ".join(dict.fromkeys(state.operators))
        assert float(row.seconds) == round((state.finished_at - events[0][0]).total_seconds())
        assert row.hurried  # half a second an event
    assert [row.defects for row in rows] == ["0"] * 4 + ["1"] + ["0"] * 2
    assert (rows[0].signed, rows[0].decision) == ("confirmed by M. Ruiz", "in service")


def test_who_inspected(station: Station) -> None:
    """Each operator with how many walks; whoever took one up counts too."""
    found = {one.name: one.walks for one in station.history().inspectors}
    assert found == {"R. Alder": 4, "J. Okafor": 3, "T. Nyberg": 1}


def test_since_leaves_out_what_is_older(station: Station) -> None:
    """Walks and readings from that day on; a day after the last, and an unknown unit, are told."""
    later = station.history(since=(START + timedelta(days=30)).date())
    assert [row.walk for row in later.walks] == station.walks[:4:-1]
    (travel,) = (s for _, s in later.series if s.reading_id == "travel")
    assert [str(v.value) for v in travel.values] == TRAVEL[5:]
    for unit, since in (("engine_61", NOW.date()), ("nobody", None)):
        with pytest.raises(RecordError, match="no walk of unit"):
            station.history(unit, since)


def test_defects_have_their_lives(station: Station) -> None:
    """What happened to the defect stands in order, with when it was repaired."""
    (life,) = station.history().lives
    assert life.open and life.row.state == SHOWN["repaired"]
    assert life.row.repaired_at.startswith((START + timedelta(days=21)).date().isoformat())
    assert [line.split(" ")[2].rstrip(":") for line in life.happened] == ["heard", "repaired"]
    assert "new seal" in life.row.life and life.row.findings == "new seal"


# the overview --------------------------------------------------------------------------------------


def last(extent: Extent, days_ago: float) -> LastWalk:
    return LastWalk("u", "Unit", "bay", "Bay", extent, f"w{days_ago}", NOW - timedelta(days=days_ago))


@pytest.mark.parametrize(
    ("walks", "every", "wanted"),
    [
        ([], {}, {"daily": ("never walked", ""), "weekly": ("never walked", "")}),
        ([last("daily", 0)], {}, {"daily": ("in time", ""), "weekly": ("never walked", "")}),
        ([last("daily", 1)], {}, {"daily": ("due today", ""), "weekly": ("never walked", "")}),
        ([last("daily", 2)], {}, {"daily": ("overdue", "1"), "weekly": ("never walked", "")}),
        # A greater extent takes in the lesser ones, a lesser one not the greater.
        ([last("weekly", 0), last("daily", 9)], {}, {"daily": ("in time", ""), "weekly": ("in time", "")}),
        ([last("daily", 0), last("weekly", 9)], {}, {"daily": ("in time", ""), "weekly": ("overdue", "2")}),
        ([last("monthly", 3)], {}, {"daily": ("overdue", "2"), "weekly": ("in time", "")}),
        # The local policy says otherwise, for all sheets or for this one; 0: not due by itself.
        ([last("daily", 3)], {None: 3}, {"daily": ("due today", ""), "weekly": ("never walked", "")}),
        (
            [last("daily", 3)],
            {None: 1, "bay": 2},
            {"daily": ("overdue", "1"), "weekly": ("never walked", "")},
        ),
        ([last("daily", 99)], {"bay": 0}, {"weekly": ("never walked", "")}),
        ([last("daily", 2)], {"other": 9}, {"daily": ("overdue", "1"), "weekly": ("never walked", "")}),
    ],
)
def test_when_a_check_is_due(
    walks: list[LastWalk], every: dict[str | None, int], wanted: dict[str, tuple[str, str]]
) -> None:
    """By calendar days after the last walk of that extent or a greater one; all figures worked by hand."""
    sheet = bay()
    points = list(sheet.stops[0].points)
    points[0] = replace(points[0], extent="weekly")
    sheet = replace(sheet, id="bay", stops=(replace(sheet.stops[0], points=tuple(points)), *sheet.stops[1:]))
    unit = Unit("u", "Unit", "", "", "", ("bay",), "")
    policy = replace(NO_POLICY, intervals=tuple(Interval("daily", n, s) for s, n in every.items()))
    found = checks(walks, [unit], {("u", "bay"): sheet}, policy, NOW)
    assert {row.extent: (row.state, row.days_overdue) for row in found} == wanted


@pytest.mark.parametrize(
    ("walked", "now", "state"),
    [
        ("2026-10-25T23:59:00-04:00", "2026-11-01T23:59:00-05:00", "due today"),
        ("2026-10-25T23:59:00-04:00", "2026-11-02T00:00:00-05:00", "overdue"),
        ("2027-03-07T00:01:00-05:00", "2027-03-14T23:59:00-04:00", "due today"),
        ("2028-02-23T07:00:00-05:00", "2028-03-01T07:00:00-05:00", "due today"),
        ("2027-02-23T07:00:00-05:00", "2027-03-01T07:00:00-05:00", "in time"),
    ],
    ids=["clocks back", "the midnight after", "clocks forward", "over a leap day", "no leap day"],
)
def test_a_check_is_due_by_the_calendar_of_the_place(walked: str, now: str, state: str) -> None:
    """A weekly check is due on the same day of the next week, all day. US clocks change on 1 November
    2026 and 14 March 2027 (15 USC 260a)."""
    walk = LastWalk("u", "Unit", "bay", "Bay", "monthly", "w1", datetime.fromisoformat(walked))
    unit = Unit("u", "Unit", "", "", "", ("bay",), "")
    policy = replace(NO_POLICY, intervals=(Interval("daily", 7, None),))
    (row,) = checks([walk], [unit], {("u", "bay"): bay()}, policy, datetime.fromisoformat(now))
    assert row.state == state


def test_the_overview_tells_what_is_on_record(station: Station) -> None:
    """Both units, the open defect, the drift toward the limit, and what was left out."""
    found = station.overview()
    (check,) = (c for c in found.checks if c.unit == "engine_61")
    assert (check.state, check.days_overdue) == ("overdue", "6")  # a week ago, every day
    (defect,) = found.open
    assert (defect.defect, defect.days_open) == ("engine_61-d1", "35")  # five weeks, less some seconds
    assert [(name, sum(counts)) for name, counts in found.by_class] == [(defect.defect_class, 1)]
    (drift,) = found.drifts
    # One sixteenth a week from 5/16: 1 inch is eleven weeks after the first, by hand.
    assert (drift.point, drift.a_week, drift.limit) == ("left slack adjuster", "0.062", "1")
    assert abs((date.fromisoformat(drift.crossing) - (START + timedelta(weeks=11)).date()).days) <= 1
    rows = {row.unit: row for row in found.units}
    assert (rows["engine_61"].walks, rows["engine_61"].incomplete) == ("7", "7")
    assert (rows["engine_61"].not_confirmed, rows["engine_61"].too_quick) == ("6", "7")
    assert (rows["other"].not_finished, rows["other"].pace) == ("1", "")


def test_the_overview_begins_with_what_is_out_of_service(station: Station) -> None:
    """Decisions, overdue checks, open defects and drifts as figures, each with the worst of them."""
    found = station.overview()
    assert [(row.unit, row.decision, row.by) for row in found.decisions] == [
        ("other", "", ""),
        ("engine_61", "in service", "M. Ruiz"),
    ]
    told = {glance.words: (glance.number, glance.told) for glance in found.glances}
    assert told["units out of service"] == (0, "")
    assert told["unit without a decision"][0] == 1
    assert told["check overdue"] == (1, "Longest: Engine 61, Engine bay, short, daily, by 6 days.")
    number, worst = told["open defect"]
    assert (number, worst) == (1, "Worst and oldest: Engine 61, left lift cylinder weeping, 35 days.")
    assert told["reading toward a limit"][0] == 1
    html = overview_html(found)
    assert html.index("At a glance") < html.index("Checks that are due")


def test_the_latest_decision_is_found_however_far_back(
    station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where none of a unit's latest walks has a decision, all of its walks are looked at."""
    monkeypatch.setattr("voicelog.records.decisions._FEW", 0)
    (decided,) = station.store.across.decisions()
    assert (decided.unit_id, decided.decision, decided.walk) == ("engine_61", "in service", "engine_61-6")


def test_the_oldest_defect_is_told_beside_the_worst() -> None:
    """The worst class comes first in the list; what has been open longest may stand further down."""
    found = glances(
        (), overdue=(), never=0, open_defects=[(2, "leak"), (90, "belt"), (5, "lamp")], drifting=()
    )
    assert "Worst: leak. Oldest: belt." in [glance.told for glance in found]


def test_units_out_of_service_come_first() -> None:
    """Then those with restrictions, then those without a decision; what was overridden is told."""
    names = {unit: unit.upper() for unit in "abcd"}
    words = {"a": "in service", "b": "in service with restrictions", "d": "out of service"}
    made = [
        Decided(unit, unit, "w", word, START, "M. Ruiz", "why", ("class three leak",), "ferry only")
        for unit, word in words.items()
    ]
    rows = decision_rows(made, names)
    assert [row.unit for row in rows] == ["d", "b", "c", "a"]
    assert rows[0].against_policy == "class three leak. Reason for overriding it: ferry only"


def test_no_crossing_is_missed() -> None:
    """Where the whole trend projects a crossing, the quick look lets it through."""
    chance = random.Random(61)
    projected = 0
    for _ in range(300):
        count = chance.randrange(4, 12)
        slope = chance.uniform(-0.02, 0.02)
        values = [Fraction(round((1 + slope * n + chance.gauss(0, 0.03)) * 64), 64) for n in range(count)]
        limit = Limit(Fraction(1, 2), Fraction(3, 2), "source", "maker")
        whole = trend([(START + timedelta(days=n), v) for n, v in enumerate(values)], limit)
        if whole is not None and whole.crossing is not None:
            projected += 1
            assert may_cross([float(n) for n in range(count)], [float(v) for v in values], limit)
    assert 20 < projected < 280


@pytest.mark.parametrize(
    ("values", "limit", "used", "filled"),
    [
        (["0", "1/2", "1", "0", "1/4"], Limit(None, Fraction(1), "s", "maker"), "5/4", "1"),
        (["100", "80", "90", "60"], Limit(Fraction(75), None, "s", "maker"), "50", "10"),
    ],
)
def test_fluid_use(values: list[str], limit: Limit, used: str, filled: str) -> None:
    """What goes toward the limit was used, what comes back was filled up; sums by hand."""
    readings = [(START + timedelta(days=10 * n), Fraction(v)) for n, v in enumerate(values)]
    found = fluid_use(readings, limit)
    assert found is not None
    assert (found.used, found.topped_up) == (Fraction(used), Fraction(filled))
    assert found.in_thirty_days == pytest.approx(30 * Fraction(used) / (10 * (len(values) - 1)))
    assert fluid_use(readings, None) is fluid_use(readings[:1], limit) is None


# the forms -----------------------------------------------------------------------------------------


def pages(station: Station) -> dict[str, str]:
    return {
        "history": history_html(station.history()),
        "other": history_html(station.history("other")),
        "overview": overview_html(station.overview()),
    }


def test_pages_are_sound_and_hostile_text_is_text(station: Station) -> None:
    """Valid HTML by html5lib, nothing fetched, ids unique and labelled; no text of a person is markup."""
    for html in pages(station).values():
        html5lib.HTMLParser(strict=True).parse(html)
        page = read(html)
        assert page.faults == [] and page.all("script", "iframe", "object") == []
        ids = [e.attributes["id"] for e in page.elements if "id" in e.attributes]
        assert len(set(ids)) == len(ids)
        assert {e.attributes["aria-labelledby"] for e in page.all("section")} <= set(ids)
        assert all(e.attributes["src"].startswith("data:image/svg+xml;") for e in page.all("img"))
        assert all(e.attributes["alt"] for e in page.all("img"))
        assert len(page.all("table")) == len(page.all("caption"))
        assert "\u202e" not in html and "\x1b" not in html
    assert "alert(1)" in pages(station)["other"]


def test_tables_have_the_documented_columns(station: Station) -> None:
    """Read back by a general reader: the columns, all rows, and no cell that a spreadsheet would run."""
    developers = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    tables = {**history_tables(station.history()), **overview_tables(station.overview())}
    tables["walks"] = (*tables["walks"], *history_tables(station.history("other"))["walks"])
    assert set(tables) == set(COLUMNS)
    for kind, rows in tables.items():
        found = list(csv.DictReader(opened(csv_table(kind, rows))))
        assert len(found) == len(rows) > 0
        assert tuple(found[0]) == COLUMNS[kind]
        for row in found:
            assert not any(cell.startswith(("=", "+", "@")) for cell in row.values())
        for column in COLUMNS[kind]:
            assert f"`{column}`" in developers, (kind, column)


def test_pdfs_are_archival_and_say_the_same(station: Station) -> None:
    """PDF/A-2a by its own statement, with the defect, the projected date and the overdue check as text."""
    for made, wanted in (
        (history_pdf(station.history()), ["left lift cylinder weeping", "reaches its limit", "R. Alder"]),
        (overview_pdf(station.overview(), "A4"), ["OVERDUE by 6 d", "left slack adjuster", "engine_61-d1"]),
    ):
        pdf = pypdf.PdfReader(io.BytesIO(made))
        assert pdf.xmp_metadata is not None
        assert "pdfaid:conformance" in pdf.xmp_metadata.stream.get_data().decode()
        text = " ".join(" ".join(page.extract_text().split()) for page in pdf.pages)
        for words in wanted:
            assert words in text


def test_a_file_is_named_by_what_may_name_one(station: Station, tmp_path: Path) -> None:
    """A unit's id from outside leads to no other folder."""
    (path,) = write_history(station.history(), "../../x", tmp_path, ("json",))
    assert path.parent == tmp_path and path.name == "history-_x.json"


def test_the_commands_write_the_forms(
    station: Station, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Each table in a file of its own, JSON with its format's name; an unknown unit is told."""
    for module in (commands, shop):
        monkeypatch.setattr(module, "now", lambda: NOW)
    monkeypatch.setattr(commands, "_sheets", lambda store: station.sheet_of)
    data = ["--data", str(station.store.folder)]
    forms = ["--form", "csv", "--form", "json", "--out", str(tmp_path)]
    for words, stem, kinds in (
        (["history", "engine_61"], "history-engine_61", ["walks", "defects", "readings"]),
        (["overview"], "overview", ["checks", "open", "drifting", "units"]),
    ):
        result = CliRunner().invoke(cli.main, [*data, *words, *forms])
        assert result.exit_code == 0, result.output
        whole = json.loads((tmp_path / f"{stem}.json").read_text(encoding="utf-8"))
        assert "version 1" in whole["format"]
        for kind in kinds:
            read_back = list(csv.DictReader((tmp_path / f"{stem}-{kind}.csv").open(newline="")))
            assert len(read_back) == len(whole[kind])
    unknown = CliRunner().invoke(cli.main, [*data, "history", "nobody"])
    assert unknown.exit_code == 2 and "no walk of unit 'nobody'" in unknown.output
    assert "engine_61, other" in unknown.output
