"""The list of defects, drawn from the units' chains so that the shop's queue answers at once."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from voicelog.defects.book import Defect
from voicelog.defects.life import State


@dataclass(frozen=True, slots=True)
class Listed:
    """One defect in a list over all units."""

    defect_id: str
    unit_id: str
    unit_name: str
    point: str
    what: str
    class_name: str
    rank: int
    state: State
    heard_at: datetime
    deferred_until: date | None
    contradicted: bool
    came_back: bool

    def lapsed(self, today: date) -> bool:
        """Whether it is deferred to a day that has passed."""
        return self.state == "deferred" and self.deferred_until is not None and self.deferred_until < today


def list_entry(defect: Defect) -> tuple[str, str, int, int, str, str]:
    """Return a defect's row of the list."""
    worst = defect.worst
    summary = {
        "defect_id": defect.defect_id,
        "unit_id": worst.unit_id,
        "unit_name": worst.unit_name,
        "point": worst.point,
        "what": worst.what,
        "class_name": worst.class_name,
        "rank": worst.rank,
        "state": defect.state,
        "heard_at": defect.heard_at.isoformat(),
        "deferred_until": defect.deferred_until.isoformat() if defect.deferred_until else None,
        "contradicted": bool(defect.contradictions),
        "came_back": defect.first.came_back_from is not None,
    }
    # In one zone, so that the list is in order of time.
    heard = defect.heard_at.astimezone(UTC).isoformat()
    return defect.defect_id, worst.unit_id, int(defect.is_open), worst.rank, heard, json.dumps(summary)


def read_listed(summary: str) -> Listed:
    """Return a defect of the list from its ``summary``."""
    values: dict[str, Any] = json.loads(summary)
    values["heard_at"] = datetime.fromisoformat(values["heard_at"])
    until = values["deferred_until"]
    values["deferred_until"] = date.fromisoformat(until) if until else None
    return Listed(**values)
