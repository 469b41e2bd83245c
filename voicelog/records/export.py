"""One walk's record in one file: everything that proves it, without the database.

A zip file whose bytes follow from what it holds, so that nothing can be in it, or after it, that
is not proved: members in a fixed order, uncompressed, with one fixed date.

| member | what it holds |
|---|---|
| ``format.txt`` | ``voicelog record 2`` |
| ``events.jsonl`` | the walk's rows of ``events`` in order, each as canonical JSON (RFC 8785) |
| ``seals.jsonl`` | the seals over them |
| ``people.jsonl`` | who was on record until the last of all these events, with their public keys |
| ``defects.jsonl`` | the unit's defects, as far as a signature of the walk or a seal over them reaches |
| ``defect_seals.jsonl`` | the seals over them |
| ``editions/SHA-256.toml`` | the sheet, lexicon, limits and unit that the walk was made with |
| ``clips/SHA-256.flac`` | the walk's sound |

Files of format 1, made before, have no members of defects, and are proved without.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, fields, replace
from itertools import pairwise
from typing import Any, TypeVar

from voicelog.defects.events import DEFECT_EVENT, RepairCertified
from voicelog.errors import RecordError
from voicelog.people.state import People
from voicelog.records.chain import Row, canonical, check, clip_named
from voicelog.records.clips import sha256_hex
from voicelog.records.defect_proof import unit_proof, walk_link_problems
from voicelog.records.defect_rows import chain_name
from voicelog.records.people_rows import PersonRow, Roll, read_roll
from voicelog.records.seals import Seal, Who, key_of, seal_problems
from voicelog.walk.events import Event, SignedOff, WalkStarted

FORMAT = b"voicelog record 2\n"
_FIRST_FORMAT = b"voicelog record 1\n"
NOT_SIGNED = "Nobody has signed this record with a key: who made it, and its end, cannot be proved."
"""The problem of a record in which nothing is altered as far as can be seen, but nothing is proved."""
_DATE = (1980, 1, 1, 0, 0, 0)
_Kind = TypeVar("_Kind", Row, Seal, PersonRow)


@dataclass(frozen=True, slots=True)
class Exported:
    """What is in an exported record. The line numbers of its rows are those within the walk."""

    rows: tuple[Row, ...]
    seals: tuple[Seal, ...]
    people: tuple[PersonRow, ...]
    editions: tuple[tuple[str, bytes], ...]
    """SHA-256 and text of the files that the walk was made with, in order of the SHA-256."""
    clips: tuple[tuple[str, bytes], ...]
    """SHA-256 and FLAC file, in order of the SHA-256."""
    defects: tuple[Row, ...] | None = ()
    """None in a file of the first format."""
    defect_seals: tuple[Seal, ...] = ()


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
    certificates: tuple[tuple[str, RepairCertified], ...] = ()
    """When they were made, as it is written, and the certificates of the unit's repairs."""


def to_export(
    rows: Sequence[Row],
    seals: Sequence[Seal],
    people: Sequence[PersonRow],
    made_with: tuple[tuple[str, bytes], ...],
    clips: tuple[tuple[str, bytes], ...],
    defects: Sequence[Row],
    defect_seals: Sequence[Seal],
) -> Exported:
    """Return what is written of a walk: its rows, and of people and defects as much as these rest on.

    ``people``, ``defects`` and ``defect_seals`` are all of the record and of the walk's unit.
    """
    signed = [e for e in check(rows).events if isinstance(e, SignedOff)]
    chain = defects[: reached(defects, defect_seals, signed)]
    heads = {getattr(event, "people_head", "") for event in check(chain, DEFECT_EVENT).events}
    last = rows[-1].seq if rows else 0
    needed = max((n for n, row in enumerate(people, 1) if row.after < last or row.hash in heads), default=0)
    # Line numbers tell of the other walks on record, which are not in the file.
    return Exported(
        tuple(replace(row, seq=row.number) for row in rows),
        tuple(seals),
        tuple(people[:needed]),
        made_with,
        clips,
        tuple(replace(row, seq=row.number) for row in chain),
        tuple(defect_seals),
    )


