"""From checked tables of limits, and limits of a sheet, to the frozen values that judge."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from voicelog.sheet.limit_model import Curve, LimitRow, LimitRows, Limits
from voicelog.sheet.limit_schema import LimitsFile
from voicelog.sheet.model import Limit
from voicelog.sheet.schema import LimitTable, ResolvedLimit


def build_limits(file: LimitsFile, sha256: str, path: Path) -> Limits:
    """Return the limits of checked tables; ``sha256`` is of the file's bytes."""
    tables = {
        table.name: LimitRows(
            name=table.name,
            unit=table.unit,
            by=tuple(table.by),
            source=table.source,
            edition=table.edition,
            basis=table.basis,
            note=table.note,
            rows=tuple(
                LimitRow(
                    tuple((key, row.for_[key]) for key in table.by), row.min, row.max, row.known, row.read_in
                )
                for row in table.row
            ),
        )
        for table in file.table
    }
    curves = tuple(
        Curve(
            chemistry=curve.chemistry,
            points=tuple((volts, percent) for volts, percent in curve.points),
            at=curve.at,
            per_degree=curve.per_degree,
            source=curve.source,
            edition=curve.edition,
            known=curve.known,
            read_in=curve.read_in,
        )
        for curve in file.curve
    )
    return Limits(file.limits.edition, tables, curves, sha256, str(path))


def limit_of(limit: LimitTable | None) -> Limit | None:
    """Return a limit that is in figures; None where there is none."""
    if limit is None or limit.basis is None:
        return None
    made = Limit(limit.min, limit.max, limit.source, limit.basis)
    if isinstance(limit, ResolvedLimit):
        return replace(made, own=limit.own, replaces=limit_of(limit.replaces))
    return made
