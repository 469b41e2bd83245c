"""Every alteration of a record that can be thought of, made one at a time, and whether it is found.

The record is of a station with people on record; its walk holds what a walk, a review and two
signatures leave behind. Alterations are made behind the store's back, with the guards taken away and
put back, and each is undone before the next.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from tests.people.making import CHEAP, MECHANIC, OFFICER, OPERATOR, peopled, station
from tests.records import old_walks
from tests.records.making import START, Ticking
from tests.walk.reviewing import WALK, clips, said, sheet, walk
from voicelog.defects import acts
from voicelog.defects.book import Defect
from voicelog.defects.events import OfADefect
from voicelog.people.keys import Signer, make_key, open_box
from voicelog.records import schema
from voicelog.records.chain import Row, canonical, check, link, read_json
from voicelog.records.export import Exported, pack, reached
from voicelog.records.export_proof import prove
from voicelog.records.proof import store_problems
from voicelog.records.store import Store
from voicelog.walk import review
from voicelog.walk.events import Event, SignedOff, WalkHandedOver, WalkResumed
from voicelog.walk.state import fold

NOT_EVIDENCE = {
    ("_sqlite_migrations", "applied_at"): "when the tables were made: nothing rests on it",
}
"""What cannot be found, and why nothing rests on it."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One alteration, and what was found."""

    what: str
    found: tuple[str, ...]


def make(folder: Path) -> Store:
    """Make the record in ``folder`` and return its open store."""
    clock = Ticking(START - timedelta(days=1200))
    store = station(folder, clock)
    signers = peopled(store)
    _remove_old_ones(store, signers, clock)
    events = [event for event in walk(everything_else=False) if event.kind != "walk finished"]
    store.append(WALK, events, clips(), signer=signers[OPERATOR])
    finish = [event for event in walk() if event.kind == "walk finished"]
    store.append(WALK, [WalkResumed(operator=OPERATOR)], signer=signers[OPERATOR])
    _, second = store.people.add("J. Okafor", ("operator",), "605142", by=signers[OFFICER])
    taken = WalkHandedOver(operator="J. Okafor", before=OPERATOR)
    store.append(WALK, [taken, *finish], signer=second)
    state = _state(store)
    officers: list[Event] = [
        review.settle_by_number(state, "d1", 1, OFFICER),
        review.confirm(state, "e1", OFFICER),
        review.correct(state, "e2", said("alternator", "loose"), OFFICER, "seen"),
        review.reject(state, "e5", OFFICER, "a radio"),
    ]
    store.append(WALK, officers, signer=signers[OFFICER])
    store.defects.take_up(WALK, _state(store))
    _sign(store, signers[OPERATOR], "operator")
    _sign(store, signers[OFFICER], "officer")
    store.defects.take_up(WALK, _state(store))
    _repair(store, signers)
    store.append("other", [walk()[0]], signer=signers[OPERATOR])
    store.people.hand_over(signers[OPERATOR], before=OFFICER, walk=WALK)
    return store


def _remove_old_ones(store: Store, signers: dict[str, Signer], clock: Ticking) -> None:
    """Make three walks of years ago; remove the sound of all, then all but the latest of them."""
    for name in ("old_1", "old_2", "old_3"):
        old_walks.walked(store, name, signers)
        clock.now += timedelta(days=1)
    clock.now = START
    for sound in (True, False):
        done, failed = old_walks.removed(store, signers[OFFICER], None, sound=sound, at=START)
        assert len(done) == 1 and not failed


def _repair(store: Store, signers: dict[str, Signer]) -> None:
    """Take the worst defect from the officer's word to a certified repair, opened again and repaired."""
    defect_id = store.defects.queue()[0].defect_id

    def do(who: str, act: Callable[[Defect], OfADefect]) -> None:
        store.defects.do(defect_id, act, signer=signers[who])

    def mend() -> None:
        part = acts.part("2 x hose clamp # 40-117")
        do(
            MECHANIC,
            lambda d: acts.repair(
                d, by=MECHANIC, role="mechanic", findings="new bracket", parts=(part,), minutes=40
            ),
        )
        do(MECHANIC, lambda d: acts.certify(d, by=MECHANIC, role="mechanic"))

    do(OFFICER, lambda d: acts.send(d, by=OFFICER, role="officer", reason="soon"))
    mend()
    do(OFFICER, lambda d: acts.reopen(d, by=OFFICER, role="officer", reason="it hangs again"))
    mend()


