"""How long a PIN may not be tried after wrong ones; pure, times are passed in.

The wrong PINs are on record, so that starting the program again gives no new tries. Whoever can set
the machine's clock can end a wait: that person has the machine, and could try PINs on a copy of it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from voicelog.people.state import People, Person

FREE_TRIES = 3
"""Wrong PINs before the first wait."""
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)
MOST_IN_A_ROW = 100
"""Wrong PINs in a row after which it takes an officer. NIST SP 800-63B, 5.2.2: no more than 100."""
NEVER = datetime.max.replace(tzinfo=UTC)
"""In place of a time: until an officer lifts the lock."""


def wait_after(refused: int) -> timedelta:
    """Return how long to wait after so many wrong PINs in a row: 30 s after three, then doubled."""
    if refused < FREE_TRIES:
        return timedelta(0)
    # Past this the power only grows numbers that are cut to the longest wait anyway.
    doublings = min(refused - FREE_TRIES, 16)
    return min(FIRST_WAIT * (1 << doublings), LONGEST_WAIT)


def others_who_lift(people: People, person: Person) -> bool:
    """Return whether there is an officer in service, other than this person, who could lift a lock."""
    return any(officer.name != person.name for officer in people.officers())


def locked_until(person: Person, now: datetime, *, others: bool = False) -> datetime | None:
    """Return when this person's PIN may be tried again; None when it may be tried now.

    :data:`NEVER` after a hundred wrong ones, where ``others`` could lift the lock. Nobody could lift the
    only officer's: there the longest wait goes on, or wrong PINs would take the station its officer.
    """
    if person.refused_at is None:
        return None
    if others and person.refused >= MOST_IN_A_ROW:
        return NEVER
    until = person.refused_at + wait_after(person.refused)
    return until if until > now else None
