"""Seals: a person's Ed25519 signature over the hash of an event, kept beside the events.

An event that bears a ``key_id`` has exactly one seal, by that key, of a person who could make that
event when it was made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from sqlite_utils import Database

from voicelog.defects.events import DefectEvent, RepairCertified
from voicelog.errors import PersonError, RecordError
from voicelog.people.keys import Signer, seal_holds
from voicelog.people.rules import Need, check_event, check_need, need_of
from voicelog.people.state import People
from voicelog.records.chain import Row, canonical, clip_named
from voicelog.records.clips import sha256_hex
from voicelog.records.people_rows import Roll
from voicelog.walk.events import Event, SignedOff


@dataclass(frozen=True, slots=True)
class Seal:
    """One line of the table ``seals``."""

    walk: str
    number: int
    key_id: str
    signature: str


def seals_of(db: Database, walk: str) -> list[Seal]:
    """Return the seals over a walk's events, in order."""
    return [Seal(**row) for row in db.query("SELECT * FROM seals WHERE walk = ? ORDER BY number", (walk,))]


def clips_digest(clips: Iterable[str]) -> str:
    """Return the SHA-256 over the canonical list of the clips' own SHA-256, each once, sorted."""
    return sha256_hex(canonical(sorted(set(clips))))


def seals_digest(seals: Iterable[Seal]) -> str:
    """Return the SHA-256 over the canonical list of seals, each as number, key and signature."""
    return sha256_hex(canonical([[seal.number, seal.key_id, seal.signature] for seal in seals]))


_KINDS = {kind.model_fields["kind"].default: kind for kind in get_args(get_args(Event)[0])}
SEALED = frozenset(name for name, kind in _KINDS.items() if "key_id" in kind.model_fields)
"""The kinds of event that may bear a seal."""
UNSEALED = frozenset(_KINDS) - SEALED
"""The kinds of event that never do."""


def key_of(event: Event | DefectEvent) -> str:
    """Return the id of the key that ``event`` says it is sealed with; empty where there is none."""
    return str(getattr(event, "key_id", ""))


def stamped(
    event: Event,
    people: People,
    signer: Signer | None,
    clips: Callable[[], Iterable[str]],
    seals: Callable[[], Iterable[Seal]],
    defects: Callable[[], str],
) -> Event:
    """Return ``event`` with the id of the key it is to be sealed with, and what a signature is over.

    ``clips`` and ``seals`` give those of the walk so far, ``defects`` the hash of the last event of
    its unit's defects; they are asked for a signature only.
    Without people the event is unchanged. Raises PersonError when this person may not record it.
    """
    check_event(people, event, signer.name if signer else "", signer.key_id if signer else "")
    if key_of(event):
        raise RecordError(
            "This event names a key before it is sealed.",
            where="record",
            remedy="This is a fault of voicelog: report it.",
        )
    if not people or signer is None or not need_of(event).sealed:
        return event
    update: dict[str, Any] = {"key_id": signer.key_id}
    if isinstance(event, SignedOff):
        update |= {
            "by": people.person(signer.name).name,
            "clips_sha256": clips_digest(clips()),
            "seals_sha256": seals_digest(seals()),
            "people_head": people.head,
            "defects_head": defects(),
        }
    return event.model_copy(update=update)


Who = Callable[[Row, Event], Sequence[People]]
"""Who was on record when an event was made; more than one state where that is not known exactly."""


def seal_problems(
    rows: Sequence[Row],
    events: Sequence[Event | None],
    seals: Sequence[Seal],
    roll: Roll,
    who: Who | None = None,
) -> list[str]:
    """Return what is wrong with the seals of one walk, in the order of its events.

    ``events`` are those of ``rows``; None where one cannot be read, or is of a kind without a seal.
    ``who`` tells who was on record; by default it is told by the line of each row.
    """
    who = who or (lambda row, event: (roll.at_line(row.seq),))
    left = {seal.number: seal for seal in seals}
    found: list[str] = []
    before: list[Seal] = []
    for place, (row, event) in enumerate(zip(rows, events, strict=True)):
        if row.kind not in SEALED and row.number not in left:
            continue
        seal = left.pop(row.number, None)
        if event is None:
            if row.kind not in SEALED:
                found.append(f"Event {row.number} has a seal, and is of a kind that has none.")
            continue  # otherwise told already, as an altered event
        people, need = who(row, event), need_of(event)
        needed = any(people) and need.sealed
        if problem := seal_problem(row, key_of(event), seal, roll, people, need, needed=needed):
            found.append(f"Event {row.number} {problem}")
        if isinstance(event, SignedOff) and key_of(event):
            clips = (sha for earlier in rows[:place] if (sha := clip_named(earlier)) is not None)
            found += signed_over(row, event, clips, before, roll)
        if seal is not None:
            before.append(seal)
    return [*found, *(f"There is a seal over event {number}, which is not there." for number in left)]


def signed_over(
    row: Row, signature: SignedOff | RepairCertified, clips: Iterable[str], seals: Iterable[Seal], roll: Roll
) -> list[str]:
    """Return where a signature is not over the clips and seals before it, and people as they were."""
    whose, found = f"The signature of event {row.number} is not over", []
    if signature.clips_sha256 != clips_digest(clips):
        found.append(f"{whose} the sound clips before it.")
    if signature.seals_sha256 != seals_digest(seals):
        found.append(f"{whose} the seals before it.")
    if signature.people_head not in roll.heads:
        found.append(f"The signature of event {row.number} is over a record of people that is gone.")
    return found


def seal_problem(
    row: Row,
    key_id: str,
    seal: Seal | None,
    roll: Roll,
    people: Sequence[People],
    need: Need,
    *,
    needed: bool,
) -> str | None:
    """Return what is wrong with one event's seal, to follow "Event 4", or None.

    ``key_id`` is the key that the event names, ``people`` who may have been on record, ``needed``
    whether it must be sealed.
    """
    if not key_id:
        if seal is not None:
            return "has a seal, and says that it has none."
        return "is not sealed, and people were on record." if needed else None
    if seal is None:
        return "has lost its seal."
    known = roll.now.keys.get(key_id)
    if seal.key_id != key_id:
        return "is sealed with another key than it names."
    if known is None:
        return "is sealed with a key that is not on record."
    if not seal_holds(known.public_key, row.hash, seal.signature):
        return "has a seal that does not hold."
    refusal = "nobody was on record then"
    for then in people:
        try:
            check_need(then, need, known.name, key_id)
        except PersonError as error:
            refusal = error.what
        else:
            if then:
                return None
    return f"is not one that its maker could make: {refusal}."
