"""How a record answers when it has grown: entries of forty units over years, made by a program.

    python -m tests.benchmarks.growth --entries 1000000 --folder build/growth

makes the record, where it is not there already, and measures it. The entries are written in bulk to
the tables as :mod:`voicelog.records` keeps them, with every hash and list, so the record is whole:
``--verify`` proves that of every walk, and of a backup that is taken while a walk goes on. Defects go
their way through the code that the shop uses. The same arguments give the same record.

``--commands`` times the real commands from nothing, ``--beside`` asks the same of a plain table and of a
CSV file. Beside each time stands that of the processor, which a busy machine does not stretch.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sqlite3
import sys
import threading
import time
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

from sqlite_utils import Database
from tabulate import tabulate

from tests.benchmarks.growth_answers import Answer, answers, commands
from tests.benchmarks.growth_beside import beside
from tests.conftest import ROOT
from voicelog.commands.terminal import collect_seldom
from voicelog.defects import acts
from voicelog.defects.events import DEFECT_EVENT, DefectsEntered
from voicelog.meaning.claims import make_claim
from voicelog.meaning.facts import Claim, Heard
from voicelog.records import editions
from voicelog.records.chain import FIRST_PREVIOUS, body_of, canonical, link
from voicelog.records.clips import sha256_hex
from voicelog.records.defect_rows import chain_name, last_of
from voicelog.records.readings import list_walk
from voicelog.records.store import Store
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Point, Sheet
from voicelog.walk.events import EntryLogged, WalkFinished, WalkStarted
from voicelog.walk.state import fold

UNITS = 40
BEGIN = datetime(2020, 1, 1, 7, 0, tzinfo=UTC)
DAYS = 7
"""From one walk of a unit to its next: with some hundred entries a walk, a million take five years."""
ONE_IN = 25
"""One walk in so many finds a defect."""
ID = "@entry@"
AIM_A_SECOND = 50_000
"""Events that are proved in a second."""


class Clock:
    """A clock that stands where it was set."""

    def __init__(self) -> None:
        self.now = BEGIN

    def __call__(self) -> datetime:
        """Return the time it was set to."""
        return self.now


@dataclass(frozen=True, slots=True)
class Line:
    """What may be said of a point: its event as JSON with a place for the entry's id."""

    point_id: str
    body: str


