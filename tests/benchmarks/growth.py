"""How a record answers when it has grown: entries of forty units over years, made by a program.

    python -m tests.benchmarks.growth --entries 1000000 --folder build/growth

makes the record, where it is not there already, and measures it. The entries are written in bulk to
the tables as :mod:`voicelog.records` keeps them, with every hash and list, so the record is whole:
``--verify`` proves that of every walk. Defects go their way through the code that the shop uses.
The same arguments give the same record.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sqlite3
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

from sqlite_utils import Database
from tabulate import tabulate

from tests.conftest import ROOT
from voicelog.defects import acts
from voicelog.defects.events import DEFECT_EVENT, DefectsEntered
from voicelog.meaning.claims import make_claim
from voicelog.meaning.facts import Claim, Heard
from voicelog.records.chain import FIRST_PREVIOUS, body_of, canonical, link
from voicelog.records.clips import sha256_hex
from voicelog.records.defect_rows import chain_name, last_of
from voicelog.records.readings import list_walk
from voicelog.records.store import Store
from voicelog.reports.across import gather_history, gather_overview
from voicelog.reports.html import html_report
from voicelog.reports.write import walk_contents
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Point, Sheet
from voicelog.sheet.policy import NO_POLICY
from voicelog.walk.agenda import agenda
from voicelog.walk.events import EntryLogged, WalkFinished, WalkStarted
from voicelog.walk.state import fold

UNITS = 40
BEGIN = datetime(2020, 1, 1, 7, 0, tzinfo=UTC)
DAYS = 7
"""From one walk of a unit to its next: with some hundred entries a walk, a million take five years."""
ONE_IN = 25
"""One walk in so many finds a defect."""
ID = "@entry@"


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
            " finished, last, events, first_seq) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
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


def measured(folder: Path, sheet: Sheet, times: int) -> Iterator[tuple[str, float, float, str]]:
    """Yield what was asked, the median and the longest time in seconds, and what came of it."""
    clock = Clock()
    clock.now = datetime(2030, 1, 1, tzinfo=UTC)

    def took(act: Callable[[], object]) -> tuple[float, float, object]:
        spent, came = [], None
        for _ in range(times):
            begin = time.perf_counter()
            came = act()
            spent.append(time.perf_counter() - begin)
        return statistics.median(spent), max(spent), came

    def opened() -> None:
        with Store.open(folder, clock=clock):
            pass

    yield ("the record opens", *took(opened)[:2], "")
    with Store.open(folder, clock=clock) as store:
        walks = store.walks()
        walk, unit = walks[len(walks) // 2].walk, walks[len(walks) // 2].unit_id
        point = next(p.id for p in sheet.points.values() if any(r.required for r in p.readings))

        def review() -> int:
            state = fold(sheet, ((s.at, s.event) for s in store.events(walk)))
            return len(agenda(state)) + len(store.verify(walk))

        def queue() -> int:
            return len(store.defects.queue())

        def history() -> str:
            return f"{len(store.walks_of(unit))} walks, {len(store.defects.of_unit(unit))} defects"

        def of_point() -> str:
            found = store.point_history(unit, sheet.id, point)
            return f"{len(found.entries)} entries of one point"

        def book() -> str:
            return f"{len(store.defects.book(unit).defects)} defects with their histories"

        contents = walk_contents(store, walk, sheet)

        def report() -> str:
            found = walk_contents(store, walk, sheet)
            return f"{sum(len(series.values) for series in found.series)} values over the walks"

        def page() -> str:
            made = html_report(contents, store.clip)
            return f"{len(contents.series)} plots, {len(made)} bytes"

        def unit_report() -> str:
            found = gather_history(store, unit, lambda started: sheet, clock.now)
            return f"{len(found.walks)} walks, {len(found.readings)} readings"

        def station() -> str:
            found = gather_overview(store, lambda started: sheet, clock.now, NO_POLICY)
            return f"{len(found.checks)} checks, {len(found.open)} defects, {len(found.drifts)} readings"

        asked: dict[str, Callable[[], object]] = {
            "a review opens (its proof with it)": review,
            "the shop's queue": queue,
            "a unit's history": history,
            "one unit's defects, all events": book,
            "a point's history": of_point,
            "what a walk's report says (its proof with it)": report,
            "its page, with every plot drawn": page,
            "a unit's history as a report, without its plots": unit_report,
            "the station's overview, without its plots": station,
            "a walk is taken up or begun": lambda: (
                store.open_walk(unit, sheet.id),
                store.new_walk_id(unit, clock.now),
            ),
            "walks not taken up": lambda: len(store.defects.not_taken_up()),
            "all walks listed": lambda: len(store.walks()),
        }
        for name, act in asked.items():
            middle, longest, came = took(act)
            yield name, middle, longest, str(came)


def main() -> None:
    """Make the record where it is not there, and measure it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--entries", type=int, default=1_000_000)
    parser.add_argument("--folder", type=Path, default=ROOT / "build" / "growth")
    parser.add_argument("--seed", type=int, default=61)
    parser.add_argument("--times", type=int, default=7, help="how often each question is asked")
    parser.add_argument("--again", action="store_true", help="make the record anew")
    parser.add_argument("--verify", action="store_true", help="prove the whole record")
    given = parser.parse_args()
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
    rows = [
        (name, f"{middle:.3f}", f"{longest:.3f}", came)
        for name, middle, longest, came in measured(folder, sheet, given.times)
    ]
    print(tabulate(rows, headers=("asked", "median, s", "longest, s", "came of it"), disable_numparse=True))
    if given.verify:
        begin = time.perf_counter()
        with Store.open(folder, clock=Clock()) as store:
            problems = store.verify_all()
        spent = time.perf_counter() - begin
        speed = f"{spent:.0f} s, {events / spent:.0f} events a second"
        print(f"proof of the whole record: {len(problems)} problems, {speed}")
        for problem in problems[:10]:
            print(problem)


if __name__ == "__main__":
    main()
