"""The people on record: their events, folded; pure.

Names are compared without regard to case and spaces, so that nobody is on record twice.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field, replace
from datetime import datetime

from voicelog.errors import PersonError
from voicelog.people.events import (
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

LIST_PEOPLE = "list those on record with: voicelog people list"


@dataclass(frozen=True, slots=True)
class PublicKey:
    """A key as everybody may know it."""

    key_id: str
    public_key: str
    """Ed25519, 32 bytes as hex."""
    box_sha256: str
    name: str
    """Whose it is, or was."""


@dataclass(frozen=True, slots=True)
class Person:
    """A person on record, as they now are."""

    name: str
    roles: frozenset[Role]
    key: PublicKey
    added: datetime
    retired: datetime | None = None
    refused: int = 0
    """How many wrong PINs were given since the last right one."""
    refused_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class People:
    """Everybody on record. Without anybody, names are taken as they are given."""

    persons: dict[str, Person] = field(default_factory=dict)
    """By folded name, in the order they were added."""
    keys: dict[str, PublicKey] = field(default_factory=dict)
    """Every key there ever was, by its id."""
    head: str = ""
    """Hash of the last event of people; empty where there is none."""
    root: str = ""
    """Hash of the first event of people: what this station is told from any other by."""

    def __bool__(self) -> bool:
        """Return whether anybody is on record."""
        return bool(self.persons)

    def find(self, name: str) -> Person | None:
        """Return the person of this name, also one who is retired."""
        return self.persons.get(folded(name))

    def person(self, name: str) -> Person:
        """Return the person of this name who is in service. Raises PersonError."""
        found = self.find(name)
        if found is None:
            raise PersonError(f"{name.strip() or 'nobody'} is not on record", remedy=LIST_PEOPLE)
        if found.retired is not None:
            raise PersonError(
                f"{found.name} is retired since {found.retired:%Y-%m-%d}", remedy="let another person do it"
            )
        return found

    def with_role(self, name: str, role: Role, to_do: str) -> Person:
        """Return the person of this name in service who has ``role``. Raises PersonError.

        ``to_do`` completes "... may not": ``certify a repair``.
        """
        person = self.person(name)
        if role not in person.roles:
            has = ", ".join(sorted(person.roles)) or "no role"
            raise PersonError(
                f"{person.name} ({has}) may not {to_do}: that is for the role {role}",
                remedy=f"let a person with the role {role} do it, or have an officer give the role "
                "with: voicelog people role",
            )
        return person

    def in_service(self) -> tuple[Person, ...]:
        """Return everybody who is not retired, in the order they were added."""
        return tuple(person for person in self.persons.values() if person.retired is None)

    def officers(self) -> tuple[Person, ...]:
        """Return the officers in service."""
        return tuple(person for person in self.in_service() if "officer" in person.roles)


def folded(name: str) -> str:
    """Return a name as names are compared: without regard to case, spaces and how marks are composed."""
    return unicodedata.normalize("NFC", " ".join(name.split()).casefold())


def apply_person(people: People, event: PersonEvent, at: datetime, digest: str) -> People:
    """Return the people after one more event. An event of somebody unknown changes nobody."""
    people = replace(people, head=digest, root=people.root or digest)
    if isinstance(event, PersonAdded):
        key = _key(event)
        person = Person(event.name, frozenset(event.roles), key, at)
        return _with(people, person, key)
    known = people.find(event.name)
    if known is None:
        return people
    match event:
        case RolesGiven(roles=roles):
            return _with(people, replace(known, roles=frozenset(roles)))
        case KeyReplaced():
            key = _key(event)
            return _with(people, replace(known, key=key, refused=0, refused_at=None), key)
        case PersonRetired():
            return _with(people, replace(known, retired=at))
        case PinRefused():
            return _with(people, replace(known, refused=known.refused + 1, refused_at=at))
        case LockBegunAnew():
            return _with(people, replace(known, refused_at=at))
        case PinAccepted() | LockLifted():
            return _with(people, replace(known, refused=0, refused_at=None))
        case HandedOver():
            return people


def _key(event: PersonAdded | KeyReplaced) -> PublicKey:
    return PublicKey(event.key_id, event.public_key, event.box_sha256, event.name)


def _with(people: People, person: Person, key: PublicKey | None = None) -> People:
    keys = people.keys if key is None else {**people.keys, key.key_id: key}
    return replace(people, persons={**people.persons, folded(person.name): person}, keys=keys)
