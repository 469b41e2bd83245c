"""The people on record, as the store keeps them: added, given roles and keys, let in by their PIN.

Every change is one event, sealed by whoever makes it, and on the disk when the call returns. A
wrong PIN is on the disk before it is told, so that no try is free.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from threading import RLock

from sqlite_utils import Database

from voicelog.errors import PersonError
from voicelog.people.events import (
    PERSON_EVENT,
    HandedOver,
    KeyReplaced,
    LockBegunAnew,
    LockLifted,
    PersonAdded,
    PersonEvent,
    PersonRetired,
    PinAccepted,
    PinRefused,
    Role,
    RolesGiven,
)
from voicelog.people.keys import Cost, NewKey, Signer, WrongPin, make_key, open_box
from voicelog.people.lockout import NEVER, locked_until, others_who_lift, wait_after
from voicelog.people.names import checked_name, looks_like
from voicelog.people.rules import check_person_event
from voicelog.people.state import People, Person
from voicelog.records.chain import FIRST_PREVIOUS, canonical
from voicelog.records.clips import sha256_hex
from voicelog.records.faults import faults
from voicelog.records.people_rows import PersonRow, Roll, link_person, read_roll


class PeopleRecord:
    """Who is on record in one data folder. Made by the store, which shares its turn and its file."""

    def __init__(
        self,
        db: Database,
        path: Path,
        turn: RLock,
        writing: Callable[[], AbstractContextManager[object]],
        now: Callable[[], datetime],
        cost: Cost,
    ) -> None:
        """Take what the store holds; ``writing`` opens its only write transaction."""
        self._db, self._path, self._turn = db, path, turn
        self._writing, self._now, self._cost = writing, now, cost
        self._read: tuple[tuple[int, str], Roll] | None = None

    # reading --------------------------------------------------------------------------------

    def now(self) -> People:
        """Return everybody on record. Raises PersonError when the record of people was altered."""
        roll = self.roll()
        if roll.problems:
            raise PersonError(
                f"the record of people was altered, so nobody's name can be relied on. {roll.problems[0]}",
                where=str(self._path),
                remedy="keep the data folder as it is, and restore the last backup",
            )
        return roll.now

    def roll(self) -> Roll:
        """Return who was on record when, and what is wrong with that."""
        with self._turn, faults(self._path):
            last = self._last()
            if self._read is None or self._read[0] != last:
                self._read = (last, read_roll(person_rows(self._db), numbers_given(self._db)))
            return self._read[1]

    # changing -------------------------------------------------------------------------------

    def add(
        self, name: str, roles: tuple[Role, ...], pin: str, *, by: Signer | None = None
    ) -> tuple[PersonAdded, Signer]:
        """Put a person on record with a new key, and return the event and their open key.

        The first person, an officer, adds themselves: then ``by`` is None. Raises PersonError.
        """
        name = checked_name(name)
        with self._turn, faults(self._path), self._writing():
            if by is None and self.now():
                raise PersonError(
                    "people are on record, and an officer adds others",
                    remedy="give the officer's name with --by, and their PIN",
                )
            _check_not_alike(name, self.now())
            made = make_key(pin, self._cost)
            event = PersonAdded(
                name=name,
                roles=roles,
                by=by.name if by else name,
                key_id=made.key_id,
                public_key=made.public_key,
                box_sha256=made.box_sha256,
            )
            new = Signer(name, made.key_id, open_box(made.box, made.public_key, pin))
            self._keep(event, made, by or new)
        return event, new

    def give_roles(self, name: str, roles: tuple[Role, ...], *, by: Signer, reason: str = "") -> RolesGiven:
        """Give a person these roles and no other. Raises PersonError."""
        with self._turn, faults(self._path), self._writing():
            known = self.now().person(name)
            event = RolesGiven(name=known.name, roles=roles, by=by.name, reason=reason.strip())
            self._keep(event, None, by)
        return event

    def replace_key(self, name: str, pin: str, *, by: Signer, reason: str = "") -> KeyReplaced:
        """Give a person a new key under a new PIN. Raises PersonError."""
        with self._turn, faults(self._path), self._writing():
            known = self.now().person(name)
            made = make_key(pin, self._cost)
            event = KeyReplaced(
                name=known.name,
                by=by.name,
                reason=reason.strip(),
                key_id=made.key_id,
                public_key=made.public_key,
                box_sha256=made.box_sha256,
            )
            self._keep(event, made, by)
        return event

    def retire(self, name: str, *, by: Signer, reason: str = "") -> PersonRetired:
        """Take a person out of service; what they did stays. Raises PersonError."""
        with self._turn, faults(self._path), self._writing():
            known = self.now().person(name)
            event = PersonRetired(name=known.name, by=by.name, reason=reason.strip())
            self._keep(event, None, by)
        return event

    def lift_lock(self, name: str, *, by: Signer) -> LockLifted:
        """Let a person try their PIN again at once. Raises PersonError."""
        with self._turn, faults(self._path), self._writing():
            event = LockLifted(name=self.now().person(name).name, by=by.name)
            self._keep(event, None, by)
        return event

    def hand_over(self, to: Signer, *, before: str, walk: str) -> HandedOver:
        """Record that the machine is now in another person's hands. Raises PersonError."""
        with self._turn, faults(self._path), self._writing():
            event = HandedOver(name=to.name, before=before, walk=walk)
            self._keep(event, None, to)
        return event

    def unlock(self, name: str, pin: str) -> Signer:
        """Return the open key of a person who gives the right PIN.

        Raises PersonError for a wrong PIN, and while the PIN may not be tried.
        """
        with self._turn, faults(self._path):
            with self._writing():
                people = self.now()
                person = people.person(name)
                found = self._locked(people, person) or self._opened(person, pin)
            if isinstance(found, PersonError):
                # Raised only now: the wrong try, or that a wait began anew, is on the disk.
                raise found
            return found

    def _opened(self, person: Person, pin: str) -> Signer | PersonError:
        """Return a person's open key, or why not; inside the write transaction."""
        try:
            private = open_box(self._box(person.key.key_id), person.key.public_key, pin)
        except WrongPin:
            self._keep(PinRefused(name=person.name), None, None)
            wait = int(wait_after(person.refused + 1).total_seconds())
            return PersonError(
                f"this is not the PIN of {person.name}",
                remedy=f"it may be tried again in {wait} s" if wait else "try again",
            )
        signer = Signer(person.name, person.key.key_id, private)
        if person.refused:
            self._keep(PinAccepted(name=person.name), None, signer)
        return signer

    def _locked(self, people: People, person: Person) -> PersonError | None:
        """Return why a PIN may not be tried now; inside the write transaction.

        Where the clock was set back since the last wrong PIN, how much of the wait is left cannot be
        told. It begins anew then, and is on record: so a clock that was ahead locks nobody for years.
        """
        now = self._now()
        if person.refused_at is not None and now < person.refused_at and wait_after(person.refused):
            self._keep(LockBegunAnew(name=person.name), None, None)
            people = self.now()
            person = people.person(person.name)
        until = locked_until(person, now, others=others_who_lift(people, person))
        if until is None:
            return None
        if until is NEVER:
            return PersonError(
                f"the PIN of {person.name} was wrong {person.refused} times, and is not tried any more",
                remedy="let an officer lift the lock with: voicelog people unlock, or give a new key with: "
                "voicelog people key",
            )
        return PersonError(
            f"the PIN of {person.name} was wrong {person.refused} times, and may be tried again "
            f"from {until:%Y-%m-%d %H:%M:%S}",
            remedy="wait, or let an officer lift the lock with: voicelog people unlock",
        )

    def _last(self) -> tuple[int, str]:
        """Return the number and the hash of the last event of people."""
        rows = list(self._db.query(f"{_SELECT} DESC LIMIT 1"))
        return (rows[0]["number"], rows[0]["hash"]) if rows else (0, FIRST_PREVIOUS)

    # keeping --------------------------------------------------------------------------------

    def _box(self, key_id: str) -> str:
        """Return the locked half of a key, checked against what the record says of it."""
        key = self.now().keys[key_id]
        rows = list(self._db.query("SELECT box FROM keys WHERE key_id = ?", (key_id,)))
        if not rows or sha256_hex(rows[0]["box"].encode()) != key.box_sha256:
            raise PersonError(
                f"the locked key of {key.name} is missing or was altered",
                where=str(self._path),
                remedy="restore the last backup, or let an officer replace the key: voicelog people key",
            )
        return str(rows[0]["box"])

    def _keep(self, event: PersonEvent, made: NewKey | None, by: Signer | None) -> None:
        """Check, seal and insert one event; inside the write transaction."""
        key_id = by.key_id if by else ""
        check_person_event(self.now(), event, key_id)
        number, previous = self._last()
        number += 1
        (line,) = self._db.query("SELECT coalesce(max(seq), 0) AS seq FROM events")
        at = self._now().isoformat()
        body = canonical(PERSON_EVENT.dump_python(event, mode="json")).decode()
        digest = link_person(number, line["seq"], at, event.kind, body, previous, key_id)
        signature = by.seal(digest) if by else ""
        row = PersonRow(number, line["seq"], at, event.kind, body, previous, digest, key_id, signature)
        self._db.table("people").insert(asdict(row))
        if made is not None:
            self._db.table("keys").insert({"key_id": made.key_id, "box": made.box})


def _check_not_alike(name: str, people: People) -> None:
    """Refuse a name that on paper could be taken for that of another person on record."""
    if people.find(name) is not None:
        return  # told as on record already, when it is checked
    if other := looks_like(name, (person.name for person in people.persons.values())):
        raise PersonError(
            f"'{name}' can be taken for {other}, who is on record",
            remedy="write the name so that the two can be told apart",
        )


_SELECT = "SELECT * FROM people ORDER BY number"


def person_rows(db: Database) -> list[PersonRow]:
    """Return the rows of people in order."""
    return [PersonRow(**row) for row in db.query(_SELECT)]


def numbers_given(db: Database) -> int:
    """Return how many numbers of the table ``people`` were ever given out."""
    return sum(int(row["seq"]) for row in db.query("SELECT seq FROM sqlite_sequence WHERE name = 'people'"))
