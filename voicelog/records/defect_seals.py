"""Seals over what people do about defects at a desk, and what a certificate is a signature over."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from typing import Any

from voicelog.defects.events import OfADefect, RepairCertified
from voicelog.defects.needs import need_of_act, need_of_removal
from voicelog.defects.removal_events import Removal, SoundRemoved, WalksRemoved
from voicelog.errors import PersonError, RecordError
from voicelog.people.keys import Signer
from voicelog.people.rules import check_need
from voicelog.people.state import People
from voicelog.records.chain import FIRST_PREVIOUS, Row, clip_named
from voicelog.records.people_rows import Roll
from voicelog.records.seals import Seal, clips_digest, key_of, seal_problem, seals_digest, signed_over


def sealed_act(
    event: OfADefect,
    people: People,
    signer: Signer | None,
    rows: Sequence[Row],
    seals: Sequence[Seal],
) -> OfADefect:
    """Return an act as it is recorded: with the key it is sealed with, and what a certificate is over.

    ``rows`` and ``seals`` are those of the unit's chain before it. Raises PersonError when this person
    may not do it.
    """
    need = need_of_act(event)
    if need is None or key_of(event):
        raise RecordError(
            "This is not something that a person does about a defect.",
            where="record",
            remedy="This is a fault of voicelog: report it.",
        )
    check_need(people, need, signer.name if signer else "", signer.key_id if signer else "")
    update: dict[str, Any] = {}
    if isinstance(event, RepairCertified):
        update = {
            "head": rows[-1].hash if rows else FIRST_PREVIOUS,
            "clips_sha256": clips_digest(_clips_of(event.defect_id, rows)),
            "seals_sha256": seals_digest(seals),
        }
    if people and signer is not None:
        name = people.person(signer.name).name
        update |= {"by": name, "key_id": signer.key_id, "people_head": people.head}
    return event.model_copy(update=update)


def check_may_remove(people: People, signer: Signer | None, by: str | None = None) -> Signer:
    """Return who removes what is past its time. Raises PersonError for anybody but an officer on record.

    A removal that no key seals could not be told from a loss. ``by`` is the name that it bears.
    """
    if not people or signer is None:
        raise PersonError(
            "nobody is on record here, and only an officer's key makes a removal that can be proved",
            remedy="put an officer on record first: voicelog people add NAME --role officer",
        )
    need = need_of_removal(signer.name if by is None else by)
    check_need(people, need, signer.name, signer.key_id)
    return signer


def sealed_removal(event: Removal, people: People, signer: Signer | None) -> Removal:
    """Return a removal as it is recorded: with the key that it is sealed with. Raises PersonError."""
    signer = check_may_remove(people, signer, event.by)
    update = {
        "by": people.person(signer.name).name,
        "key_id": signer.key_id,
        "people_head": people.head,
    }
    return event.model_copy(update=update)


def _clips_of(defect_id: str, rows: Sequence[Row]) -> Iterator[str]:
    """Yield the sound that a defect's events name."""
    # In canonical JSON no text can hold this: its quotation marks are escaped.
    own = f'"defect_id":"{defect_id}"'
    return (sha for row in rows if own in row.body and (sha := clip_named(row)) is not None)


def act_seal_problems(
    rows: Sequence[Row], events: Sequence[Any], seals: Sequence[Seal], roll: Roll
) -> list[str]:
    """Return what is wrong with the seals over a unit's chain, in the order of its events.

    ``events`` are those of ``rows``; None where one cannot be read, or need not be.
    """
    left = {seal.number: seal for seal in seals}
    found: list[str] = []
    before: list[Seal] = []
    on_record = _on_record(roll)
    heads, newest = {then.head: n for n, (_, then) in enumerate(roll.states)}, -1
    for place, (row, event) in enumerate(zip(rows, events, strict=True)):
        seal = left.pop(row.number, None)
        need = need_of_act(event) if event is not None else None
        if need is None:
            if seal is not None and event is not None:
                found.append(f"Event {row.number} has a seal, and came of a walk.")
            continue
        people = tuple(then for _, then in roll.states if then.head == event.people_head)
        if (place_of_head := heads.get(event.people_head, -1)) < newest and event.key_id:
            found.append(f"Event {row.number} is made under people of before the event ahead of it.")
        newest = max(newest, place_of_head)
        needed = bool(before) or on_record(row) or isinstance(event, WalksRemoved | SoundRemoved)
        problem = seal_problem(row, key_of(event), seal, roll, people, need, needed=needed)
        if problem:
            found.append(f"Event {row.number} {problem}")
        if isinstance(event, RepairCertified) and event.head:
            if event.head != row.previous:
                found.append(f"The certificate of event {row.number} is not over the events before it.")
            if key_of(event):
                found += signed_over(row, event, _clips_of(event.defect_id, rows[:place]), before, roll)
        if seal is not None:
            before.append(seal)
    return [*found, *(f"There is a seal over event {number}, which is not there." for number in left)]


def _on_record(roll: Roll) -> Callable[[Row], bool]:
    """Return whether people were on record when a row was written: by the clock, as it was set then."""
    added = [person.added for _, then in roll.states[:1] for person in then.persons.values()]

    def told(row: Row) -> bool:
        try:
            return bool(added) and datetime.fromisoformat(row.at) >= added[0]
        except (ValueError, TypeError):
            return bool(added)

    return told
