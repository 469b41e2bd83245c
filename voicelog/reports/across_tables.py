"""A unit's history and a station's overview as tables for other programs: CSV and JSON.

Each table is a CSV file of its own; the JSON has them all, by name. Their columns are the fields of the
rows, in order; DEVELOPERS.md tells what they hold.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

from voicelog.reports.glance import DecisionRow
from voicelog.reports.overview import CheckRow, DriftRow, OpenRow, Overview, UnitRow
from voicelog.reports.tables import as_csv, as_json
from voicelog.reports.unit_history import DefectRow, ReadingRow, UnitHistory
from voicelog.reports.walk_rows import WalkRow

HISTORY_FORMAT = "voicelog unit history, version 1"
OVERVIEW_FORMAT = "voicelog station overview, version 1"
COLUMNS: Mapping[str, tuple[str, ...]] = {
    kind: tuple(field.name for field in dataclasses.fields(row))
    for kind, row in {
        "walks": WalkRow,
        "defects": DefectRow,
        "readings": ReadingRow,
        "decisions": DecisionRow,
        "checks": CheckRow,
        "open": OpenRow,
        "drifting": DriftRow,
        "units": UnitRow,
    }.items()
}
"""The columns of each table, in order."""


def history_tables(history: UnitHistory) -> dict[str, Sequence[Any]]:
    """Return the tables of a unit's history."""
    return {
        "walks": history.walks,
        "defects": tuple(life.row for life in history.lives),
        "readings": history.readings,
    }


def overview_tables(contents: Overview) -> dict[str, Sequence[Any]]:
    """Return the tables of a station's overview."""
    return {
        "decisions": contents.decisions,
        "checks": contents.checks,
        "open": contents.open,
        "drifting": contents.drifts,
        "units": contents.units,
    }


def csv_table(kind: str, rows: Sequence[Any]) -> str:
    """Return rows as CSV (RFC 4180), the columns' names first; no cell is a formula."""
    return as_csv(COLUMNS[kind], (dataclasses.astuple(row) for row in rows))


def json_tables(format_name: str, about: Mapping[str, str], tables: Mapping[str, Sequence[Any]]) -> str:
    """Return tables as JSON, with what they are of."""
    whole = {
        "format": format_name,
        **about,
        **{kind: [dataclasses.asdict(row) for row in rows] for kind, rows in tables.items()},
    }
    return as_json(whole)