class Writer:
    """Writes whole walks into the tables in bulk."""

    def __init__(self, folder: Path, sheet: Sheet, seed: int) -> None:
        self.sheet, self.random = sheet, random.Random(seed)
        self.connection = sqlite3.connect(folder / "voicelog.db", isolation_level=None)
        self.connection.execute("PRAGMA synchronous = OFF")
        self.seq = 0
        self.nothing: list[tuple[str, str, DefectsEntered]] = []
        """Of each walk without a defect its unit, when it ended, and that it was entered."""
        self.sound = {p.id: self._lines(p, "sound") for p in sheet.points.values()}
        self.defect = {p.id: self._lines(p, "defect") for p in sheet.points.values()}
        self.readings = {p.id: self._readings(p) for p in sheet.points.values()}

    def _lines(self, point: Point, polarity: str) -> list[Line]:
        said = self.sheet.lexicon.conditions_of(point.aspects)
        return [
            self._line(make_claim(self.sheet, point.id, condition_id=c.id))
            for c in said
            if c.polarity == polarity
        ]

    def _readings(self, point: Point) -> list[list[Line]]:
        """Return for each required reading of a point the values that are within its limit."""
        found = []
        for reading in point.readings:
            steps = int((reading.high - reading.low) / reading.resolution)
            values = [reading.low + Fraction(n * steps, 40) // 1 * reading.resolution for n in range(41)]
            claims = [
                make_claim(self.sheet, point.id, reading_id=reading.id, value=v)
                for v in dict.fromkeys(values)
            ]
            within = [self._line(claim) for claim in claims if claim.polarity == "sound"]
            if reading.required and within:
                found.append(within)
        return found

    def _line(self, claim: Claim) -> Line:
        event = EntryLogged(
            entry_id=ID,
            claim=claim,
            heard=Heard(
                text=f"{claim.point_id} {claim.condition_id or claim.reading_id}", end_s=1.5, how="keyboard"
            ),
            posterior={"claim": 1.0},
        )
        return Line(claim.point_id, body_of(event))

    def walk(self, name: str, unit: int, at: datetime, with_defect: bool) -> int:
        """Write one walk; return how many entries it has."""
        sheet, choose = self.sheet, self.random.choice
        unit_id, operator = f"unit_{unit:02}", f"Operator {self.random.randrange(120)}"
        started = WalkStarted(
            unit_id=unit_id,
            unit_name=f"Unit {unit}",
            station=f"Station {unit // 8 + 1}",
            identification=f"TB-{unit:04}",
            sheet_id=sheet.id,
            sheet_title=sheet.title,
            sheet_sha256=sheet.sha256,
            lexicon_sha256=sheet.lexicon.sha256,
            limits_sha256=sheet.limits_sha256,
            extent=sheet.extent,
            operator=operator,
            recogniser="keyboard",
            model_sha256="",
            version="0",
            source="keyboard",
        )
        lines: list[Line] = []
        bad = choose(list(sheet.points)) if with_defect else ""
        for point_id in sheet.points:
            worse = self.defect[point_id] if point_id == bad else []
            lines.append(choose(worse or self.sound[point_id]))
            lines += [choose(values) for values in self.readings[point_id]]
        bodies = [("walk started", body_of(started), "")]
        bodies += [
            ("entry logged", line.body.replace(ID, f"e{n}"), line.point_id) for n, line in enumerate(lines, 1)
        ]
        bodies.append(("walk finished", body_of(WalkFinished(missing=())), ""))
        first, previous, rows, points = self.seq + 1, FIRST_PREVIOUS, [], []
        for number, (kind, body, point_id) in enumerate(bodies, 1):
            self.seq += 1
            when = (at + timedelta(seconds=7 * number)).isoformat()
            # What link() makes: the body is canonical already, and the keys are in order.
            text = (
                f'{{"at":"{when}","body":{body},"kind":"{kind}","number":{number},'
                f'"previous":"{previous}","walk":"{name}"}}'
            )
            digest = sha256_hex(text.encode())
            if first == 1 and digest != link(name, number, when, kind, body, previous):
                raise AssertionError("the hashes are not those of the record")
            rows.append((self.seq, name, number, when, kind, body, previous, digest))
            if point_id:
                points.append((unit_id, sheet.id, point_id, self.seq))
            previous = digest
        self.connection.executemany("INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)
        self.connection.executemany("INSERT INTO point_list VALUES (?, ?, ?, ?)", points)
        self.connection.execute(
            "INSERT INTO walk_list (walk, unit_id, unit_name, sheet_id, sheet_title, operator, started,"
            " finished, last, events, first_seq, extent) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                name,
                unit_id,
                started.unit_name,
                sheet.id,
                sheet.title,
                operator,
                rows[0][3],
                rows[-1][3],
                rows[-1][3],
                len(rows),
                first,
                sheet.extent,
            ),
        )
        if not with_defect:
            event = DefectsEntered(walk=name, events=len(rows), head=previous)
            self.nothing.append((unit_id, rows[-1][3], event))
        return len(lines)


def enter_nothing(folder: Path, walks: list[tuple[str, str, DefectsEntered]]) -> None:
    """Write into the units' chains that the walks without a defect were entered."""
    connection = sqlite3.connect(folder / "voicelog.db", isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute("BEGIN")
    db = Database(connection)
    last = {f"unit_{unit:02}": last_of(db, f"unit_{unit:02}") for unit in range(UNITS)}
    for unit, at, event in walks:
        number, previous = last[unit]
        body = canonical(DEFECT_EVENT.dump_python(event, mode="json")).decode()
        digest = link(chain_name(unit), number + 1, at, event.kind, body, previous)
        connection.execute(
            "INSERT INTO defect_events (unit, number, at, kind, body, previous, hash)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            (unit, number + 1, at, event.kind, body, previous, digest),
        )
        last[unit] = number + 1, digest
    connection.execute("COMMIT")
    connection.close()


def make(folder: Path, sheet: Sheet, entries: int, seed: int) -> None:
    """Make the record in ``folder``; the walks with a defect are then taken through the shop."""
    clock = Clock()
    with Store.open(folder, clock=clock):
        pass
    editions.keep(folder, ((sha256, Path(path)) for sha256, path in sheet.sources))
    writer, written, number, found = Writer(folder, sheet, seed), 0, 0, []
    writer.connection.execute("BEGIN")
    while written < entries:
        unit, day = number % UNITS, number // UNITS * DAYS
        at = BEGIN + timedelta(days=day, minutes=unit)
        name = f"unit_{unit:02}-{at:%Y%m%d-%H%M}-1"
        with_defect = writer.random.randrange(ONE_IN) == 0
        written += writer.walk(name, unit, at, with_defect)
        if with_defect:
            found.append((name, at))
        number += 1
        if number % 2000 == 0:
            print(f"{written} entries in {number} walks", file=sys.stderr, flush=True)
    db = Database(writer.connection)
    for (walk,) in writer.connection.execute("SELECT walk FROM walk_list ORDER BY first_seq").fetchall():
        list_walk(db, walk)
    writer.connection.execute("COMMIT")
    writer.connection.execute("ANALYZE")
    writer.connection.close()
    with Store.open(folder, clock=clock) as store:
        for name, at in found:
            clock.now = at + timedelta(hours=1)
            events = store.events(name)
            book = store.defects.take_up(name, fold(sheet, ((s.at, s.event) for s in events)))
            for defect in book.open():
                if defect.state == "heard" and writer.random.randrange(10) < 9:
                    clock.now += timedelta(hours=2)
                    _repaired(store, defect.defect_id)
    enter_nothing(folder, writer.nothing)


def _repaired(store: Store, defect_id: str) -> None:
    store.defects.do(
        defect_id, lambda d: acts.repair(d, by="K. Osei", role="mechanic", findings="put right", minutes=40)
    )
    store.defects.do(defect_id, lambda d: acts.certify(d, by="K. Osei", role="mechanic"))


def proved(folder: Path) -> Iterable[str]:
    """Prove the whole record, then a backup of it that was taken while a walk went on; tell of both."""
    with Store.open(folder, clock=Clock()) as store:
        yield _proof("the whole record", store)
    # The walk goes on in a copy, so that the record stays the one that its arguments give.
    used, target = (folder.with_name(f"{folder.name}-{name}") for name in ("used", "backup"))
    for left in (used, target):
        shutil.rmtree(left, ignore_errors=True)
    shutil.copytree(folder, used, ignore=shutil.ignore_patterns("plain.*"))
    clock, going_on, stop, said = Clock(), threading.Event(), threading.Event(), 0
    clock.now = datetime(2030, 1, 1, tzinfo=UTC)
    with Store.open(used, clock=clock) as store:
        last = store.walks()[-1]
        begun, entry = (stored.event for stored in store.events(last.walk)[:2])
        walk = store.new_walk_id(last.unit_id, clock.now)

    def go_on() -> None:
        nonlocal said
        with Store.open(used, clock=clock) as store:
            store.append(walk, [begun])
            while not stop.is_set():
                said += 1
                store.append(walk, [entry.model_copy(update={"entry_id": f"e{said}"})])
                going_on.set()

    going = threading.Thread(target=go_on)
    going.start()
    going_on.wait()
    begin = time.perf_counter()
    with Store.open(used, clock=clock) as store:
        store.backup(target)
    spent = time.perf_counter() - begin
    stop.set()
    going.join()
    yield f"backup while a walk went on: {spent:.0f} s, {said} events were logged meanwhile"
    with Store.open(target, clock=clock) as copy:
        kept = len(copy.events(walk)) - 1
        yield _proof(f"that backup, with {kept} of them", copy)
    shutil.rmtree(used)
    shutil.rmtree(target)


def _proof(what: str, store: Store) -> str:
    events = int(store._db.table("events").count)
    begin, used = time.perf_counter(), time.process_time()
    problems = store.verify_all()
    spent, used = time.perf_counter() - begin, time.process_time() - used
    return (
        f"proof of {what}: {len(problems)} problems, {spent:.1f} s, {events / spent:,.0f} events a second"
        f" (aim {AIM_A_SECOND:,}), {used:.1f} s of the processor in two threads {'; '.join(problems[:5])}"
    )


def table(found: Iterable[Answer]) -> str:
    """Return answers as a table."""
    rows = [
        (
            answer.asked,
            f"{answer.middle:.3f}",
            f"{answer.worst:.3f}",
            f"{answer.processor:.3f}",
            f"{answer.aim:.1f}" if answer.aim else "",
            "" if answer.aim is None else "yes" if answer.middle <= answer.aim else "NO",
            answer.came,
        )
        for answer in found
    ]
    heads = ("asked", "median, s", "worst, s", "processor, s", "aim", "met", "came of it")
    return str(tabulate(rows, headers=heads, disable_numparse=True))


def main() -> None:
    """Make the record where it is not there, and measure it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--entries", type=int, default=1_000_000)
    parser.add_argument("--folder", type=Path, default=ROOT / "build" / "growth")
    parser.add_argument("--seed", type=int, default=61)
    parser.add_argument("--times", type=int, default=9, help="how often each question is asked")
    parser.add_argument("--again", action="store_true", help="make the record anew")
    parser.add_argument("--verify", action="store_true", help="prove the whole record, and a backup of it")
    parser.add_argument("--commands", action="store_true", help="time the real commands from nothing")
    parser.add_argument("--beside", action="store_true", help="ask a plain table and a CSV file the same")
    given = parser.parse_args()
    collect_seldom()  # as every command does
    sheet = load_sheet(ROOT / "grammars" / "engine_bay.toml")
    folder = given.folder / f"{given.entries}-{given.seed}"
    if given.again and folder.exists():
        shutil.rmtree(folder)
    if not (folder / "made").exists():
        if folder.exists():
            shutil.rmtree(folder)
        folder.mkdir(parents=True)
        begin = time.perf_counter()
        make(folder, sheet, given.entries, given.seed)
        (folder / "made").write_text(f"{time.perf_counter() - begin:.0f}")
    database = folder / "voicelog.db"
    connection = sqlite3.connect(database)
    (entries,) = connection.execute("SELECT COUNT(*) FROM events WHERE kind = 'entry logged'").fetchone()
    (events,) = connection.execute("SELECT COUNT(*) FROM events").fetchone()
    (of_defects,) = connection.execute("SELECT COUNT(*) FROM defect_events").fetchone()
    connection.close()
    print(f"{entries} entries in {events} events, {of_defects} events of defects, of {UNITS} units")
    print(f"made in {(folder / 'made').read_text()} s; {database.stat().st_size / 2**20:.0f} MiB on the disk")
    print(table(answers(folder, sheet, given.times)))
    if given.commands:
        print(table(commands(folder, given.times)))
    if given.beside:
        print(table(_beside(folder, sheet, given.times)))
    if given.verify:
        for line in proved(folder):
            print(line, flush=True)


def _beside(folder: Path, sheet: Sheet, times: int) -> Iterable[Answer]:
    with Store.open(folder, clock=Clock()) as store:
        walks = store.walks()
    walk = walks[len(walks) // 2]
    point = next(p.id for p in sheet.points.values() if any(r.required for r in p.readings))
    return beside(folder, walk.walk, walk.unit_id, point, times)


if __name__ == "__main__":
    main()
