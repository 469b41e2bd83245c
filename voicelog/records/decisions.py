"""The latest decision on service of each unit, from its signatures. No walk is folded."""

from __future__ import annotations

import json
from datetime import datetime
from typing import NamedTuple

from sqlite_utils import Database

_UNITS = "SELECT unit_id, max(first_seq) FROM walk_list GROUP BY unit_id"
_LATEST = (
    "SELECT w.walk, w.unit_name, e.at, e.body FROM (SELECT walk, unit_name, first_seq FROM walk_list"
    " WHERE unit_id = ? ORDER BY first_seq DESC LIMIT ?) w CROSS JOIN events e INDEXED BY events_kind"
    " ON e.walk = w.walk AND e.kind = 'signed off' ORDER BY e.seq DESC"
)
_FEW = 50
"""Walks of a unit that are looked at first."""
_ALL = -1


class Decided(NamedTuple):
    """What was decided of a unit, and in the signature of which walk."""

    unit_id: str
    unit_name: str
    walk: str
    decision: str
    at: datetime
    by: str
    reason: str
    overridden: tuple[str, ...]
    """What of the local policy was set aside."""
    override_reason: str


def latest_decisions(db: Database) -> tuple[Decided, ...]:
    """Return each unit's latest decision, where it has one."""
    units = [unit for unit, _ in db.conn.execute(_UNITS).fetchall()]
    found = (_of_unit(db, unit, _FEW) or _of_unit(db, unit, _ALL) for unit in units)
    return tuple(decided for decided in found if decided is not None)


def _of_unit(db: Database, unit_id: str, walks: int) -> Decided | None:
    for walk, name, at, body in db.conn.execute(_LATEST, (unit_id, walks)):
        try:
            signed = json.loads(body)
            decided = Decided(
                unit_id,
                name,
                walk,
                signed["decision"],
                datetime.fromisoformat(at),
                signed["by"],
                signed.get("reason", ""),
                tuple(signed.get("overridden", ())),
                signed.get("override_reason", ""),
            )
        except (ValueError, KeyError, TypeError):
            continue  # an altered event: its walk's proof tells of it
        if decided.decision != "none":
            return decided
    return None
