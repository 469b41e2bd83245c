"""One logged fact as it now stands, and how it and its point may stand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from voicelog.walk.events import (
    Claim,
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryLogged,
    EntryWithdrawn,
)

EntryStatus = Literal["standing", "doubt", "replaced", "withdrawn"]
PointStatus = Literal["open", "sound", "defect", "doubt"]
Change = DoubtSettled | EntryCorrected | EntryConfirmed | EntryWithdrawn


@dataclass(frozen=True, slots=True)
class Entry:
    """One logged fact as it now stands, with everything that happened to it."""

    logged: EntryLogged
    at: datetime
    claim: Claim
    """What counts now: as logged, as settled or as corrected."""
    status: EntryStatus
    changes: tuple[tuple[datetime, Change], ...] = ()
    by: str = ""
    """Who had the walk in hand when it was logged."""

    @property
    def entry_id(self) -> str:
        """The id it was logged with."""
        return self.logged.entry_id

    @property
    def in_doubt(self) -> bool:
        """Whether a person has yet to settle what it says."""
        return self.status == "doubt"


def may_say(entry: Entry) -> tuple[Claim, ...]:
    """Return what an entry says; while in doubt, all that it may say; nothing once it counts no more."""
    if entry.status == "standing":
        return (entry.claim,)
    if entry.in_doubt:
        doubted = (c.claim for doubt in entry.logged.doubts for c in doubt.candidates)
        return tuple(dict.fromkeys((*doubted, entry.claim)))
    return ()


def points_meant(entry: Entry) -> frozenset[str]:
    """Return the points an entry is about; while in doubt, all that it may be about."""
    if not entry.in_doubt:
        return frozenset((entry.claim.point_id,))
    candidates = (c.claim.point_id for doubt in entry.logged.doubts for c in doubt.candidates)
    return frozenset((entry.claim.point_id, *candidates))
