"""Proof that each signature of a walk is one that the record would have taken; pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from voicelog.errors import RecordError
from voicelog.records.chain import Row, stored
from voicelog.walk.events import Event, SignedOff
from voicelog.walk.signable import misfit, open_doubts

_OF_ENTRIES = frozenset(("entry logged", "doubt settled", "entry corrected", "entry withdrawn"))


def signature_problems(rows: Sequence[Row], events: Sequence[Event | None]) -> Iterator[str]:
    """Yield where a signature does not fit its role, or stands over an open doubt.

    ``events`` are those of ``rows``; None where one was not read.
    """
    signed = [(n, event) for n, event in enumerate(events) if isinstance(event, SignedOff)]
    for place, event in signed:
        if what := misfit(event):
            yield f"The signature of event {rows[place].number} is none that can be: one {what}."
    # In canonical JSON no text can hold this. Most walks have no doubt, and are not read for it.
    if not signed or not any(row.kind == "entry logged" and '"doubts":[]' not in row.body for row in rows):
        return
    of_entries = [(place, event) for place, event in _of_entries(rows, events)]
    for place, _ in signed:
        if doubts := open_doubts(event for at, event in of_entries if at < place):
            yield f"The signature of event {rows[place].number} is over an open doubt: {', '.join(doubts)}."


def _of_entries(rows: Sequence[Row], events: Sequence[Event | None]) -> Iterator[tuple[int, Event]]:
    for place, (row, event) in enumerate(zip(rows, events, strict=True)):
        if row.kind in _OF_ENTRIES:
            try:
                yield place, event or stored(row).event
            except RecordError:
                continue  # told already, as an altered event
