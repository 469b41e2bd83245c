"""What is recorded of people, in the order it happened; append-only, as everything on record.

A person is a name, roles and a key. Each event but ``pin refused`` is sealed by the key of the
person who made it. The private keys are no part of these events: an event names the SHA-256 of
the locked box that a private key is kept in.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from voicelog.meaning.facts import Frozen

Role = Literal["operator", "officer", "mechanic"]
ROLES: tuple[Role, ...] = ("operator", "officer", "mechanic")


class Named(Frozen):
    """What every event of people says: whom it is about."""

    name: str


class ByOfficer(Named):
    """What an officer did about a person, or the person about themselves: by whom, and why."""

    by: str
    reason: str = ""


class WithKey(Frozen):
    """A key that a person has from now on."""

    key_id: str
    """SHA-256 of the public key, 64 hex digits."""
    public_key: str
    """Ed25519, 32 bytes as hex."""
    box_sha256: str
    """Of the text of the locked box that holds the private key."""


class PersonAdded(Named, WithKey):
    """A person is on record. The first is an officer, added by that officer."""

    kind: Literal["person added"] = "person added"
    roles: tuple[Role, ...]
    by: str


class RolesGiven(ByOfficer):
    """From now on the person has these roles and no other."""

    kind: Literal["roles given"] = "roles given"
    roles: tuple[Role, ...]


class KeyReplaced(ByOfficer, WithKey):
    """The person has another key, and so another PIN; the old key seals nothing more."""

    kind: Literal["key replaced"] = "key replaced"


class PersonRetired(ByOfficer):
    """The person does nothing more here. What they did stays as it is."""

    kind: Literal["person retired"] = "person retired"


class PinRefused(Named):
    """A wrong PIN was given for this person; nobody knows by whom, so nobody seals it."""

    kind: Literal["pin refused"] = "pin refused"


class PinAccepted(Named):
    """The right PIN was given after wrong ones."""

    kind: Literal["pin accepted"] = "pin accepted"


class LockBegunAnew(Named):
    """The clock was set back since the last wrong PIN, so the wait begins anew; nobody seals it."""

    kind: Literal["lock begun anew"] = "lock begun anew"


class LockLifted(Named):
    """An officer let a person try their PIN again without waiting."""

    kind: Literal["lock lifted"] = "lock lifted"
    by: str


class HandedOver(Named):
    """The machine is now in this person's hands."""

    kind: Literal["handed over"] = "handed over"
    before: str
    """Who had it before; empty where nobody had given a PIN."""
    walk: str
    """What was on the screen."""


PersonEvent = Annotated[
    PersonAdded
    | RolesGiven
    | KeyReplaced
    | PersonRetired
    | PinRefused
    | PinAccepted
    | LockBegunAnew
    | LockLifted
    | HandedOver,
    Field(discriminator="kind"),
]

PERSON_EVENT: TypeAdapter[PersonEvent] = TypeAdapter(PersonEvent)
"""Reads and writes any event of people."""
