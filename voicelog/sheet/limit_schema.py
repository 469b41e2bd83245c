"""The shape of a file of limits, before anything is compared with anything else. Private to this package."""

from __future__ import annotations

from pydantic import Field

from voicelog.sheet.limit_model import Known
from voicelog.sheet.model import Basis
from voicelog.sheet.tables import Quantity, Table


class RowTable(Table):
    """``[[table.row]]``."""

    for_: dict[str, str] = Field(default={}, alias="for")
    min: Quantity | None = None
    max: Quantity | None = None
    known: Known
    read_in: str = ""


class RowsTable(Table):
    """``[[table]]``."""

    name: str
    unit: str
    by: list[str] = []
    source: str
    edition: str = ""
    basis: Basis
    note: str = ""
    row: list[RowTable] = []


class CurveTable(Table):
    """``[[curve]]``."""

    chemistry: str
    points: list[list[Quantity]]
    at: Quantity
    per_degree: Quantity
    source: str
    edition: str = ""
    known: Known
    read_in: str = ""


class HeadTable(Table):
    """``[limits]``."""

    edition: str


class LimitsFile(Table):
    """A whole file of limits."""

    limits: HeadTable
    table: list[RowsTable] = []
    curve: list[CurveTable] = []


LIMIT_TABLES: dict[tuple[str, ...], type[Table]] = {
    ("limits",): HeadTable,
    ("table",): RowsTable,
    ("table", "row"): RowTable,
    ("curve",): CurveTable,
}
