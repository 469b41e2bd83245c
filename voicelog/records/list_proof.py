"""Proof that the lists drawn from the events are what the events say, without reading each event.

Points are told by the text of an event: in canonical JSON no text can hold ``"point_id":"``, since
its quotation marks are escaped. The entries of the list of points are compared by their number and
the sum of their hashes, so that a list of any length fits in memory. Hashes are of texts, and so SipHash
(PEP 456): that of a tuple is nearly a sum itself, and two entries with one part swapped may come to the
same.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from typing import Any

from sqlite_utils import Database

from voicelog.records.chain import Row, read_json
from voicelog.records.readings import standing, tells_of_readings

_POINT = re.compile(r'"point_id":"([^"\\]+)"')
_POINTS = re.compile(r'"point_ids":\[([^\]]*)\]')
_CORRECTS = re.compile(r'"corrects":"([^"\\]+)"')
_ENTRY = re.compile(r'"entry_id":"([^"\\]+)"')
_OF_ENTRY = frozenset(("doubt settled", "entry corrected", "entry confirmed", "entry withdrawn"))
_OF_POINTS = frozenset(("group marked", "group mark confirmed", "group mark reopened"))
_MASK = 2**64 - 1


class ListProof:
    """Takes the walks one after the other, then tells where the lists differ."""

    def __init__(self) -> None:
        """Take no walk yet."""
        self._walks: dict[str, tuple[Any, ...]] = {}
        self._count = self._sum = 0
        self._readings = self._readings_sum = 0

    @property
    def walks(self) -> frozenset[str]:
        """The walks that were taken and can be read."""
        return frozenset(self._walks)

    def take(self, walk: str, rows: Sequence[Row]) -> None:
        """Take one walk's rows, in order."""
        try:
            started = read_json(rows[0].body)
            unit, sheet = started["unit_id"], started["sheet_id"]
            named = tuple(started[name] for name in ("unit_name", "sheet_title", "operator"))
            extent = started.get("extent", "daily")
        except (ValueError, KeyError, TypeError):
            return  # told as an altered event
        finished, signed = None, ""
        entries = _points_of_entries(rows)
        for row in rows:
            points: frozenset[str] = frozenset()
            if row.kind == "entry logged":
                points = frozenset(_POINT.findall(row.body))
                if '"corrects":"' in row.body and (replaced := _CORRECTS.search(row.body)):
                    points |= entries.get(replaced[1], frozenset())
            elif row.kind in _OF_ENTRY:
                points = frozenset(_POINT.findall(row.body)) | entries.get(_entry(row), frozenset())
            elif row.kind in ("remark logged", "remark transcribed"):
                points = frozenset(_POINT.findall(row.body))
            elif row.kind in _OF_POINTS:
                points = frozenset(i for found in _POINTS.findall(row.body) for i in json.loads(f"[{found}]"))
            elif row.kind == "walk finished":
                finished = row.at
            elif row.kind == "signed off":
                signed += _meaning(row) + "\n"
            for point in points:
                self._add(unit, sheet, point, row.seq)
        told = ((r.seq, r.kind, r.at, r.body) for r in rows if tells_of_readings(r.kind, r.body))
        for point, reading, seq, *value in standing(told):
            self._add_reading(unit, sheet, point, reading, seq, walk, *value)
        first, last = rows[0], rows[-1]
        self._walks[walk] = (
            unit,
            named[0],
            sheet,
            *named[1:],
            first.at,
            finished,
            signed,
            last.at,
            last.number,
            first.seq,
            extent,
        )

    def _add(self, unit: str, sheet: str, point: str, seq: int) -> None:
        self._count += 1
        self._sum = (self._sum + hash(f"{unit}\0{sheet}\0{point}\0{seq}")) & _MASK

    def _add_reading(self, *listed: Any) -> None:
        self._readings += 1
        self._readings_sum = (self._readings_sum + hash(repr(listed))) & _MASK

    def problems(self, db: Database) -> Iterator[str]:
        """Yield where the lists are not what the events say, in plain words."""
        listed = {
            row[0]: row[1:]
            for row in db.conn.execute(
                "SELECT walk, unit_id, unit_name, sheet_id, sheet_title, operator, started, finished,"
                " signed, last, events, first_seq, extent FROM walk_list"
            )
        }
        for walk in sorted(self._walks.keys() | listed.keys()):
            if self._walks.get(walk) != listed.get(walk):
                yield f"Walk {walk}: the list of walks is not what its events say."
        expected = (self._count, self._sum)
        self._count = self._sum = 0
        for row in db.conn.execute("SELECT unit_id, sheet_id, point_id, seq FROM point_list"):
            self._add(*row)
        if expected != (self._count, self._sum):
            yield "The list of points is not what the events say."
        expected = (self._readings, self._readings_sum)
        self._readings = self._readings_sum = 0
        for row in db.conn.execute(
            "SELECT unit_id, sheet_id, point_id, reading_id, seq, walk, at, value, measure, judgement"
            " FROM reading_list"
        ):
            self._add_reading(*row)
        if expected != (self._readings, self._readings_sum):
            yield "The list of readings is not what the events say."


def _points_of_entries(rows: Sequence[Row]) -> dict[str, frozenset[str]]:
    """Return the points that each entry is about; empty for a walk in which no event asks for them."""
    if _OF_ENTRY.isdisjoint(row.kind for row in rows) and not any('"corrects":"' in row.body for row in rows):
        return {}
    logged = (row for row in rows if row.kind == "entry logged")
    return {_entry(row): frozenset(_POINT.findall(row.body)) for row in logged}


def _entry(row: Row) -> str:
    found = _ENTRY.search(row.body)
    return found[1] if found else ""


def _meaning(row: Row) -> str:
    try:
        return str(read_json(row.body)["meaning"])
    except (ValueError, KeyError, TypeError):
        return ""
