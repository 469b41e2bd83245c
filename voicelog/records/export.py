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

Files of format 1, made before, have no members of defects, and are proved without. The proof is in
:mod:`voicelog.records.export_proof`.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, fields, replace
from typing import Any, TypeVar

from voicelog.defects.events import DEFECT_EVENT
from voicelog.errors import RecordError
from voicelog.records.chain import Row, canonical, check
from voicelog.records.people_rows import PersonRow
from voicelog.records.seals import Seal, key_of
from voicelog.walk.events import SignedOff

FORMAT = b"voicelog record 2\n"
_FIRST_FORMAT = b"voicelog record 1\n"
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
            _check_members(archive.infolist(), len(data))
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


def _check_members(members: Sequence[zipfile.ZipInfo], size: int) -> None:
    """Refuse what no export of ours has, before anything of it is taken into memory.

    Members are kept as they are, so together they are never longer than the file. Nothing is ever
    written under a member's name.
    """
    if any(member.compress_type != zipfile.ZIP_STORED or member.flag_bits & 1 for member in members):
        raise ValueError("compressed or locked")
    if len({member.filename for member in members}) != len(members):
        raise ValueError("two members of one name")
    if sum(member.file_size for member in members) > size:
        raise ValueError("longer than the file itself")


def reached(defects: Sequence[Row], seals: Sequence[Seal], signed: Iterable[SignedOff]) -> int:
    """Return how many of a unit's events a seal over one of them, or a signature of the walk, reaches."""
    heads = {event.defects_head for event in signed if key_of(event)}
    sealed = {seal.number for seal in seals}
    ends = (n for n, row in enumerate(defects, 1) if row.hash in heads or row.number in sealed)
    return max(ends, default=0)


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
