"""What the tests of the record store are made of: a clock, events and sound."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from pathlib import Path

import numpy as np

from voicelog.records import schema, schema_people, schema_removal
from voicelog.records.clips import Clip
from voicelog.walk.events import (
    Claim,
    EntryLogged,
    Heard,
    SignedOff,
    WalkFinished,
    WalkStarted,
)

WALK = "engine_61-20261125-0710-1"
START = datetime(2026, 11, 25, 7, 10, tzinfo=timezone(timedelta(hours=-5)))


class Ticking:
    """A clock that goes on by one second each time it is read."""

    def __init__(self, start: datetime = START) -> None:
        """Start the clock."""
        self.now = start

    def __call__(self) -> datetime:
        """Return the time and go on."""
        self.now += timedelta(seconds=1)
        return self.now


def started(
    unit_id: str = "engine_61", sheet_id: str = "engine_bay", operator: str = "R. Alder"
) -> WalkStarted:
    """Return the first event of a walk."""
    return WalkStarted(
        unit_id=unit_id,
        unit_name="Engine 61",
        station="Tolliver Bend",
        identification="TB-61",
        sheet_id=sheet_id,
        sheet_title="Engine bay",
        sheet_sha256="a" * 64,
        lexicon_sha256="b" * 64,
        operator=operator,
        recogniser="typed",
        model_sha256="c" * 64,
        version="0.1.0",
    )


def entry(number: int, clip: Clip | None = None) -> EntryLogged:
    """Return an entry with a reading of number/32 inch."""
    claim = Claim(
        point_id="fan_belt",
        reading_id="deflection",
        value=Fraction(number, 32),
        unit="inch",
        judgement="within",
        polarity="sound",
    )
    heard = Heard(text="fan belt deflection", clip=clip.sha256 if clip else None, end_s=1.5)
    return EntryLogged(
        entry_id=f"e{number}", claim=claim, heard=heard, posterior={"point": 0.875, "value": 1.0}
    )


def finished() -> WalkFinished:
    """Return the event that ends a walk."""
    return WalkFinished(missing=("coolant",))


def signed(head: str) -> SignedOff:
    """Return an officer's signature over everything up to ``head``."""
    return SignedOff(
        by="M. Ruiz", role="officer", meaning="confirmed by", decision="in service", reason="", head=head
    )


def sound(seed: int, seconds: float = 0.05) -> Clip:
    """Return a clip of noise; another seed gives another clip."""
    noise = np.random.default_rng(seed).normal(0, 0.1, int(16_000 * seconds))
    return Clip.from_samples(noise.astype(np.float32), 16_000)


def rows(folder: Path) -> list[tuple[object, ...]]:
    """Return every row of ``events`` and ``clips``, read by SQLite itself on its own connection."""
    connection = sqlite3.connect(folder / "voicelog.db")
    try:
        events = connection.execute("SELECT * FROM events ORDER BY seq").fetchall()
        return events + connection.execute("SELECT * FROM clips ORDER BY rowid").fetchall()
    finally:
        connection.close()


def files(folder: Path) -> set[str]:
    """Return the names of all files under ``clips/``."""
    return {path.name for path in (folder / "clips").rglob("*") if not path.is_dir()}


def tamper(folder: Path, *statements: str) -> None:
    """Alter the database as an intruder would: the guards dropped, then put back."""
    connection = sqlite3.connect(folder / "voicelog.db")
    try:
        guards = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            assert connection.execute(statement).rowcount != 0, f"nothing was altered by {statement}"
        for _, sql in guards:
            connection.execute(sql)
        connection.commit()
    finally:
        connection.close()


@contextmanager
def without_privileges(prepare: Callable[[Path], None] = lambda folder: None) -> Iterator[Path]:
    """Give a folder, and take away the rights of root, who may write anything, in the block.

    ``prepare`` fills the folder before: without those rights the project's own files may be out of reach.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o777)
        prepare(folder)
        if os.geteuid() != 0:
            yield folder
            return
        for path in (folder, *folder.rglob("*")):
            os.chown(path, 65534, 65534)
        os.seteuid(65534)
        try:
            yield folder
        finally:
            os.seteuid(0)


def before_removals(connection: sqlite3.Connection) -> None:
    """Take a record back to the tables and guards of before anything of it could be removed."""
    guards = schema._FIRST_GUARDS | schema_people.GUARDS
    for name in schema_removal.GUARDS:
        connection.execute(f"DROP TRIGGER {name}")
        connection.execute(guards[name])
    for table in ("removed_list", "clips_leaving"):
        connection.execute(f"DROP TABLE {table}")
    connection.execute("DELETE FROM _sqlite_migrations WHERE name = 'removals'")
