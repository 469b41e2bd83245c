"""The rows of the table ``defect_events``: one chain a unit, and what is drawn from it."""

from __future__ import annotations

from sqlite_utils import Database

from voicelog.defects.book import UnitBook, fold
from voicelog.defects.events import DEFECT_EVENT
from voicelog.records.chain import FIRST_PREVIOUS, Row, read_event, read_time


def chain_name(unit_id: str) -> str:
    """Return the name that a unit's chain is hashed under; no walk can have it."""
    return f"unit {unit_id}"


def rows_of(db: Database, unit_id: str) -> list[Row]:
    """Return a unit's rows of ``defect_events``, in order."""
    found = db.query("SELECT * FROM defect_events WHERE unit = ? ORDER BY number", (unit_id,))
    return [
        Row(walk=chain_name(row.pop("unit")), **row)  # what a walk is to its events, a unit is here
        for row in found
    ]


def book_of(db: Database, unit_id: str) -> UnitBook:
    """Return all defects of a unit, folded from its chain."""
    return fold(unit_id, ((read_time(row), read_event(row, DEFECT_EVENT)) for row in rows_of(db, unit_id)))


def last_of(db: Database, unit_id: str) -> tuple[int, str]:
    """Return the number and the hash of a unit's last event; 0 and 64 zeros where it has none."""
    found = list(
        db.query(
            "SELECT number, hash FROM defect_events WHERE unit = ? ORDER BY number DESC LIMIT 1", (unit_id,)
        )
    )
    return (found[0]["number"], found[0]["hash"]) if found else (0, FIRST_PREVIOUS)


def entered(db: Database) -> dict[str, int]:
    """Return how many events of each walk were entered in its unit's chain."""
    found = db.conn.execute(
        "SELECT json_extract(body, '$.walk'), max(json_extract(body, '$.events')) FROM defect_events"
        " WHERE kind = 'defects entered' GROUP BY 1"
    )
    return {walk: int(events) for walk, events in found}