def pack(record: Exported) -> bytes:
    """Return the file of ``record``; the same record gives the same bytes."""
    of_defects = [
        ("defects.jsonl", _lines(_without_seq(row) for row in record.defects or ())),
        ("defect_seals.jsonl", _lines(asdict(seal) for seal in record.defect_seals)),
    ]
    members = [
        ("format.txt", _FIRST_FORMAT if record.defects is None else FORMAT),
        ("events.jsonl", _lines(_without_seq(row) for row in record.rows)),
        ("seals.jsonl", _lines(asdict(seal) for seal in record.seals)),
        ("people.jsonl", _lines(asdict(row) for row in record.people)),
        *(of_defects if record.defects is not None else ()),
        *((f"editions/{sha}.toml", text) for sha, text in record.editions),
        *((f"clips/{sha}.flac", flac) for sha, flac in record.clips),
    ]
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
        for name, data in members:
            member = zipfile.ZipInfo(name, _DATE)
            member.create_system = 3  # the same on every system
            archive.writestr(member, data)
    return file.getvalue()


def unpack(data: bytes, where: str) -> Exported:
    """Return what an exported record holds. Raises RecordError when it cannot be read as one."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            held = {name: archive.read(name) for name in archive.namelist()}
        written = held.pop("format.txt")
        if written not in (FORMAT, _FIRST_FORMAT):
            raise ValueError("another format")
        first = written == _FIRST_FORMAT
        rows = _read(held.pop("events.jsonl"), Row, seq=True)
        return Exported(
            rows,
            _read(held.pop("seals.jsonl"), Seal),
            _read(held.pop("people.jsonl"), PersonRow),
            _named(held, "editions/", ".toml"),
            _named(held, "clips/", ".flac"),
            None if first else _read(held.pop("defects.jsonl"), Row, seq=True),
            () if first else _read(held.pop("defect_seals.jsonl"), Seal),
        )
    except (
        zipfile.BadZipFile,
        KeyError,
        ValueError,
        TypeError,
        AttributeError,
        EOFError,
        NotImplementedError,
        RuntimeError,
        OSError,
        RecursionError,
    ) as error:
        raise RecordError(
            "This is no record that voicelog exported, or it was altered or cut off.",
            where=where,
            remedy="Compare it with another copy, or have it exported again.",
        ) from error


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
    acts = tuple((row, e) for row, e in zip(defects, proof.events, strict=True) if key_of(e))
    problems = [
        *_beginning(rows, checked.events, record),
        *checked.problems,
        *roll.problems,
        *seal_problems(rows, checked.events, record.seals, roll, who=_at_some_time(roll)),
        *_sound(record),
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
        tuple((row.at, event) for row, event in acts if isinstance(event, RepairCertified)),
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


def _sound(record: Exported) -> list[str]:
    """Return what is wrong with the sound clips."""
    named = dict.fromkeys(sha for row in record.rows if (sha := clip_named(row)) is not None)
    there = dict(record.clips)
    found = [f"Sound clip {sha[:12]}: it is missing." for sha in named if sha not in there]
    for sha, flac in there.items():
        if sha256_hex(flac) != sha:
            found.append(f"Sound clip {sha[:12]}: it was altered.")
        if sha not in named:
            found.append(f"Sound clip {sha[:12]}: no event names it.")
    return found


def reached(defects: Sequence[Row], seals: Sequence[Seal], signed: Iterable[SignedOff]) -> int:
    """Return how many of a unit's events a seal over one of them, or a signature of the walk, reaches."""
    heads = {event.defects_head for event in signed if key_of(event)}
    sealed = {seal.number for seal in seals}
    ends = (n for n, row in enumerate(defects, 1) if row.hash in heads or row.number in sealed)
    return max(ends, default=0)


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


def _without_seq(row: Row) -> dict[str, Any]:
    parts = asdict(row)
    del parts["seq"]
    return parts


def _lines(rows: Iterable[dict[str, Any]]) -> bytes:
    return b"".join(canonical(row) + b"\n" for row in rows)


def _named(held: dict[str, bytes], folder: str, ending: str) -> tuple[tuple[str, bytes], ...]:
    """Return the members of a folder, each as its name without folder and ending, and its bytes."""
    found = ((name, data) for name, data in held.items() if name.startswith(folder))
    return tuple(sorted((name[len(folder) :].removesuffix(ending), data) for name, data in found))


_TYPES: dict[Any, type] = {"int": int, "str": str}


def _read(data: bytes, kind: type[_Kind], *, seq: bool = False) -> tuple[_Kind, ...]:
    """Return the rows of one member. Raises ValueError or TypeError for what is no such row."""
    found = []
    for number, line in enumerate(data.decode("utf-8").split("\n")[:-1], 1):
        parts = json.loads(line)
        row = kind(**(parts | {"seq": number} if seq else parts))
        if any(type(getattr(row, field.name)) is not _TYPES[field.type] for field in fields(row)):
            raise ValueError(f"line {number}")
        found.append(row)
    return tuple(found)
