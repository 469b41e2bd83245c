"""The same questions over the same entries, kept as many would: one plain table, or one CSV file.

Part of :mod:`tests.benchmarks.growth`. Neither holds a proof, a sound, a doubt or a history of changes:
this tells what the record's own lists are worth, and what its proof costs.
"""

from __future__ import annotations

import sqlite3
import statistics
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from tests.benchmarks.growth_answers import Answer
from voicelog.limits.trend import MOST_READINGS

_COLUMNS = "unit, sheet, walk, at, point, condition, reading, value, measure, judgement, polarity"
_ENTRIES = (
    "SELECT w.unit_id, w.sheet_id, e.walk, e.at, json_extract(e.body, '$.claim.point_id'),"
    " json_extract(e.body, '$.claim.condition_id'), json_extract(e.body, '$.claim.reading_id'),"
    " json_extract(e.body, '$.claim.value'), json_extract(e.body, '$.claim.unit'),"
    " json_extract(e.body, '$.claim.judgement'), json_extract(e.body, '$.claim.polarity')"
    " FROM events e JOIN walk_list w ON w.walk = e.walk WHERE e.kind = 'entry logged' ORDER BY e.seq"
)


def beside(folder: Path, walk: str, unit: str, point: str, times: int) -> Iterator[Answer]:
    """Yield the answers of a plain table, and of a CSV file with pandas."""
    table = folder / "plain.db"
    if not table.exists():
        _copy(folder / "voicelog.db", table)
    connection = sqlite3.connect(table)

    def ask(sql: str, *values: str) -> Callable[[], int]:
        return lambda: len(connection.execute(f"SELECT {_COLUMNS} FROM entries {sql}", values).fetchall())

    asked = (
        ("a walk's entries", ask("WHERE walk = ?", walk)),
        ("a point's history", ask("WHERE unit = ? AND point = ?", unit, point)),
        ("a unit's readings", ask("WHERE unit = ? AND reading IS NOT NULL", unit)),
        ("what drifts, of all units", lambda: _drifting(connection)),
    )
    for name, act in asked:
        yield _took(f"plain table: {name}", act, times)
    connection.close()
    yield from _pandas(table, walk, unit, point, times)


def _copy(record: Path, table: Path) -> None:
    part = table.with_suffix(".part")
    part.unlink(missing_ok=True)
    connection = sqlite3.connect(part)
    connection.execute(f"CREATE TABLE entries ({_COLUMNS})")
    source = sqlite3.connect(record)
    marks = ", ".join("?" * len(_COLUMNS.split(",")))
    connection.executemany(f"INSERT INTO entries VALUES ({marks})", source.execute(_ENTRIES))
    connection.commit()
    connection.close()
    source.close()
    part.rename(table)


def _drifting(connection: sqlite3.Connection) -> int:
    found = connection.execute(
        "SELECT unit, point, reading, julianday(at), value FROM entries WHERE reading IS NOT NULL ORDER BY at"
    )
    series: dict[tuple[str, str, str], list[tuple[float, str]]] = {}
    for unit, point, reading, at, value in found:
        series.setdefault((unit, point, reading), []).append((at, value))
    return sum(_rises(values[-MOST_READINGS:]) for values in series.values())


def _rises(values: list[tuple[float, str]]) -> bool:
    days = np.array([day for day, _ in values])
    read = [_number(value) for _, value in values]
    return len(values) > 2 and bool(np.polyfit(days - days[0], read, 1)[0] > 0)


def _number(value: str) -> float:
    above, _, below = value.partition("/")
    return float(above) / float(below or 1)


def _pandas(table: Path, walk: str, unit: str, point: str, times: int) -> Iterator[Answer]:
    try:
        import pandas as pd  # type: ignore[import-untyped]
    except ImportError:
        return
    file = table.with_suffix(".csv")
    if not file.exists():
        connection = sqlite3.connect(table)
        pd.read_sql_query("SELECT * FROM entries", connection).to_csv(file, index=False)
        connection.close()
    yield _took("CSV with pandas: read", lambda: len(pd.read_csv(file, dtype=str)), min(times, 3))
    frame = pd.read_csv(file, dtype=str)
    asked: tuple[tuple[str, Callable[[], int]], ...] = (
        ("a walk's entries", lambda: len(frame[frame.walk == walk])),
        ("a point's history", lambda: len(frame[(frame.unit == unit) & (frame.point == point)])),
        ("a unit's readings", lambda: len(frame[(frame.unit == unit) & frame.reading.notna()])),
    )
    for name, act in asked:
        yield _took(f"CSV with pandas, once read: {name}", act, times)


def _took(asked: str, act: Callable[[], int], times: int) -> Answer:
    act()
    wall, processor, came = [], [], 0
    for _ in range(times):
        begin, used = time.perf_counter(), time.process_time()
        came = act()
        wall.append(time.perf_counter() - begin)
        processor.append(time.process_time() - used)
    middle = statistics.median(wall)
    return Answer(asked, middle, max(wall), statistics.median(processor), None, f"{came} rows")
