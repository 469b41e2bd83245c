"""How long a PIN may not be tried after wrong ones; pure, times are passed in.

The wrong PINs are on record, so that starting the program again gives no new tries.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from voicelog.people.state import Person

FREE_TRIES = 3
"""Wrong PINs before the first wait."""
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)


def wait_after(refused: int) -> timedelta:
    """Return how long to wait after so many wrong PINs in a row: 30 s after three, then doubled."""
    if refused < FREE_TRIES:
        return timedelta(0)
    # Past this the power only grows numbers that are cut to the longest wait anyway.
    doublings = min(refused - FREE_TRIES, 16)
    return min(FIRST_WAIT * (1 << doublings), LONGEST_WAIT)


def locked_until(person: Person, now: datetime) -> datetime | None:
    """Return when this person's PIN may be tried again; None when it may be tried now."""
    if person.refused_at is None:
        return None
    until = person.refused_at + wait_after(person.refused)
    return until if until > now else None
