"""One walk's record in one file: everything that proves it, without the database.

A zip file whose bytes follow from what it holds, so that nothing can be in it, or after it, that
is not proved: members in a fixed order, uncompressed, with one fixed date.

| member | what it holds |
|---|---|
| ``format.txt`` | ``voicelog record 1`` |
| ``events.jsonl`` | the walk's rows of ``events`` in order, each as canonical JSON (RFC 8785) |
| ``seals.jsonl`` | the seals over them |
| ``people.jsonl`` | who was on record until the last event, with their public keys |
| ``editions/SHA-256.toml`` | the sheet, lexicon, limits and unit that the walk was made with |
| ``clips/SHA-256.flac`` | the sound |
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, fields
from itertools import pairwise
from typing import Any, TypeVar

from voicelog.errors import RecordError
from voicelog.people.state import People
from voicelog.records.chain import Row, canonical, check, clip_named
from voicelog.records.clips import sha256_hex
from voicelog.records.people_rows import PersonRow, Roll, read_roll
from voicelog.records.seals import Seal, Who, key_of, seal_problems
from voicelog.walk.events import Event, SignedOff, WalkStarted

FORMAT = b"voicelog record 1\n"
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


def pack(record: Exported) -> bytes:
    """Return the file of ``record``; the same record gives the same bytes."""
    members = [
        ("format.txt", FORMAT),
        ("events.jsonl", _lines(_without_seq(row) for row in record.rows)),
        ("seals.jsonl", _lines(asdict(seal) for seal in record.seals)),
        ("people.jsonl", _lines(asdict(row) for row in record.people)),
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
        if held.pop("format.txt") != FORMAT:
            raise ValueError("another format")
        rows = _read(held.pop("events.jsonl"), Row, seq=True)
        return Exported(
            rows,
            _read(held.pop("seals.jsonl"), Seal),
            _read(held.pop("people.jsonl"), PersonRow),
            _named(held, "editions/", ".toml"),
            _named(held, "clips/", ".flac"),
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
    problems = [
        *_beginning(rows, checked.events, record),
        *checked.problems,
        *roll.problems,
        *seal_problems(rows, checked.events, record.seals, roll, who=_at_some_time(roll)),
        *_sound(record),
        *_signed(rows, checked.events, roll),
    ]
    if not problems and pack(record) != data:
        problems.append("Something was put into this file or after it, or its parts were moved.")
    return FileProof(rows[0].walk if rows else where, len(rows), tuple(problems), signed, roll.now.root)


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


def _signed(rows: Sequence[Row], events: Sequence[Any], roll: Roll) -> list[str]:
    """Return what no key vouches for. A chain by itself could have been made anew, or cut off."""
    with_key = [n for n, e in enumerate(events) if isinstance(e, SignedOff) and key_of(e)]
    if not with_key:
        return ["Nobody has signed this record with a key: who made it, and its end, cannot be proved."]
    last = with_key[-1]
    found = []
    if any(not isinstance(e, SignedOff) for e in events[last + 1 :]) or last + 1 < len(rows):
        found.append(f"What comes after event {rows[last].number} is not signed with a key.")
    elif events[last].people_head != roll.now.head:
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
