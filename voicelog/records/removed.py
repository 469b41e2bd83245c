"""What was removed under retention, as the units' chains tell it; only what an officer's key sealed.

An event without a seal that holds removes nothing: what it names is missing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from sqlite_utils import Database

from voicelog.defects.events import DEFECT_EVENT
from voicelog.defects.needs import need_of_act
from voicelog.defects.removal_events import Removal, RemovedWalk, SoundRemoved, WalksRemoved
from voicelog.errors import RecordError, WalkError
from voicelog.records.chain import Row, hash_holds, read_event, read_time
from voicelog.records.defect_rows import chain_name
from voicelog.records.people_rows import Roll
from voicelog.records.seals import Seal, seal_problem, seals_of
from voicelog.walk.wording import show_time

KINDS = ("walks removed", "sound removed")


@dataclass(frozen=True, slots=True)
class Gone:
    """One walk that was removed, or whose sound was."""

    at: datetime
    number: int
    """Of the event in the unit's chain."""
    event: Removal
    walk: RemovedWalk

    @property
    def lines(self) -> tuple[range, ...]:
        """The lines of the record that went with it."""
        return tuple(range(first, last + 1) for first, last in self.walk.lines)


@dataclass(frozen=True, slots=True)
class Removed:
    """Everything that was removed, by the walk's id."""

    walks: Mapping[str, Gone]
    sound: Mapping[str, Gone]

    @property
    def lines(self) -> tuple[range, ...]:
        """The lines of the record that went with the walks."""
        return tuple(part for gone in self.walks.values() for part in gone.lines)

    @property
    def acts(self) -> tuple[tuple[datetime, Removal], ...]:
        """What was done, in the order of time."""
        done = {
            (g.at, g.event.unit_id, g.number): g.event for g in (*self.walks.values(), *self.sound.values())
        }
        return tuple((at, event) for (at, _, _), event in sorted(done.items(), key=lambda item: item[0]))


NOTHING = Removed({}, {})


def removed_of(rows: Iterable[Row], seals: Sequence[Seal], roll: Roll) -> Removed:
    """Return what one unit's chain tells was removed; ``rows`` and ``seals`` are of the chain."""
    by_number = {seal.number: seal for seal in seals}
    walks: dict[str, Gone] = {}
    sound: dict[str, Gone] = {}
    for row in rows:
        if row.kind not in KINDS:
            continue
        try:
            event, at = read_event(row, DEFECT_EVENT), read_time(row)
        except RecordError:
            continue  # an altered event: the chain's proof tells of it
        if hash_holds(row) and _sealed(row, event, by_number.get(row.number), roll):
            into = sound if isinstance(event, SoundRemoved) else walks
            for gone in event.walks:
                into.setdefault(gone.walk, Gone(at, row.number, event, gone))
    return Removed(walks, sound)


def _sealed(row: Row, event: object, seal: Seal | None, roll: Roll) -> bool:
    if not isinstance(event, WalksRemoved | SoundRemoved) or row.walk != chain_name(event.unit_id):
        return False
    need = need_of_act(event)
    people = tuple(then for _, then in roll.states if then.head == event.people_head)
    if need is None or seal is None:
        return False
    return seal_problem(row, event.key_id, seal, roll, people, need, needed=True) is None


def removed(db: Database, roll: Roll) -> Removed:
    """Return what was removed of a whole record."""
    found = db.query(
        "SELECT * FROM defect_events WHERE kind IN ('walks removed', 'sound removed') ORDER BY unit, number"
    )
    rows = (Row(walk=chain_name(row.pop("unit")), **row) for row in found)
    walks: dict[str, Gone] = {}
    sound: dict[str, Gone] = {}
    for chain, its in groupby(rows, key=lambda row: row.walk):
        part = removed_of(its, seals_of(db, chain), roll)
        walks |= part.walks
        sound |= part.sound
    return Removed(walks, sound)


def list_problems(db: Database, told: Removed) -> Iterator[str]:
    """Yield where the list of what was removed is not what the chains tell."""
    expected = {
        (name, what, gone.event.unit_id, gone.number)
        for what, part in (("walk", told.walks), ("sound", told.sound))
        for name, gone in part.items()
    }
    listed = set(db.conn.execute("SELECT walk, what, unit_id, number FROM removed_list"))
    for walk in sorted({entry[0] for entry in expected ^ listed}):
        yield f"Walk {walk}: the list of what was removed is not what the units' events say."


def runs(lines: Iterable[int]) -> tuple[tuple[int, int], ...]:
    """Return numbers in order as runs without gaps: first and last of each."""
    found: list[tuple[int, int]] = []
    for line in lines:
        if found and line == found[-1][1] + 1:
            found[-1] = (found[-1][0], line)
        else:
            found.append((line, line))
    return tuple(found)


# in words --------------------------------------------------------------------------------------


def told(gone: Gone) -> str:
    """Return what became of a walk, or its sound: ``was removed under retention on ... by M. Ruiz: ...``."""
    event = gone.event
    return (
        f"was removed under retention on {show_time(gone.at)} by {event.by} (officer): {event.reason}; "
        f"{event.policy}, {event.months} months"
    )


def told_act(at: datetime, event: Removal) -> str:
    """Return what was removed in one act, by whom and why: ``removed under retention on ...: 12 walks``."""
    walks = event.walks
    days = f"{min(w.started for w in walks):%Y-%m-%d} to {max(w.last for w in walks):%Y-%m-%d}"
    what = "the sound of " if isinstance(event, SoundRemoved) else ""
    count = "1 walk" if len(walks) == 1 else f"{len(walks)} walks"
    return (
        f"removed under retention on {show_time(at)} by {event.by} (officer): {what}{count} of "
        f"{event.unit_name}, {days}: {event.reason}"
    )


def told_copy(gone: Gone) -> str:
    """Return where its copy went, or that there is none."""
    walk = gone.walk
    if not walk.copy_path:
        return "no copy was made"
    return f"a copy was written to {walk.copy_path} (SHA-256 {walk.copy_sha256})"


def no_longer_there(gone: Gone) -> WalkError:
    """Return the error that says what became of a walk that somebody asks for."""
    remedy = "nothing; it is no longer on record here"
    if gone.walk.copy_path:
        remedy = (
            f"look for the copy where it was written; prove it with: voicelog verify {gone.walk.copy_path}"
        )
    what = f"this walk {told(gone)}; {told_copy(gone)}"
    return WalkError(what, where=gone.walk.walk, remedy=remedy)
