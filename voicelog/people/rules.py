"""Who may put what on record; pure. The record applies these to every event, whatever asks for it.

A station with nobody on record takes names as they are given, and nothing there is sealed. From
the first person on, every event of a walk is put on record by a person in service whose PIN was
given; what decides something is sealed with that person's key.
"""

from __future__ import annotations

from dataclasses import dataclass

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
from voicelog.people.state import LIST_PEOPLE, People, folded
from voicelog.walk.events import (
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryWithdrawn,
    Event,
    GroupMarkConfirmed,
    GroupMarkReopened,
    RecheckAsked,
    RemarkTranscribed,
    SignedOff,
    WalkFinished,
    WalkHandedOver,
    WalkResumed,
    WalkStarted,
)

GIVE_PIN = "give the name of a person on record, and their PIN"


@dataclass(frozen=True, slots=True)
class Need:
    """What an event of a walk needs of whoever puts it on record."""

    role: Role
    to_do: str
    """Completes "... may not"."""
    name: str | None
    """The name the event itself bears; None where it bears none."""
    sealed: bool


def need_of(event: Event) -> Need:
    """Return what ``event`` needs. What was said or typed in a walk is the operator's."""
    match event:
        case WalkStarted(operator=name):
            return Need("operator", "begin a walk", name, True)
        case WalkResumed(operator=name):
            return Need("operator", "take up a walk", name, True)
        case WalkHandedOver(operator=name):
            return Need("operator", "take over a walk", name, True)
        case WalkFinished():
            return Need("operator", "end a walk", None, True)
        case EntryCorrected(by=name):
            return Need("officer", "correct an entry in the review", name, True)
        case EntryConfirmed(by=name):
            return Need("officer", "confirm an entry in the review", name, True)
        case EntryWithdrawn(heard=None, by=name):
            return Need("officer", "reject an entry in the review", name, True)
        case GroupMarkConfirmed(by=name):
            return Need("officer", "confirm a group mark in the review", name, True)
        case GroupMarkReopened(heard=None, by=name):
            return Need("officer", "re-open a group mark in the review", name, True)
        case DoubtSettled(heard=None, by=name):
            return Need("officer", "settle a doubt in the review", name, True)
        case RecheckAsked(by=name):
            return Need("officer", "ask in the review that a point be looked at again", name, True)
        case SignedOff(role=role, by=name):
            return Need(role, f"sign as {role}", name, True)
        case _:
            return Need("operator", "log in a walk", None, False)


def check_event(people: People, event: Event, name: str, key_id: str) -> None:
    """Raise PersonError when the person ``name`` with the key ``key_id`` may not record ``event``.

    ``people`` are those on record then; without anybody nothing is refused.
    """
    # A transcript is the machine's: nobody says it, and it decides nothing. Its sound is on record.
    if not isinstance(event, RemarkTranscribed):
        check_need(people, need_of(event), name, key_id)


def check_need(people: People, need: Need, name: str, key_id: str) -> None:
    """Raise PersonError when the person ``name`` with the key ``key_id`` does not meet ``need``."""
    if not people:
        return
    if not key_id:
        raise PersonError(
            f"no PIN was given, and people are on record here: nobody can {need.to_do} without one",
            remedy=GIVE_PIN,
        )
    person = people.with_role(name, need.role, need.to_do)
    _check_key(people, name, key_id)
    if need.name is not None and folded(need.name) != folded(person.name):
        raise PersonError(
            f"this is in the name of {need.name}, and it is {person.name} whose PIN was given",
            remedy="change the person first, then do it again",
        )


def sealer(event: PersonEvent) -> str | None:
    """Return who seals an event of people, by name; None for a wrong PIN and its wait: nobody does."""
    match event:
        case PinRefused() | LockBegunAnew():
            return None
        case PinAccepted(name=name) | HandedOver(name=name):
            return name
        case PersonAdded(by=by) | RolesGiven(by=by) | KeyReplaced(by=by) | PersonRetired(by=by):
            return by
        case LockLifted(by=by):
            return by


def check_person_event(people: People, event: PersonEvent, key_id: str) -> None:
    """Raise PersonError when the holder of the key ``key_id`` may not record ``event``."""
    if isinstance(event, PersonAdded) and not people:
        _check_first(event, key_id)
        return
    by = sealer(event)
    if by is None:
        if people.find(event.name) is None:
            raise PersonError(f"{event.name} is not on record", remedy=LIST_PEOPLE)
        return
    _check_key(people, by, key_id)
    match event:
        case PersonAdded():
            people.with_role(by, "officer", "add a person")
            _check_new(people, event)
        case RolesGiven(name=name, roles=roles):
            people.with_role(by, "officer", "give a role")
            _check_roles(roles)
            _check_officer_stays(people, name, "officer" in roles)
        case PersonRetired(name=name):
            people.with_role(by, "officer", "retire a person")
            _check_officer_stays(people, name, False)
        case KeyReplaced(name=name):
            people.person(name)
            if folded(by) != folded(name):
                people.with_role(by, "officer", "replace the key of another person")
            if event.key_id in people.keys:
                raise PersonError("this key is on record already", remedy="make a new one")
        case LockLifted(name=name):
            people.with_role(by, "officer", "lift a lock")
            people.person(name)
        case _:
            pass


def _check_first(event: PersonAdded, key_id: str) -> None:
    if "officer" not in event.roles:
        raise PersonError(
            "the first person on record must be an officer, who adds the others",
            remedy="give the role officer, with others if need be: --role officer --role operator",
        )
    if folded(event.by) != folded(event.name) or key_id != event.key_id:
        raise PersonError("the first person adds themselves", remedy="leave out who does it")
    _check_roles(event.roles)


def _check_new(people: People, event: PersonAdded) -> None:
    _check_roles(event.roles)
    found = people.find(event.name)
    if found is not None:
        retired = ", and retired" if found.retired else ""
        raise PersonError(
            f"{found.name} is on record already{retired}",
            remedy="write the name so that the two can be told apart",
        )
    if event.key_id in people.keys:
        raise PersonError("this key is on record already", remedy="make a new one")


def _check_key(people: People, name: str, key_id: str) -> None:
    person = people.person(name)
    if person.key.key_id != key_id:
        raise PersonError(f"this is not the key that {person.name} has now", remedy=GIVE_PIN)


def _check_roles(roles: tuple[Role, ...]) -> None:
    if not roles or len(set(roles)) != len(roles):
        raise PersonError(
            "a person needs a role, and each role once", remedy="give --role operator, officer or mechanic"
        )


def _check_officer_stays(people: People, name: str, stays: bool) -> None:
    person = people.person(name)
    others = [officer for officer in people.officers() if officer.name != person.name]
    if not stays and not others and "officer" in person.roles:
        raise PersonError(
            f"{person.name} is the only officer in service, and nobody could then add or unlock people",
            remedy="give another person the role officer first",
        )
