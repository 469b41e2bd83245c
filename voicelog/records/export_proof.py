"""Proof that an exported record is whole; pure, nothing but the file is needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from voicelog.defects.events import RepairCertified
from voicelog.errors import RecordError
from voicelog.people.state import People
from voicelog.records.chain import Row, check, clip_named
from voicelog.records.clips import sha256_hex
from voicelog.records.defect_proof import unit_proof, walk_link_problems
from voicelog.records.defect_rows import chain_name
from voicelog.records.export import Exported, pack, reached, unpack
from voicelog.records.people_rows import Roll, read_roll
from voicelog.records.removed import Gone
from voicelog.records.seals import Seal, Who, clips_digest, key_of, seal_problems
from voicelog.records.signature_proof import signature_problems
from voicelog.walk.events import Event, SignedOff, WalkStarted

NOT_SIGNED = "Nobody has signed this record with a key: who made it, and its end, cannot be proved."
"""The problem of a record in which nothing is altered as far as can be seen, but nothing is proved."""


@dataclass(frozen=True, slots=True)
class FileProof:
    """What going through an exported record gave."""

    walk: str
    events: int
    problems: tuple[str, ...]
    """In plain words, what comes first in the record first; empty when it is whole and signed."""
    signatures: tuple[SignedOff, ...] = ()
    station: str = ""
    """Hash of the first event of people: the station that the keys belong to."""
    defect_events: int = 0
    hashes: frozenset[str] = frozenset()
    """Of every event in it, of the walk, of defects and of people."""
    certificates: tuple[tuple[str, RepairCertified], ...] = ()
    """When they were made, as it is written, and the certificates of the unit's repairs."""
    head: str = ""
    """Hash of the walk's last event."""
    without_sound: Gone | None = None
    """What told that the sound was removed, where it was before this file was made."""


def prove(data: bytes, where: str) -> FileProof:
    """Go through an exported record and return what is wrong with it; nothing else is needed."""
    try:
        record = unpack(data, where)
    except RecordError as error:
        return FileProof(where, 0, (error.what,))
    rows = record.rows
    roll = read_roll(record.people)
    checked = check(rows)
    signed = tuple(e for e in checked.events if isinstance(e, SignedOff))
    defects = record.defects or ()
    unit = str(getattr(checked.events[0], "unit_id", "")) if rows else ""
    proof = unit_proof(unit, defects, record.defect_seals, roll)
    silent = proof.removed.sound.get(rows[0].walk) if rows else None
    acts = tuple((row, e) for row, e in zip(defects, proof.events, strict=True) if key_of(e))
    problems = [
        *_beginning(rows, checked.events, record),
        *checked.problems,
        *roll.problems,
        *seal_problems(rows, checked.events, record.seals, roll, who=_at_some_time(roll)),
        *signature_problems(rows, checked.events),
        *_sound(record, silent),
        *proof.problems,
        *(walk_link_problems(rows[0].walk, rows, checked.events, proof) if rows else ()),
        *_chain_end(unit, defects, record.defect_seals, signed),
        *_signed(rows, checked.events, roll, frozenset(event.people_head for _, event in acts)),
    ]
    if not problems and pack(record) != data:
        problems.append("Something was put into this file or after it, or its parts were moved.")
    return FileProof(
        rows[0].walk if rows else where,
        len(rows),
        tuple(problems),
        signed,
        roll.now.root,
        len(defects),
        frozenset(row.hash for row in (*rows, *defects)) | {row.hash for row in record.people},
        tuple((row.at, event) for row, event in acts if isinstance(event, RepairCertified)),
        rows[-1].hash if rows else "",
        silent if not record.clips else None,
    )


def _beginning(rows: Sequence[Row], events: Sequence[Any], record: Exported) -> list[str]:
    """Return what is wrong with what the walk was made with."""
    if not rows:
        return ["There are no events in this record."]
    found = []
    if len({row.walk for row in rows} | {seal.walk for seal in record.seals}) != 1:
        found.append("There are events or seals of more than one walk in this record.")
    if any(later.number <= earlier.number for earlier, later in pairwise(record.seals)):
        found.append("The seals are out of order.")
    started = events[0]
    if not isinstance(started, WalkStarted):
        return [*found, "The beginning of the walk is missing."]
    wanted = {sha for sha in started.edition_key if sha}
    there = dict(record.editions)
    found += [
        f"A file that the walk was made with is missing: {sha[:12]}." for sha in sorted(wanted - set(there))
    ]
    for sha, text in record.editions:
        if sha256_hex(text) != sha:
            found.append(f"A file that the walk was made with was altered: {sha[:12]}.")
        if sha not in wanted:
            found.append(f"There is a file that the walk was not made with: {sha[:12]}.")
    return found


def _sound(record: Exported, gone: Gone | None) -> list[str]:
    """Return what is wrong with the sound clips; ``gone`` is what told that they were removed, or None."""
    named = dict.fromkeys(sha for row in record.rows if (sha := clip_named(row)) is not None)
    there = dict(record.clips)
    if gone is not None and not there:
        if gone.walk.clips_sha256 != clips_digest(named):
            return ["The sound that was removed under retention is not that of the events."]
        return []
    found = [f"Sound clip {sha[:12]}: it is missing." for sha in named if sha not in there]
    for sha, flac in there.items():
        if sha256_hex(flac) != sha:
            found.append(f"Sound clip {sha[:12]}: it was altered.")
        if sha not in named:
            found.append(f"Sound clip {sha[:12]}: no event names it.")
    return found


def _chain_end(
    unit: str, defects: Sequence[Row], seals: Sequence[Seal], signed: Sequence[SignedOff]
) -> list[str]:
    """Return what is wrong with where the unit's events in the file end, and whose they are."""
    if not defects and not seals:
        return []
    found = []
    names = {row.walk for row in defects} | {seal.walk for seal in seals}
    if names != {chain_name(unit)}:
        found.append("There are defects of another unit in this record.")
    if any(later.number <= earlier.number for earlier, later in pairwise(seals)):
        found.append("The seals over the defects are out of order.")
    if reached(defects, seals, signed) != len(defects):
        found.append(f"Defects of {unit}: their end is not signed with a key.")
    return found


def _signed(rows: Sequence[Row], events: Sequence[Any], roll: Roll, later_heads: frozenset[str]) -> list[str]:
    """Return what no key vouches for. A chain by itself could have been made anew, or cut off."""
    with_key = [n for n, e in enumerate(events) if isinstance(e, SignedOff) and key_of(e)]
    if not with_key:
        return [NOT_SIGNED]
    last = with_key[-1]
    found = []
    if any(not isinstance(e, SignedOff) for e in events[last + 1 :]) or last + 1 < len(rows):
        found.append(f"What comes after event {rows[last].number} is not signed with a key.")
    elif roll.now.head not in {events[last].people_head, *later_heads}:
        found.append("The record of people is not the one that was signed for.")
    return found


def _at_some_time(roll: Roll) -> Who:
    """Return who was on record when an event was made, as far as the record itself tells.

    A signature names the record of people it was made under. Of other events only the signed chain
    tells that they were made in this order, so any time counts at which their maker could.
    """
    every = tuple(people for _, people in roll.states)
    by_head = {people.head: people for people in every}

    def who(row: Row, event: Event) -> tuple[People, ...]:
        if isinstance(event, SignedOff) and event.people_head in by_head:
            return (by_head[event.people_head],)
        return every if key_of(event) else ()

    return who
