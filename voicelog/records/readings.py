"""The readings of many walks as they now stand, and when a repair made them begin anew.

Quick, for thousands of walks: only the events that tell of a reading, or change what one said, are
read. What stands is what :mod:`voicelog.walk.state` says of the whole walk.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from functools import lru_cache
from typing import Any, NamedTuple

from pydantic_core import from_json
from sqlite_utils import Database

from voicelog.records.schema import OF_READINGS

_OF_WALK = (
    "SELECT number, kind, at, body FROM events INDEXED BY events_of_readings"
    f" WHERE walk = ? AND {OF_READINGS}"
    " UNION ALL SELECT number, kind, at, body FROM events INDEXED BY events_kind"
    " WHERE walk = ? AND kind IN ('doubt settled', 'entry corrected', 'entry withdrawn') ORDER BY number"
)


class PastReading(NamedTuple):
    """One value that stands in its walk."""

    walk: str
    at: datetime
    point_id: str
    reading_id: str
    value: Fraction
    unit: str
    judgement: str
    """As it was judged then: ``within``, ``below``, ``above`` or ``no limit``."""


@dataclass(slots=True)
class _Kept:
    """An entry of the walk that is being read."""

    claim: dict[str, Any]
    at: str
    standing: bool
    corrects: str | None = None
    computed_from: Sequence[str] = ()


def readings_of(db: Database, walks: Iterable[str]) -> Iterator[PastReading]:
    """Yield the readings that stand in the walks, walk by walk, in the order they were logged."""
    for walk in walks:
        for kept in _entries(db.conn.execute(_OF_WALK, (walk, walk))):
            claim = kept.claim
            if kept.standing and claim.get("reading_id") and claim.get("value") is not None:
                yield PastReading(
                    walk,
                    datetime.fromisoformat(kept.at),
                    claim["point_id"],
                    claim["reading_id"],
                    _exact(claim["value"]),
                    claim["unit"] or "",
                    claim["judgement"] or "no limit",
                )


# The same few values come again and again.
_exact = lru_cache(maxsize=4096)(Fraction)


def _entries(rows: Iterable[tuple[int, str, str, str]]) -> Iterable[_Kept]:
    """Return the entries of one walk, as they stand after all of its events."""
    found: dict[str, _Kept] = {}
    for _, kind, at, body in rows:
        try:
            event = from_json(body, cache_strings="all")
            entry_id = event["entry_id"]
        except (ValueError, KeyError, TypeError):
            continue  # an altered event: its walk's proof tells of it
        if kind == "entry logged":
            _logged(found, entry_id, event, at)
        elif kind == "entry withdrawn":
            if entry_id in found:
                found[entry_id].standing = False
            _without_results_of(found, entry_id)
        else:
            kept = found.setdefault(entry_id, _Kept(event["claim"], at, True))
            kept.claim, kept.standing = event["claim"], True
            _replaced(found, kept.corrects)
            _without_results_of(found, entry_id)
    return found.values()


def _logged(found: dict[str, _Kept], entry_id: str, event: dict[str, Any], at: str) -> None:
    claim, standing = event["claim"], not event.get("doubts")
    if standing:
        _replaced(found, event.get("corrects"))
    computed_from = event.get("computed_from", ())
    if computed_from:
        for other in found.values():
            same = all(other.claim.get(key) == claim.get(key) for key in ("point_id", "reading_id"))
            if other.computed_from and same:
                other.standing = False
    found[entry_id] = _Kept(claim, at, standing, event.get("corrects"), computed_from)


def _replaced(found: dict[str, _Kept], entry_id: str | None) -> None:
    if entry_id is not None:
        if entry_id in found:
            found[entry_id].standing = False
        _without_results_of(found, entry_id)


def _without_results_of(found: dict[str, _Kept], entry_id: str) -> None:
    for kept in found.values():
        if entry_id in kept.computed_from:
            kept.standing = False


def repaired_at(db: Database) -> dict[tuple[str, str, str], datetime]:
    """Return when each point (unit, sheet, point) was last repaired, where it ever was."""
    points: dict[str, tuple[str, str, str]] = {}
    repaired: dict[tuple[str, str, str], datetime] = {}
    found = db.conn.execute(
        "SELECT kind, at, json_extract(body, '$.defect_id'), unit, json_extract(body, '$.sheet_id'),"
        " json_extract(body, '$.point_id') FROM defect_events"
        " WHERE kind IN ('defect heard', 'defect repaired') ORDER BY seq"
    )
    for kind, at, defect_id, *point in found:
        if kind == "defect heard":
            unit, sheet, point_id = point
            points[defect_id] = (unit, sheet, point_id)
        elif defect_id in points:
            repaired[points[defect_id]] = datetime.fromisoformat(at)
    return repaired
