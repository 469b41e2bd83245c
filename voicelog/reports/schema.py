"""What the JSON forms hold, as JSON Schema (draft 2020-12): names, kinds of values, and what they mean.

``python -m voicelog.reports.schema`` writes the files of ``schemas/`` anew, from the classes whose fields
are written. Numbers that must stay exact are texts (``3/8``), times are ISO 8601 with UTC offset.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict

from voicelog.reports.across_tables import HISTORY_FORMAT, OVERVIEW_FORMAT
from voicelog.reports.glance import DecisionRow
from voicelog.reports.overview import CheckRow, DriftRow, OpenRow, UnitRow
from voicelog.reports.parts import ReportContents
from voicelog.reports.tables import FORMAT, Row
from voicelog.reports.unit_history import DefectRow, ReadingRow
from voicelog.reports.walk_rows import WalkRow

FOLDER = Path(__file__).parent / "schemas"
_DIALECT = "https://json-schema.org/draft/2020-12/schema"


class _File(BaseModel):
    # Passed on to the dataclasses within: their fields' docstrings say what the fields mean.
    model_config = ConfigDict(use_attribute_docstrings=True, extra="forbid")


class WalkReport(_File):
    """The report of one walk."""

    format: str
    """Names this schema and its version."""
    walk: str
    """Its id."""
    rows: tuple[Row, ...]
    """Every entry in the order logged, then the required points that nothing was said of."""
    report: ReportContents
    """All that the page shows, in its order."""


class UnitHistoryFile(_File):
    """A unit's history."""

    format: str
    """Names this schema and its version."""
    unit: str
    """Its id."""
    walks: tuple[WalkRow, ...]
    """The latest first."""
    defects: tuple[DefectRow, ...]
    """Open ones first."""
    readings: tuple[ReadingRow, ...]
    """By sheet, point and reading, each oldest first."""


class OverviewFile(_File):
    """A station's overview."""

    format: str
    """Names this schema and its version."""
    printed: str
    """When, in full."""
    decisions: tuple[DecisionRow, ...]
    """Of every unit; those that are out of service first."""
    checks: tuple[CheckRow, ...]
    """The longest overdue first."""
    open: tuple[OpenRow, ...]
    """Worst class first, then the oldest."""
    drifting: tuple[DriftRow, ...]
    """The soonest crossing first."""
    units: tuple[UnitRow, ...]
    """By name."""


_FILES: dict[str, tuple[str, type[_File]]] = {
    "walk_report": (FORMAT, WalkReport),
    "unit_history": (HISTORY_FORMAT, UnitHistoryFile),
    "station_overview": (OVERVIEW_FORMAT, OverviewFile),
}
NAMES = tuple(_FILES)
"""The forms that have a schema; each is the file ``NAME.schema.json`` of ``schemas/``."""


def schema(name: str) -> dict[str, Any]:
    """Return the schema of a JSON form, by its name in :data:`NAMES`."""
    format_name, model = _FILES[name]
    made = model.model_json_schema(mode="serialization")
    made["properties"]["format"]["const"] = format_name
    return {"$schema": _DIALECT, **made}


def as_text(name: str) -> str:
    """Return the schema as it is written to its file."""
    return json.dumps(schema(name), indent=1, ensure_ascii=False) + "\n"


def write() -> None:
    """Write every schema to its file."""
    FOLDER.mkdir(exist_ok=True)
    for name in NAMES:
        (FOLDER / f"{name}.schema.json").write_text(as_text(name), encoding="utf-8")


if __name__ == "__main__":
    write()
