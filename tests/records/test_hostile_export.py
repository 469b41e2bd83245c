"""A file that a stranger hands in as an exported record is refused or told, whatever is in it."""

from __future__ import annotations

import io
import resource
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.records.tampering import exported, make
from voicelog.records.chain import link
from voicelog.records.export import Exported, pack
from voicelog.records.export_proof import prove

DEEP = "[" * 100_000 + "]" * 100_000
Members = list[tuple[str, bytes]]


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Exported]:
    """Give a whole and signed record."""
    with make(tmp_path_factory.mktemp("hostile") / "data") as store:
        yield exported(store)


def _members(record: Exported) -> Members:
    with zipfile.ZipFile(io.BytesIO(pack(record))) as archive:
        return [(name, archive.read(name)) for name in archive.namelist()]


def _zip(members: Members, how: int = zipfile.ZIP_STORED, *, link_to: bool = False) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", how) as archive:
        for name, data in members:
            member = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            member.create_system, member.compress_type = 3, how
            if link_to:
                member.external_attr = 0o120777 << 16
            archive.writestr(member, data)
    return file.getvalue()


def _with(members: Members, name: str, data: bytes) -> bytes:
    return _zip([(n, data if n == name else d) for n, d in members])


def _archives(record: Exported) -> Iterator[tuple[str, bytes]]:
    members = _members(record)
    events = dict(members)["events.jsonl"]
    yield "nothing", b""
    yield "no zip", b"PK\x03\x04" + bytes(1000)
    yield "a way out of the folder", _zip([*members, ("../../../tmp/x", b"x"), ("/tmp/x", b"x")])
    yield "symbolic links", _zip(members, link_to=True)
    yield "compressed", _zip(members, zipfile.ZIP_DEFLATED)
    with pytest.warns(UserWarning, match="Duplicate name"):
        yield "a member twice", _zip([*members, members[1]])
    bomb = [("format.txt", b"voicelog record 2\n"), ("events.jsonl", bytes(40_000_000))]
    yield "forty megabytes in forty kilobytes", _zip(bomb, zipfile.ZIP_DEFLATED)
    yield "locked", pack(record).replace(b"PK\x03\x04\x14\0\0\0", b"PK\x03\x04\x14\0\1\0")
    for name, data in {
        "UTF-16": events.decode().encode("utf-16"),
        "a byte order mark": b"\xef\xbb\xbf" + events,
        "nested deeply": DEEP.encode() + b"\n",
        "a number as a fraction": events.replace(b'"number":1,', b'"number":1.0,', 1),
        "a number of 400 digits": events.replace(b'"number":3,', b'"number":' + b"9" * 400 + b",", 1),
        "a number of 10,000 digits": events.replace(b'"number":3,', b'"number":' + b"9" * 10_000 + b",", 1),
        "a key twice": events.replace(b'"number":1,', b'"number":2,"number":1,', 1),
        "half a surrogate pair": events.replace(b'"walk":"', b'"walk":"\\ud800', 1),
        "not a number": events.replace(b'"number":1,', b'"number":NaN,', 1),
        "no line at all": b"",
    }.items():
        yield name, _with(members, "events.jsonl", data)


BODIES = {
    "nested deeply": DEEP,
    "not a number": '{"kind":NaN}',
    "infinity": '{"kind":1e999}',
    "a number of 10,000 digits": '{"kind":' + "9" * 10_000 + "}",
    "half a surrogate pair": '{"kind":"\\ud800"}',
    "a list": "[]",
    "a text": '"x"',
    "null": "null",
    "a key twice": '{"kind":"signed off","kind":"signed off"}',
    "no JSON": "{",
}


def _rows(record: Exported) -> Iterator[tuple[str, bytes]]:
    """Yield the record with rows that hold what no voicelog writes, each hash made right where it can be."""
    part: Any
    for part in ("rows", "people", "defects"):
        lines = getattr(record, part)
        for place in (0, 3 if part == "rows" else 1, len(lines) - 1):
            for name, body in BODIES.items():
                changed = {"body": body}
                if part == "rows":
                    row = lines[place]
                    try:
                        changed["hash"] = link(row.walk, row.number, row.at, row.kind, body, row.previous)
                    except Exception:
                        changed["hash"] = "0" * 64
                bent = (*lines[:place], replace(lines[place], **changed), *lines[place + 1 :])
                yield f"{part}, line {place}: {name}", pack(replace(record, **{part: bent}))
    for name, other in {"at": "2026-11-25T07:10:00", "kind": 'a","b":"c', "hash": "é" * 64}.items():
        row = record.rows[2]
        digest = link(row.walk, row.number, other, row.kind, row.body, row.previous)
        parts = {"hash": digest} | {name: other}
        bent = (*record.rows[:2], replace(row, **parts), *record.rows[3:])  # type: ignore[arg-type]
        yield f"{name}: {other}", pack(replace(record, rows=bent))


def test_nothing_that_is_handed_in_passes_or_ends_the_proof(record: Exported) -> None:
    """Every one is told as a problem, none raises, and none takes much memory."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    tried = 0
    for what, data in (*_archives(record), *_rows(record)):
        assert prove(data, "file").problems, what
        tried += 1
    assert tried > 100
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) < 400_000  # kilobytes


def test_a_time_without_its_zone_is_no_time(record: Exported) -> None:
    """Also where the hash is over it: nobody could tell when it was."""
    row = record.rows[-1]
    at = "2026-11-25T07:10:00"
    bent = replace(row, at=at, hash=link(row.walk, row.number, at, row.kind, row.body, row.previous))
    problems = prove(pack(replace(record, rows=(*record.rows[:-1], bent))), "file").problems
    assert any("no time that can be read" in problem for problem in problems)


def test_the_proof_writes_nothing(record: Exported, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No member of a file becomes a file."""
    monkeypatch.chdir(tmp_path)
    prove(_zip([*_members(record), ("../out.txt", b"x"), ("in.txt", b"x")]), "file")
    assert list(tmp_path.iterdir()) == [] and not (tmp_path.parent / "out.txt").exists()
