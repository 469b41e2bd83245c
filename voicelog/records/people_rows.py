"""The rows of the table ``people``: their hashes, and what is wrong with them; pure.

A row's hash is the SHA-256 over the canonical JSON (RFC 8785) of ``{record: "people", number,
after, at, kind, body, previous, key_id}``; ``after`` is the last line of ``events`` there was then.
Its signature is by the key ``key_id`` over that hash.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from pydantic import ValidationError

from voicelog.errors import PersonError, RecordError
from voicelog.people.events import PERSON_EVENT, KeyReplaced, PersonAdded, PersonEvent
from voicelog.people.keys import key_id_of, seal_holds
from voicelog.people.rules import check_person_event, sealer
from voicelog.people.state import People, apply_person
from voicelog.records.chain import FIRST_PREVIOUS, canonical, read_json
from voicelog.records.clips import sha256_hex


@dataclass(frozen=True, slots=True)
class PersonRow:
    """One line of the table ``people``, as it is kept."""

    number: int
    after: int
    at: str
    kind: str
    body: str
    previous: str
    hash: str
    key_id: str
    """Empty where nobody seals it."""
    signature: str


def link_person(number: int, after: int, at: str, kind: str, body: str, previous: str, key_id: str) -> str:
    """Return the hash of one event of people; ``body`` is its JSON text."""
    parts = {
        "record": "people",
        "number": number,
        "after": after,
        "at": at,
        "kind": kind,
        "body": read_json(body),
        "previous": previous,
        "key_id": key_id,
    }
    return sha256_hex(canonical(parts))


def person_event(row: PersonRow) -> tuple[datetime, PersonEvent, str]:
    """Return the time, the event and the hash of ``row``; RecordError when it cannot be read."""
    try:
        return datetime.fromisoformat(row.at), PERSON_EVENT.validate_json(row.body), row.hash
    except (ValidationError, ValueError) as error:
        raise RecordError(
            f"Event {row.number} of people cannot be read as any event voicelog knows.",
            where="people",
            remedy="Use the newest voicelog. If that does not help, restore the last backup.",
        ) from error


@dataclass(frozen=True, slots=True)
class Roll:
    """Who was on record at each time, read from rows that may have been altered."""

    states: tuple[tuple[int, People], ...]
    """For each event of people: the last line of ``events`` before it, and everybody after it."""
    problems: tuple[str, ...]
    """What is wrong with the rows, in plain words and in order."""

    @property
    def now(self) -> People:
        """Everybody, after the last event."""
        return self.states[-1][1] if self.states else People()

    @property
    def heads(self) -> frozenset[str]:
        """The hash of every event of people."""
        return frozenset(people.head for _, people in self.states)

    def at_line(self, seq: int) -> People:
        """Return who was on record when line ``seq`` of ``events`` was written."""
        found = People()
        for after, people in self.states:
            if after >= seq:
                break
            found = people
        return found


def read_roll(rows: Sequence[PersonRow], given: int | None = None) -> Roll:
    """Return who was on record when, and what is wrong with ``rows``, in order of their numbers.

    ``given`` is how many numbers were ever given out; None where that is not known.
    """
    found: list[str] = []
    states: list[tuple[int, People]] = []
    people, previous, last, after = People(), FIRST_PREVIOUS, 0, 0
    for row in rows:
        if row.number != last + 1:
            found.append(f"People: event {last + 1} is missing or out of order.")
        if row.previous != previous:
            found.append(f"People: the chain is broken between event {last} and event {row.number}.")
        if row.after < after:
            found.append(f"People: event {row.number} was moved.")
        found += _problems_within(row, people)
        try:
            at, event, digest = person_event(row)
            people = apply_person(people, event, at, digest)
        except RecordError:
            pass  # told above
        states.append((row.after, people))
        previous, last, after = row.hash, row.number, max(after, row.after)
    if given is not None and given != last:
        found.append(f"People: events after event {last} are missing.")
    return Roll(tuple(states), tuple(found))


def _problems_within(row: PersonRow, before: People) -> Iterator[str]:
    name = f"People: event {row.number}"
    try:
        digest = link_person(row.number, row.after, row.at, row.kind, row.body, row.previous, row.key_id)
        if digest != row.hash:
            yield f"{name} was altered: it does not match its own hash."
            return
        if canonical(read_json(row.body)).decode() != row.body:
            yield f"{name} was altered: its text is not written as voicelog writes it."
            return
        _, event, _ = person_event(row)
    except (ValueError, RecordError):
        yield f"{name} was altered: its text cannot be read."
        return
    if event.kind != row.kind:
        yield f"{name} says it is '{row.kind}', but its text is '{event.kind}'."
    if (broken := _seal_problem(row, event, before)) is not None:
        yield f"{name} {broken}"


def _seal_problem(row: PersonRow, event: PersonEvent, before: People) -> str | None:
    if sealer(event) is None:
        return "bears a seal that it cannot have." if row.key_id or row.signature else None
    if not row.signature:
        return "is not sealed."
    first = not before and isinstance(event, PersonAdded)
    known = before.keys.get(row.key_id)
    public_key = event.public_key if first and isinstance(event, PersonAdded) else known and known.public_key
    if not public_key:
        return "is sealed with a key that is not on record."
    if not seal_holds(public_key, row.hash, row.signature):
        return "has a seal that does not hold."
    try:
        if isinstance(event, PersonAdded | KeyReplaced) and key_id_of(event.public_key) != event.key_id:
            return "names a key by an id that is not its own."
        check_person_event(before, event, row.key_id)
    except (PersonError, ValueError) as error:
        return f"is not one that its maker could make: {error.args[0]}."
    return None


def boxes_problems(roll: Roll, boxes: Iterable[tuple[str, str]]) -> list[str]:
    """Return what is wrong with the locked keys; ``boxes`` are pairs of key id and text."""
    found = []
    there = dict(boxes)
    for key_id, box in there.items():
        key = roll.now.keys.get(key_id)
        if key is None:
            found.append(f"Key {key_id[:12]}: nobody on record has it.")
        elif sha256_hex(box.encode()) != key.box_sha256:
            found.append(f"Key {key_id[:12]} of {key.name}: its locked half was altered.")
    found += [
        f"Key {key.key_id[:12]} of {key.name}: its locked half is missing."
        for key in roll.now.keys.values()
        if key.key_id not in there
    ]
    return found
