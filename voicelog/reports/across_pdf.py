"""A unit's history and a station's overview as archival PDFs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from voicelog.clock import now
from voicelog.reports.across_html import MOST_PLOTS
from voicelog.reports.overview import CheckRow, Overview
from voicelog.reports.parts import Fact
from voicelog.reports.pdf_page import Cell, Document, over_time, state_cell
from voicelog.reports.signing import DECIDED
from voicelog.reports.unit_history import UnitHistory
from voicelog.reports.write import Paper


def history_pdf(history: UnitHistory, paper: Paper = "Letter", made: datetime | None = None) -> bytes:
    """Return a unit's history as PDF."""
    page = Document(history.title, paper, _printed(history.facts))
    page.facts((fact.name, fact.value) for fact in history.facts)
    page.heading("Defects and their lives")
    for life in history.lives:
        page.heading(f"{life.row.defect}: {life.title}", level=3)
        back = f"; came back after {life.row.came_back_from}" if life.row.came_back_from else ""
        stands = f"{life.row.state}; {life.row.defect_class or 'no class'}; {life.since}{back}"
        page.text_line(stands, bold=life.open)
        page.lines(life.happened)
    if not history.lives:
        page.text_line("No defect was ever heard.")
    over_time(page, history.series)
    page.heading("Fluid use")
    page.lines(
        (f"{series.title}: {series.use_words}" for series in history.fluids),
        nothing="No level of a fluid was read twice in a unit of volume.",
    )
    page.heading("Who inspected")
    page.rows(
        ("Name", "Walks", "Latest", "Pace", "Points by group mark"),
        [(o.name, str(o.walks), o.last, o.pace, str(o.group_marked)) for o in history.inspectors],
        (32, 12, 22, 20, 14),
    )
    page.heading("Walks, the latest first")
    page.rows(
        ("Begun", "Sheet, extent", "By", "Covered", "Pace", "Group mark", "Defects", "Signed"),
        [
            (
                walk.when,
                f"{walk.sheet}, {walk.extent}",
                walk.by,
                walk.coverage,
                f"TOO QUICK: {walk.pace}" if walk.hurried else walk.pace,
                walk.group_marked,
                walk.defects,
                "; ".join(text for text in (walk.signed, walk.decision) if text) or "not signed",
            )
            for walk in history.walks
        ],
        (14, 18, 14, 10, 14, 8, 9, 16),
    )
    _about(page, history.disclaimer)
    return page.output(made or now())


def overview_pdf(contents: Overview, paper: Paper = "Letter", made: datetime | None = None) -> bytes:
    """Return a station's overview as PDF."""
    page = Document(contents.title, paper, _printed(contents.facts))
    page.facts((fact.name, fact.value) for fact in contents.facts)
    page.heading("At a glance")
    page.rows(
        ("What", "Number", "Which"),
        [
            (state_cell(glance.state, glance.words), str(glance.number), glance.told)
            for glance in contents.glances
        ],
        (30, 10, 60),
    )
    page.rows(
        ("Unit", "Decision", "When", "By", "Reason"),
        [
            (
                row.unit_name,
                state_cell(DECIDED[row.decision], row.decision or "no decision"),
                row.at[:10],
                row.by,
                (row.reason, f"AGAINST THE LOCAL POLICY: {row.against_policy}")
                if row.against_policy
                else row.reason,
            )
            for row in contents.decisions
        ],
        (18, 22, 12, 16, 32),
    )
    page.heading("Checks that are due")
    page.text_line(f"Intervals are those of: {contents.policy}.", quiet=True, stays=True)
    page.rows(
        ("Unit", "Sheet", "Extent", "Last walked", "Every", "Due", "State"),
        [
            (
                check.unit_name,
                check.sheet,
                check.extent,
                check.last[:10] or "never",
                f"{check.every_days} d",
                check.due or "now",
                _due(check),
            )
            for check in contents.checks
        ],
        (18, 24, 10, 13, 8, 13, 18),
    )
    page.heading("Open defects")
    page.rows(
        ("Class", *contents.ages),
        [(name, *(str(count) for count in counts)) for name, counts in contents.by_class],
        (32, 17, 17, 17, 17),
    )
    page.rows(
        ("Unit", "Defect", "Class", "Open for", "State"),
        [
            (
                defect.unit_name,
                f"{defect.point} {defect.what} ({defect.defect})",
                defect.defect_class or "no class",
                defect.age,
                "; ".join(text for text in (defect.state, defect.remarks.upper()) if text),
            )
            for defect in contents.open
        ],
        (16, 36, 16, 10, 22),
    )
    if not contents.open:
        page.text_line("No defect is open.")
    _drifts(page, contents)
    page.heading(f"Coverage and pace, the last {contents.days} days")
    page.rows(
        (
            "Unit",
            "Walks",
            "Not complete",
            "Points left out",
            "By group mark",
            "Pace",
            "Too quick",
            "Not finished",
            "Not confirmed",
        ),
        [
            (
                unit.unit_name,
                unit.walks,
                unit.incomplete,
                unit.not_covered,
                unit.group_marked,
                unit.pace,
                unit.too_quick,
                unit.not_finished,
                unit.not_confirmed,
            )
            for unit in contents.units
        ],
        (18, 9, 11, 10, 10, 16, 9, 11, 11),
    )
    _about(page, contents.disclaimer)
    return page.output(made or now())


def _printed(facts: Sequence[Fact]) -> str:
    return next((f"printed {fact.value}" for fact in facts if fact.name == "Printed"), "")


def _due(check: CheckRow) -> Cell:
    if check.state == "overdue":
        return state_cell("defect", f"OVERDUE by {check.late}")
    return state_cell("sound" if check.state == "in time" else "open", check.state)


def _drifts(page: Document, contents: Overview) -> None:
    page.heading("Readings that go toward their limit")
    page.rows(
        ("Unit", "Point, reading", "Latest", "Limit", "A week", "Reaches it about", "Earliest"),
        [
            (
                row.unit_name,
                series.title,
                series.values[-1].shown,
                series.limit_words,
                f"{row.a_week} {series.symbol}",
                f"{row.crossing} (PASSED)" if row.passed else row.crossing,
                row.earliest,
            )
            for row, (_, series) in zip(contents.drifts, contents.series, strict=True)
        ],
        (14, 24, 11, 16, 13, 13, 13),
    )
    if not contents.drifts:
        page.text_line("None that is more than chance.")
        return
    over_time(page, contents.series[:MOST_PLOTS])


def _about(page: Document, disclaimer: str) -> None:
    page.heading("What this is")
    page.text_line(disclaimer)
    page.text_line("A projected date is no judgement: a reading is judged by its limit when it is taken.")
