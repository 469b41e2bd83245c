"""How many events a second `voicelog verify` goes through: a generated record, all of it proved.

    python -m tests.benchmarks.verify_speed --events 200000

The record is of a station with people on record: each walk is begun, ended and signed with keys. It
is written straight into the tables, since the store brings each event to the disk by itself; that it
is whole is what the program then proves, and that an alteration is found in it.
"""

from __future__ import annotations

import argparse
import sqlite3
import tempfile
import time
from dataclasses import astuple
from datetime import timedelta
from pathlib import Path

from tests.people.making import OFFICER, OPERATOR, peopled, station
from tests.records.making import START, entry, started, tamper
from voicelog.people.keys import Signer
from voicelog.records.chain import FIRST_PREVIOUS, Row, body_of, link
from voicelog.records.lists import list_row
from voicelog.records.readings import list_walk
from voicelog.records.seals import Seal, clips_digest, seals_digest
from voicelog.walk.events import Claim, EntryLogged, Event, SignedOff, WalkFinished

AIM = 50_000
"""Events a second."""
A_READING_IN = 3
"""One entry in so many is a reading, as in the shipped sheets; the others are conditions."""


def walk_events(length: int) -> list[Event]:
    """Return a walk of ``length`` events, without its signature."""
    return [
        started(),
        *(said(number) for number in range(1, length - 2)),
        WalkFinished(missing=("coolant",)),
    ]


def said(number: int) -> EntryLogged:
    """Return an entry: a reading, or that the fan belt is intact."""
    if number % A_READING_IN == 0:
        return entry(number)
    claim = Claim(point_id="fan_belt", condition_id="intact", polarity="sound")
    return entry(number).model_copy(update={"claim": claim})


def main() -> None:
    """Make the record, prove it, alter it and find that."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--events", type=int, default=200_000)
    parser.add_argument("--walk", type=int, default=150, help="events in each walk")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "data"
        with station(folder) as store:
            signers = peopled(store)
            head = store.people.now().head
        begun = time.perf_counter()
        fill(folder, given.events // given.walk, given.walk, signers, head)
        size = (folder / "voicelog.db").stat().st_size / 1e6
        print(f"made in {time.perf_counter() - begun:.1f} s; {size:.0f} MB")
        with station(folder) as store:
            count = store._db.table("events").count
            begun, used = time.perf_counter(), time.process_time()
            problems = store.verify_all()
            took, used = time.perf_counter() - begun, time.process_time() - used
            seals = store._db.table("seals").count
            print(f"{count} events in {count // given.walk} walks, {seals} seals: {len(problems)} problems")
            print(f"proved in {took:.2f} s: {count / took:,.0f} events a second (aim {AIM:,})")
            print(f"processor time {used:.2f} s: {count / used:,.0f} events a second")
        altered = "UPDATE events SET body = replace(body, 'within', 'below') WHERE seq ="
        tamper(folder, f"{altered} {count // 2 + 7}")
        with station(folder) as store:
            print("one altered event: " + "; ".join(store.verify_all()))


def fill(folder: Path, walks: int, length: int, signers: dict[str, Signer], people_head: str) -> None:
    """Write the walks into the tables as the store would."""
    plain = [(event.kind, event, body_of(event)) for event in walk_events(length)]
    from sqlite_utils import Database

    connection = sqlite3.connect(folder / "voicelog.db")
    connection.execute("PRAGMA synchronous = OFF")
    seq, db = 0, Database(connection)
    for place in range(walks):
        walk, previous = f"unit_{place % 40}-{place}", FIRST_PREVIOUS
        at = (START + timedelta(hours=place)).isoformat()
        rows: list[Row] = []
        seals: list[Seal] = []

        def put(event: Event, body: str, signer: Signer | None) -> None:
            nonlocal seq, previous
            seq += 1
            number = len(rows) + 1  # noqa: B023
            digest = link(walk, number, at, event.kind, body, previous)  # noqa: B023
            rows.append(Row(seq, walk, number, at, event.kind, body, previous, digest))  # noqa: B023
            if signer is not None:
                seals.append(Seal(walk, number, signer.key_id, signer.seal(digest)))  # noqa: B023
            previous = digest

        for kind, event, body in plain:
            if kind in ("walk started", "walk finished"):
                sealed = event.model_copy(update={"key_id": signers[OPERATOR].key_id})
                put(sealed, body_of(sealed), signers[OPERATOR])
            else:
                put(event, body, None)
        signature = SignedOff(
            by=OFFICER,
            role="officer",
            meaning="confirmed by",
            decision="in service",
            head=previous,
            key_id=signers[OFFICER].key_id,
            clips_sha256=clips_digest(()),
            seals_sha256=seals_digest(seals),
            people_head=people_head,
        )
        put(signature, body_of(signature), signers[OFFICER])
        connection.executemany(
            "INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?, ?)", [astuple(row) for row in rows]
        )
        connection.executemany("INSERT INTO seals VALUES (?, ?, ?, ?)", [astuple(seal) for seal in seals])
        for row in (rows[0], rows[-2], rows[-1]):
            list_row(db, row)
        listed = [("engine_61", "engine_bay", "fan_belt", row.seq) for row in rows[1:-2]]
        connection.executemany("INSERT INTO point_list VALUES (?, ?, ?, ?)", listed)
        list_walk(db, walk)
    connection.commit()
    connection.close()


if __name__ == "__main__":
    main()