def _state(store: Store) -> Any:
    return fold(sheet(), ((s.at, s.event) for s in store.events(WALK)))


def _sign(store: Store, signer: Signer, role: Any) -> None:
    event = review.sign(
        _state(store),
        by=signer.name,
        role=role,
        meaning=review.MEANINGS[role],
        decision="out of service" if role == "officer" else "none",
        head=store.head(WALK),
    )
    store.append(WALK, [event], signer=signer)


# the store ----------------------------------------------------------------------------------


def in_the_tables(store: Store, *, each: bool = True) -> Iterator[Outcome]:
    """Yield every alteration of every column and row of every table, and of every field of a body.

    Without ``each`` only of one row of every table, and of one of every kind of event.
    """
    connection = sqlite3.connect(store.folder / "voicelog.db", isolation_level=None)
    db = Database(connection)
    done: set[tuple[str, str | None]] = set()
    for table in sorted(db.table_names()):
        columns = [column.name for column in db.table(table).columns]
        for row in list(connection.execute(f"SELECT * FROM {table}")):
            named = dict(zip(columns, row, strict=True))
            if not each and (table, named.get("kind")) in done:
                continue
            done.add((table, named.get("kind")))
            where = " AND ".join(f"{name} IS ?" for name in columns)
            yield _try(db, store, f"{table}: a row removed", f"DELETE FROM {table} WHERE {where}", row)
            for name, value in named.items():
                for what, other in _altered(name, value):
                    sql = f"UPDATE {table} SET {name} = ? WHERE {where}"
                    kind = f" of '{named['kind']}'" if "kind" in named and name == "body" else ""
                    yield _try(db, store, f"{table}.{name}{kind}: {what}", sql, (other, *row))
        yield from _moved_in(db, store, table, columns, each=each)
    for guard in schema.GUARDS:
        yield _try(db, store, f"guard {guard} removed", f"DROP TRIGGER {guard}", (), guards=False)
    connection.close()


def _moved_in(db: Database, store: Store, table: str, columns: list[str], *, each: bool) -> Iterator[Outcome]:
    """Yield two rows of a table with the values of one column swapped, and a row put in once more."""
    rows = list(db.conn.execute(f"SELECT * FROM {table}"))
    pairs = [(one, other) for n, one in enumerate(rows) for other in rows[n + 1 : n + 2]]
    where = " AND ".join(f"{name} IS ?" for name in columns)
    places = ", ".join("?" * len(columns))
    for one, other in pairs if each else pairs[-1:]:
        for place, name in enumerate(columns):
            if one[place] == other[place]:
                continue
            swapped = (
                (*one[:place], other[place], *one[place + 1 :]),
                (*other[:place], one[place], *other[place + 1 :]),
            )
            if set(swapped) == {one, other}:
                continue
            sql = [(f"DELETE FROM {table} WHERE {where}", row) for row in (one, other)]
            sql += [(f"INSERT INTO {table} VALUES ({places})", row) for row in swapped]
            yield _try_all(db, store, f"{table}.{name}: swapped between two rows", sql)
    if rows and "seq" in columns and columns[0] == "seq":
        again = f"INSERT INTO {table} ({', '.join(columns[1:])}) SELECT {', '.join(columns[1:])} FROM {table}"
        yield _try_all(db, store, f"{table}: a row twice", [(f"{again} WHERE seq = ?", rows[-1][:1])])


def _altered(name: str, value: Any) -> Iterator[tuple[str, Any]]:
    """Yield other values in place of ``value``; of JSON one for each of its fields."""
    if isinstance(value, str) and value.startswith("{"):
        for path, other in _fields(read_json(value)):
            yield f"field {path}", canonical(other).decode()
        yield "a space put in", value.replace("{", "{ ", 1)
    elif isinstance(value, int):
        yield "another number", value + 1
    elif isinstance(value, float):
        yield "another number", value + 1.0
    elif value is None:
        yield "something for nothing", "2026-11-25T07:10:00-05:00"
    else:
        last = value[-1:]
        yield "another text", value[:-1] + ("1" if last != "1" else "2")


