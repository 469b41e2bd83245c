"""What a list of walks shows of each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class WalkSummary:
    """One walk in a list of walks."""

    walk: str
    unit_id: str
    unit_name: str
    sheet_id: str
    sheet_title: str
    operator: str
    started: datetime
    finished: datetime | None
    """None while it can be taken up again."""
    signed: tuple[str, ...]
    """The meanings of its signatures, in order: ``inspected by``, ``confirmed by``."""
    last: datetime
    """When its latest event was written."""
    events: int
