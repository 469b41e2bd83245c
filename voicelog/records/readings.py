"""The list of readings: every value as it now stands in its walk, drawn from the events; and repairs.

It is kept in the transaction that adds the events, so that thousands of values are read at once. What
stands is what :mod:`voicelog.walk.state` says of the whole walk. :mod:`voicelog.records.list_proof`
tells where the list is not what the events say.
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

from voicelog.records.chain import Row
from voicelog.records.schema import OF_READINGS

CHANGES = frozenset(("doubt settled", "entry corrected", "entry withdrawn"))
_OF_WALK = (
    "SELECT seq, kind, at, body FROM events INDEXED BY events_of_readings"
    f" WHERE walk = ? AND {OF_READINGS}"
    " UNION ALL SELECT seq, kind, at, body FROM events INDEXED BY events_kind"
    " WHERE walk = ? AND kind IN ('doubt settled', 'entry corrected', 'entry withdrawn') ORDER BY seq"
)
_COLUMNS = "walk, at, point_id, reading_id, value, measure, judgement"

Listed = tuple[str, str, int, str, str, str, str]
"""Point, reading, number of the line, time, value, its unit, judgement."""


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

    seq: int
    claim: dict[str, Any]
    at: str
    standing: bool
    corrects: str | None = None
    computed_from: Sequence[str] = ()


# the list ----------------------------------------------------------------------------------------


def tells_of_readings(kind: str, body: str) -> bool:
    """Return whether an event may say a reading, or change one: what :data:`OF_READINGS` says, and more."""
    if kind == "entry logged":
        return '"reading_id":"' in body or '"corrects":"' in body
    return kind in CHANGES


def list_readings(db: Database, row: Row) -> None:
    """Bring the list up to date after an event of a walk; inside the transaction that adds it."""
    if tells_of_readings(row.kind, row.body):
        list_walk(db, row.walk)


def list_walk(db: Database, walk: str) -> None:
    """Enter the readings of a walk as they now stand, in the place of what was listed of it."""
    db.execute("DELETE FROM reading_list WHERE walk = ?", (walk,))
    for point, reading, seq, at, value, measure, judgement in standing(db.execute(_OF_WALK, (walk, walk))):
        db.execute(
            "INSERT INTO reading_list (unit_id, sheet_id, point_id, reading_id, seq, walk, at, value,"
            " measure, judgement) SELECT unit_id, sheet_id, ?, ?, ?, walk, ?, ?, ?, ? FROM walk_list"
            " WHERE walk = ?",
            (point, reading, seq, at, value, measure, judgement, walk),
        )


def standing(rows: Iterable[tuple[int, str, str, str]]) -> Iterator[Listed]:
    """Yield the readings that stand after a walk's events: ``rows`` are number of the line, kind, time, body.

    Events that say nothing of readings may be left out.
    """
    for kept in _entries(rows):
        claim = kept.claim
        if kept.standing and claim.get("reading_id") and claim.get("value") is not None:
            judged = claim.get("judgement") or "no limit"
            measure = claim.get("unit") or ""
            yield claim["point_id"], claim["reading_id"], kept.seq, kept.at, claim["value"], measure, judged


def _entries(rows: Iterable[tuple[int, str, str, str]]) -> Iterable[_Kept]:
    """Return the entries of one walk, as they stand after all of its events."""
    found: dict[str, _Kept] = {}
    for seq, kind, at, body in rows:
        try:
            event = from_json(body, cache_strings="all")
            entry_id, claim = event["entry_id"], event.get("claim", {})
            corrects, computed_from = event.get("corrects"), tuple(event.get("computed_from", ()))
            claim.get("reading_id")
        except (ValueError, KeyError, TypeError, AttributeError):
            continue  # an altered event: its walk's proof tells of it
        if kind == "entry logged":
            made = _Kept(seq, claim, at, not event.get("doubts"), corrects, computed_from)
            _logged(found, entry_id, made)
        elif kind == "entry withdrawn":
            if entry_id in found:
                found[entry_id].standing = False
            _without_results_of(found, entry_id)
        else:
            kept = found.setdefault(entry_id, _Kept(seq, claim, at, True))
            kept.claim, kept.standing = claim, True
            _replaced(found, kept.corrects)
            _without_results_of(found, entry_id)
    return found.values()


def _logged(found: dict[str, _Kept], entry_id: str, made: _Kept) -> None:
    if made.standing:
        _replaced(found, made.corrects)
    if made.computed_from:
        same = ("point_id", "reading_id")
        for other in found.values():
            if other.computed_from and all(other.claim.get(k) == made.claim.get(k) for k in same):
                other.standing = False
    found[entry_id] = made


def _replaced(found: dict[str, _Kept], entry_id: str | None) -> None:
    if entry_id is not None:
        if entry_id in found:
            found[entry_id].standing = False
        _without_results_of(found, entry_id)


def _without_results_of(found: dict[str, _Kept], entry_id: str) -> None:
    for kept in found.values():
        if entry_id in kept.computed_from:
            kept.standing = False


# reading it --------------------------------------------------------------------------------------


def readings_with(db: Database, unit_id: str, sheet_id: str) -> Iterator[PastReading]:
    """Yield the readings of a unit in its walks with a sheet, in the order they were logged."""
    found = db.conn.execute(
        f"SELECT {_COLUMNS} FROM reading_list WHERE unit_id = ? AND sheet_id = ? ORDER BY seq",
        (unit_id, sheet_id),
    )
    return map(_past, found)


def latest_readings(
    db: Database, unit_id: str, sheet_id: str, point_id: str, reading_id: str, count: int
) -> list[PastReading]:
    """Return the latest values of one reading, oldest first."""
    found = db.conn.execute(
        f"SELECT {_COLUMNS} FROM reading_list WHERE unit_id = ? AND sheet_id = ? AND point_id = ?"
        " AND reading_id = ? ORDER BY seq DESC LIMIT ?",
        (unit_id, sheet_id, point_id, reading_id, count),
    )
    return [_past(row) for row in found][::-1]


def latest_values(
    db: Database,
    unit_id: str,
    sheet_id: str,
    point_id: str,
    reading_id: str,
    count: int,
    unit: str,
    after: datetime | None,
) -> tuple[list[float], list[float]]:
    """Return days since 1970 and values, in ``unit``, of the latest ``count`` that were read ``after``.

    Oldest first. They are numbers alone: of thousands of series few are looked at any closer.
    """
    found = db.conn.execute(
        "SELECT at, value, measure FROM reading_list WHERE unit_id = ? AND sheet_id = ? AND point_id = ?"
        " AND reading_id = ? ORDER BY seq DESC LIMIT ?",
        (unit_id, sheet_id, point_id, reading_id, count),
    )
    days, values = [], []
    since = after.timestamp() if after is not None else None
    for at, value, measure in reversed(found.fetchall()):
        moment = datetime.fromisoformat(at).timestamp()
        if measure == unit and (since is None or moment > since):
            days.append(moment / 86_400)
            values.append(_float(value))
    return days, values


# The same few values come again and again.
_exact = lru_cache(maxsize=4096)(Fraction)


@lru_cache(maxsize=4096)
def _float(value: str) -> float:
    return float(Fraction(value))


def _past(row: tuple[str, str, str, str, str, str, str]) -> PastReading:
    walk, at, point_id, reading_id, value, measure, judgement = row
    return PastReading(
        walk, datetime.fromisoformat(at), point_id, reading_id, _exact(value), measure, judgement
    )


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
