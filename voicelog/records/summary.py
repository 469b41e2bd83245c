"""What a list of walks shows of each, folded from the events that open, close and sign it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from voicelog.errors import RecordError
from voicelog.records.chain import Stored
from voicelog.walk.events import SignedOff, WalkFinished, WalkStarted

KINDS = ("walk started", "walk finished", "signed off")
"""The kinds of event a summary is made from."""


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


def summaries(
    opening_and_closing: Iterable[Stored], last_events: Iterable[Stored]
) -> tuple[WalkSummary, ...]:
    """Return the summary of each walk, in the order they were started.

    ``opening_and_closing`` are the events of the kinds :data:`KINDS`, in order;
    ``last_events`` are the last event of each walk. Raises RecordError for a walk that has lost
    its beginning.
    """
    latest = {last.walk: last for last in last_events}
    walks: dict[str, WalkSummary] = {}
    for stored in opening_and_closing:
        event = stored.event
        if isinstance(event, WalkStarted):
            walks[stored.walk] = WalkSummary(
                walk=stored.walk,
                unit_id=event.unit_id,
                unit_name=event.unit_name,
                sheet_id=event.sheet_id,
                sheet_title=event.sheet_title,
                operator=event.operator,
                started=stored.at,
                finished=None,
                signed=(),
                last=latest[stored.walk].at,
                events=latest[stored.walk].number,
            )
            continue
        walk = walks.get(stored.walk)
        if walk is None:
            raise RecordError(
                "This walk has lost its beginning: the record was altered.",
                where=f"walk {stored.walk}",
                remedy="Keep a copy of the folder as it is, and restore the last backup.",
            )
        if isinstance(event, WalkFinished):
            walks[stored.walk] = replace(walk, finished=stored.at)
        elif isinstance(event, SignedOff):
            walks[stored.walk] = replace(walk, signed=(*walk.signed, event.meaning))
    return tuple(walks.values())
