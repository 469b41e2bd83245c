"""What a walk may go on with, as the record itself sees it, whoever appends."""

from __future__ import annotations

from collections.abc import Sequence

from sqlite_utils import Database

from voicelog.errors import RecordError
from voicelog.records import schema
from voicelog.records.chain import stored
from voicelog.walk.events import Event, SignedOff, WalkStarted
from voicelog.walk.signable import misfit, open_doubts


def check_opening(walk: str, number: int, events: Sequence[Event]) -> None:
    """Raise RecordError unless a walk of ``number`` events may go on so: its start comes first, and once."""
    for place, event in enumerate(events, start=number + 1):
        if isinstance(event, WalkStarted) and place > 1:
            raise RecordError(
                "This walk was started already.",
                where=f"walk {walk}",
                remedy="Take it up again, or start a walk under another name.",
            )
        if place == 1 and not isinstance(event, WalkStarted):
            raise RecordError(
                "There is no such walk.",
                where=f"walk {walk}",
                remedy="Start the walk first, or check its name in the list of walks.",
            )


def check_signature(db: Database, walk: str, event: Event, previous: str) -> None:
    """Raise RecordError for a signature that the record itself does not allow.

    What comes before it is in the tables, and ends with the hash ``previous``.
    """
    if not isinstance(event, SignedOff):
        return
    if event.head != previous:
        raise gone_on(walk)
    if what := misfit(event):
        raise RecordError(
            f"The signature {what}.",
            where=f"walk {walk}",
            remedy="An operator signs that it was inspected, an officer confirms it and decides.",
        )
    rows = schema.rows(db, "walk = ?", (walk,))
    if doubts := open_doubts(stored(row).event for row in rows):
        raise RecordError(
            f"Nothing with an open doubt can be signed, and open is: entry {', '.join(doubts)}.",
            where=f"walk {walk}",
            remedy="Settle, correct or reject each of them, then sign.",
        )


def gone_on(walk: str) -> RecordError:
    """Return the error for who was shown less than there is."""
    return RecordError(
        "The record went on since this was shown.",
        where=f"walk {walk}",
        remedy="Look at the record as it is now, then do it again.",
    )
