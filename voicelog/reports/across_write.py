"""Write a unit's history and a station's overview in their forms, whole or not at all."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from voicelog.reports.across_html import history_html, overview_html
from voicelog.reports.across_tables import (
    HISTORY_FORMAT,
    OVERVIEW_FORMAT,
    csv_table,
    history_tables,
    json_tables,
    overview_tables,
)
from voicelog.reports.overview import Overview
from voicelog.reports.unit_history import UnitHistory
from voicelog.reports.write import Paper, write_all

AcrossForm = Literal["html", "pdf", "csv", "json"]


def write_history(
    history: UnitHistory, unit_id: str, folder: Path, forms: Sequence[AcrossForm], paper: Paper = "Letter"
) -> tuple[Path, ...]:
    """Write ``history-<unit>.html`` and so on into ``folder``; return the paths. RecordError as write_all."""
    from voicelog.reports.across_pdf import history_pdf

    return _write(
        folder,
        # An id from outside may hold what a file's name may not.
        f"history-{re.sub(r'[^A-Za-z0-9_-]+', '_', unit_id)}",
        forms,
        history_tables(history),
        {
            "html": lambda: history_html(history),
            "pdf": lambda: history_pdf(history, paper),
            "json": lambda: json_tables(HISTORY_FORMAT, {"unit": unit_id}, history_tables(history)),
        },
    )


def write_overview(
    contents: Overview, folder: Path, forms: Sequence[AcrossForm], paper: Paper = "Letter"
) -> tuple[Path, ...]:
    """Write ``overview.html`` and so on into ``folder``; return the paths. RecordError as write_all."""
    from voicelog.reports.across_pdf import overview_pdf

    printed = {fact.name.lower(): fact.value for fact in contents.facts}["printed"]
    return _write(
        folder,
        "overview",
        forms,
        overview_tables(contents),
        {
            "html": lambda: overview_html(contents),
            "pdf": lambda: overview_pdf(contents, paper),
            "json": lambda: json_tables(OVERVIEW_FORMAT, {"printed": printed}, overview_tables(contents)),
        },
    )


def _write(
    folder: Path,
    stem: str,
    forms: Sequence[AcrossForm],
    tables: Mapping[str, Sequence[Any]],
    make: Mapping[str, Callable[[], str | bytes]],
) -> tuple[Path, ...]:
    files: dict[Path, str | bytes] = {}
    for form in dict.fromkeys(forms):
        if form == "csv":
            files |= {folder / f"{stem}-{kind}.csv": csv_table(kind, rows) for kind, rows in tables.items()}
        else:
            files[folder / f"{stem}.{form}"] = make[form]()
    write_all(folder, files)
    return tuple(files)
