"""What was removed when its time was past: sealed events of a unit's chain, each naming every walk.

A walk's events are gone after that, or only its sound; what stands here says what there was, so that
a copy can be held against it and a loss is never taken for a removal.
"""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from voicelog.meaning.facts import Frozen, Sealed


class RemovedWalk(Frozen):
    """One walk whose events, or whose sound, were removed."""

    walk: str
    sheet_id: str
    sheet_title: str
    operator: str
    """Who began it."""
    started: datetime
    last: datetime
    """When the last thing was put on record in it."""
    events: int
    head: str
    """Hash of its last event."""
    lines: tuple[tuple[int, int], ...] = ()
    """The lines of the record that its events stood on, as first and last of each run; empty for sound."""
    clips: int
    """How many sound clips its events name."""
    clips_sha256: str
    """Over the canonical list of their SHA-256, as in a signature."""
    seals_sha256: str
    """Over the canonical list of the seals over its events, as in a signature."""
    copy_path: str = ""
    """Where a copy was written before; empty where none was."""
    copy_sha256: str = ""
    """Of that file."""


class _Removed(Sealed):
    """Who removed what of which walks, by which policy."""

    unit_id: str
    unit_name: str
    by: str
    role: Literal["officer"] = "officer"
    reason: str
    policy: str
    policy_edition: str
    policy_sha256: str
    months: int
    """How long the policy asks that what was removed be kept, from the last thing on."""
    repairs_months: int
    """The same of the repairs that the walks speak of."""
    walks: tuple[RemovedWalk, ...]
    people_head: str = ""
    """Hash of the last event of people when it was done."""


class WalksRemoved(_Removed):
    """Whole walks: their events, the seals over these, and their sound."""

    kind: Literal["walks removed"] = "walks removed"


class SoundRemoved(_Removed):
    """Only the sound of walks; their events stay, with the SHA-256 of every clip."""

    kind: Literal["sound removed"] = "sound removed"


Removal = WalksRemoved | SoundRemoved