def _fields(data: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield ``data`` with one field altered, for each of its fields at any depth."""
    if isinstance(data, dict):
        for name, value in data.items():
            for inner, other in _fields(value, f"{path}.{name}" if path else name):
                yield inner, {**data, name: other}
        return
    if isinstance(data, list):
        for place, value in enumerate(data):
            for inner, other in _fields(value, f"{path}[]"):
                yield inner, [*data[:place], other, *data[place + 1 :]]
        yield f"{path} (one more)", [*data, "x"]
        return
    if isinstance(data, str):
        yield path, data + "x"
    elif isinstance(data, bool):
        yield path, not data
    elif isinstance(data, float):
        yield path, data + 1
    else:
        yield path, "x"


def _try(
    db: Database, store: Store, what: str, sql: str, values: tuple[Any, ...], *, guards: bool = True
) -> Outcome:
    """Make one alteration, look for it, and undo it."""
    return _try_all(db, store, what, [(sql, values)], guards=guards)


def _try_all(
    db: Database, store: Store, what: str, sql: list[tuple[str, tuple[Any, ...]]], *, guards: bool = True
) -> Outcome:
    """Make one alteration by several statements, of one row each, look for it, and undo it."""
    db.execute("BEGIN")
    try:
        if guards:
            for name in schema.GUARDS:
                db.execute(f"DROP TRIGGER {name}")
        try:
            for statement, values in sql:
                altered = db.execute(statement, values).rowcount
                assert not guards or altered == 1, f"{what}: {altered} rows were altered"
        except sqlite3.IntegrityError as error:
            return Outcome(what, (f"the database refuses it: {error}",))
        if guards:
            for statement in schema.GUARDS.values():
                db.execute(statement)
        try:
            if db.table("_sqlite_migrations").exists() and schema.check_version(db, store.folder):
                return Outcome(what, ("steps of the tables are missing",))
            return Outcome(what, store_problems(db, store.folder / "clips"))
        except Exception as error:
            return Outcome(what, (f"cannot be read: {error}",))
    finally:
        db.conn.rollback()


def in_the_files(store: Store) -> Iterator[Outcome]:
    """Yield alterations of every sound clip, and of the database's file."""
    for path in sorted((store.folder / "clips").rglob("*.flac")):
        whole = path.read_bytes()
        for what, data in _bytes(whole):
            path.write_bytes(data)
            yield Outcome(f"clip: {what}", store.verify_all())
        path.unlink()
        yield Outcome("clip: removed", store.verify_all())
        path.write_bytes(whole)


def _bytes(whole: bytes) -> Iterator[tuple[str, bytes]]:
    for place in (0, len(whole) // 2, len(whole) - 1):
        data = bytearray(whole)
        data[place] ^= 1
        yield f"one bit of byte {place}", bytes(data)
    yield "cut short", whole[:-1]
    yield "bytes added", whole + b"\0"
    yield "empty", b""


# an exported record -------------------------------------------------------------------------


def exported(store: Store) -> Exported:
    """Return the walk as it is exported."""
    return store.exported(WALK, sheet())


def in_an_export(store: Store, *, each: bool = True) -> Iterator[Outcome]:
    """Yield alterations of an exported record's rows, order, keys, sound, sheet and bytes.

    Without ``each`` only of one event of every kind.
    """
    record = exported(store)
    whole = pack(record)
    for what, altered in _of_export(record, each):
        yield Outcome(f"export: {what}", prove(pack(altered), "file").problems)
    for what, data in _bytes(whole):
        yield Outcome(f"export's bytes: {what}", prove(data, "file").problems)
    for place in range(0, len(whole), max(1, len(whole) // 97)):
        bent = bytearray(whole)
        bent[place] ^= 0x10
        yield Outcome("export's bytes: one bit, all along the file", prove(bytes(bent), "file").problems)
    yield Outcome("export's bytes: put before", prove(b"x" + whole, "file").problems)
    other = replace(record, clips=(*record.clips, ("1" * 64, b"x")))
    yield Outcome("export: sound put in", prove(pack(other), "file").problems)
    yield from _of_two(store, record)


def _of_two(store: Store, record: Exported) -> Iterator[Outcome]:
    """Yield exports in which parts of another walk of the same station were put."""
    other = store.exported("other", sheet())
    for what, altered in {
        "the events of two walks": replace(record, rows=(*record.rows, *other.rows)),
        "the seals of two walks": replace(record, seals=(*record.seals, *other.seals)),
        "another walk's seals": replace(record, seals=other.seals),
        "another walk's people": replace(record, people=other.people[:1]),
        "the end of the signed walk after another's beginning": replace(
            record, rows=(*other.rows[:1], *record.rows[1:])
        ),
    }.items():
        yield Outcome(f"export: {what}", prove(pack(altered), "file").problems)
    # A signature played again on another walk, its hash made right and its seal taken along.
    for row in record.rows:
        if row.kind != "signed off":
            continue
        last = other.rows[-1]
        body = read_json(row.body) | {"head": last.hash}
        for name, text in (("as it is", row.body), ("over the other's head", canonical(body).decode())):
            digest = link(last.walk, last.number + 1, row.at, row.kind, text, last.hash)
            played = Row(last.seq + 1, last.walk, last.number + 1, row.at, row.kind, text, last.hash, digest)
            seal = next(seal for seal in record.seals if seal.number == row.number)
            altered = replace(
                other,
                rows=(*other.rows, played),
                seals=(*other.seals, replace(seal, walk=last.walk, number=played.number)),
                people=record.people,
            )
            what = f"export: a signature played again on another walk, {name}"
            yield Outcome(what, prove(pack(altered), "file").problems)


def _of_export(record: Exported, each: bool) -> Iterator[tuple[str, Exported]]:
    part: Any
    done: set[tuple[str, str | None]] = set()
    for part in ("rows", "seals", "people", "defects", "defect_seals"):
        lines = getattr(record, part)
        for place, line in enumerate(lines):
            without = (*lines[:place], *lines[place + 1 :])
            yield f"a line of {part} removed", _with(record, part, without)
            yield f"a line of {part} twice", _with(record, part, (*lines[:place], line, *lines[place:]))
            kind = (part, getattr(line, "kind", None))
            for name in line.__slots__ if each or kind not in done else ():
                if name == "seq":
                    continue  # not in the file
                for what, other in _altered(name, getattr(line, name)):
                    changed = (*lines[:place], replace(line, **{name: other}), *lines[place + 1 :])
                    yield f"{part}.{name}: {what}", _with(record, part, changed)
            done.add(kind)
        for place in range(len(lines) - 1):
            swapped = [*lines]
            swapped[place : place + 2] = reversed(swapped[place : place + 2])
            yield f"two lines of {part} swapped", _with(record, part, tuple(swapped))
        for end in range(len(lines)):
            yield f"{part} cut off", _with(record, part, lines[:end])
    signed = [e for e in check(record.rows).events if isinstance(e, SignedOff)]
    for end in range(len(record.defects or ())):
        seals = tuple(seal for seal in record.defect_seals if seal.number <= end)
        if reached((record.defects or ())[:end], seals, signed) < end:
            cut = replace(record, defects=(record.defects or ())[:end], defect_seals=seals)
            yield "defects and their seals cut off", cut
    for place, seal in enumerate(record.seals):
        for other in record.seals:
            if other.number != seal.number:
                mixed = replace(seal, key_id=other.key_id, signature=other.signature)
                seals = (*record.seals[:place], mixed, *record.seals[place + 1 :])
                yield "a signature from another event", replace(record, seals=seals)
        for name, signer in _others().items():
            digest = next(row.hash for row in record.rows if row.number == seal.number)
            mixed = replace(seal, key_id=signer.key_id, signature=signer.seal(digest))
            seals = (*record.seals[:place], mixed, *record.seals[place + 1 :])
            yield f"signed anew with the key of {name}", replace(record, seals=seals)
    for place, (sha, flac) in enumerate(record.clips):
        for what, data in _bytes(flac):
            held = (*record.clips[:place], (sha, data), *record.clips[place + 1 :])
            yield f"clip: {what}", replace(record, clips=held)
        yield "clip: removed", replace(record, clips=(*record.clips[:place], *record.clips[place + 1 :]))
    for place, (sha, text) in enumerate(record.editions):
        rest = (*record.editions[:place], *record.editions[place + 1 :])
        yield "an edition altered", replace(record, editions=tuple(sorted((*rest, (sha, text + b"\n")))))
        yield "an edition removed", replace(record, editions=rest)
    yield "an edition put in", replace(record, editions=(*record.editions, ("f" * 64, b"x")))


def _with(record: Exported, part: str, lines: tuple[Any, ...]) -> Exported:
    changed: dict[str, Any] = {part: lines}
    return replace(record, **changed)


def _others() -> dict[str, Signer]:
    made = make_key("930184", CHEAP)
    stranger = Signer("J. Doe", made.key_id, open_box(made.box, made.public_key, "930184"))
    return {"a stranger": stranger}


def columns_of(what: str) -> tuple[str, str]:
    """Return the table and column that an alteration is of."""
    table, _, column = what.partition(":")[0].partition(" ")[0].partition(".")
    return table, column
