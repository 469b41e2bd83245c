"""What of a record is past its time, what holds it, and the order in which it is copied and removed.

Walks are copied first, each copy proved as it lies on the disk, and only then removed, so many of a unit
in one act. What goes wrong before that act leaves them as they were.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from voicelog.defects.book import UnitBook
from voicelog.defects.removal_events import Removal, SoundRemoved, WalksRemoved
from voicelog.defects.retention import (
    Hold,
    Kept,
    held_by_defects,
    held_by_itself,
    of_defects,
    walks_past,
)
from voicelog.errors import RecordError, VoicelogError
from voicelog.loading import sheet_as_made
from voicelog.people.keys import Signer
from voicelog.records.copies import Copy, keep_copy, proved
from voicelog.records.faults import no_room
from voicelog.records.store import Store
from voicelog.records.summary import WalkSummary
from voicelog.sheet import of_extent
from voicelog.sheet.model import Sheet
from voicelog.sheet.policy import Policy
from voicelog.walk.events import WalkStarted
from voicelog.walk.state import fold

AT_ONCE = 100
"""Walks in one act. Each act needs room on the disk for what it changes, and gives back more: a disk that
is nearly full is cleared a little at a time."""


@dataclass(frozen=True, slots=True)
class PastWalk:
    """A walk that the policy no longer asks to be kept, whole or its sound."""

    kept: Kept
    found: WalkSummary
    clips: int
    bytes: int
    """About what it takes up: of whole walks events and sound, otherwise the sound."""
    sheet: Sheet | None
    """What it was made with; None where that is not at hand, and then it is held."""
    holds: tuple[Hold, ...] = ()
    """Why it may not be removed all the same; empty where it may."""


def past_walks(
    store: Store, policy: Policy, today: date, *, sound: bool = False, only: Sequence[str] = ()
) -> tuple[PastWalk, ...]:
    """Return the walks past their time, oldest first; with ``sound`` those whose sound is.

    ``only`` are those that are looked at; all, where none are named.
    """
    walks = {found.walk: found for found in store.walks()}
    months = policy.sound_months if sound else policy.walks_months
    wanted = [
        kept for kept in walks_past(_days(walks, today), today, months) if not only or kept.name in only
    ]
    books = {unit: store.defects.book(unit) for unit in {walks[k.name].unit_id for k in wanted}}
    speaks = {unit: of_defects(book.defects.values()) for unit, book in books.items()}
    latest = set() if sound else {last.walk for last in store.across.last_walks()}
    sheets: dict[tuple[str, ...], Sheet | None] = {}
    past = []
    for kept in wanted:
        found = walks[kept.name]
        clips, size = store.removal.sound_of(found.walk)
        if sound and not clips:
            continue
        defects = speaks[found.unit_id].get(found.walk, ())
        sheet, held = _of_the_walk(store, books[found.unit_id], found.walk, sheets)
        holds = (
            *held,
            *held_by_defects(defects, today, policy.repairs_months),
            *((_LATEST,) if found.walk in latest else ()),
        )
        text = 0 if sound else store.removal.text_of(found.walk)
        past.append(PastWalk(kept, found, clips, size + text, sheet, holds))
    return tuple(past)


_LATEST = Hold(
    "it is the unit's latest check of its kind with this sheet, from which it is told when the next is due",
    "it can go when a later one was made",
)


def _days(walks: Mapping[str, WalkSummary], today: date) -> dict[str, date]:
    """Return the day of each walk's last event; never before a walk that stands before it on record.

    A machine whose clock lost the day dates a walk years back. The order of the record is known: a walk
    is not older than one that was begun before it. A day that is still to come bounds nothing.
    """
    found: dict[str, date] = {}
    bound = date.min
    for walk in walks.values():
        begun = walk.started.date()
        if begun <= today:
            bound = max(bound, begun)
        found[walk.walk] = max(walk.last.date(), begun, bound)
    return found


def _of_the_walk(
    store: Store, book: UnitBook, walk: str, sheets: dict[tuple[str, ...], Sheet | None]
) -> tuple[Sheet | None, tuple[Hold, ...]]:
    """Return the sheet of a walk, read once for each edition, and what in the walk holds it."""
    try:
        events = store.events(walk)
        begun = events[0].event
        if not isinstance(begun, WalkStarted):
            raise KeyError("beginning")
        key = (begun.sheet_id, *begun.edition_key)
        if key not in sheets:
            sheets[key] = sheet_as_made(store, begun)
        sheet = sheets[key]
        if sheet is None:
            why = "the files that it was made with are not at hand"
            return None, (Hold(why, "put them back from a backup of the data folder (editions)"),)
        state = fold(of_extent(sheet, begun.extent), ((s.at, s.event) for s in events))
        return sheet, held_by_itself(state, book, walk)
    except (VoicelogError, KeyError) as error:
        what = error.what if isinstance(error, VoicelogError) else f"there is no {error}"
        return None, (Hold(f"it cannot be read: {what}", f"look into it: voicelog verify {walk}"),)


@dataclass(frozen=True, slots=True)
class Act:
    """How what is past its time is removed."""

    policy: Policy
    reason: str
    signer: Signer | None
    copies: Path | None
    """The folder of the copies; None where none are made."""
    sound: bool


def remove_all(
    store: Store, past: Sequence[PastWalk], act: Act, told: Callable[[str], None]
) -> tuple[tuple[Removal, ...], tuple[VoicelogError, ...]]:
    """Remove the walks that nothing holds, unit by unit; return what was done and what could not be.

    ``told`` is called with each copy that was written. Of a unit of which something goes wrong, nothing
    more is removed.
    """
    by_unit: dict[str, list[PastWalk]] = {}
    for one in past:
        if not one.holds:
            by_unit.setdefault(one.found.unit_id, []).append(one)
    done: list[Removal] = []
    failed: list[VoicelogError] = []
    for its in by_unit.values():
        try:
            for event in _of_unit(store, its, act, told):
                done.append(event)
        except VoicelogError as error:
            failed.append(_full(error) if no_room(error) else error)
    return tuple(done), tuple(failed)


def _full(error: VoicelogError) -> RecordError:
    return RecordError(
        "There is no room left on this disk to write what is to be removed, or its copy.",
        where=error.where,
        remedy="free a few megabytes on it, then do it again; what was removed before is told",
    )


def _of_unit(
    store: Store, walks: Sequence[PastWalk], act: Act, told: Callable[[str], None]
) -> Iterator[Removal]:
    """Yield each act that was done of a unit; fewer walks at once where the disk has no room for so many."""
    at_once, first = AT_ONCE, 0
    while first < len(walks):
        part = walks[first : first + at_once]
        try:
            yield _remove_of_unit(store, part, act, told)
        except VoicelogError as error:
            if not no_room(error) or len(part) == 1:
                raise
            at_once = max(1, len(part) // 4)
            continue
        first += len(part)
        store.removal.finish()


def _remove_of_unit(
    store: Store, walks: Sequence[PastWalk], act: Act, told: Callable[[str], None]
) -> Removal:
    kind: type[Removal] = SoundRemoved if act.sound else WalksRemoved
    policy, first = act.policy, walks[0].found
    with ExitStack() as held:
        for one in walks:
            held.enter_context(store.lock(one.found.walk))
        described = [
            store.removal.described(one.found.walk, kind, _copied(store, one, act, told)) for one in walks
        ]
        event = kind(
            unit_id=first.unit_id,
            unit_name=first.unit_name,
            by=act.signer.name if act.signer else "",
            reason=act.reason,
            policy=policy.title,
            policy_edition=policy.edition,
            policy_sha256=policy.sha256,
            months=policy.sound_months if act.sound else policy.walks_months,
            repairs_months=policy.repairs_months,
            walks=tuple(described),
        )
        return store.removal.remove(event, signer=act.signer)


def _copied(store: Store, one: PastWalk, act: Act, told: Callable[[str], None]) -> Copy | None:
    """Prove a walk, and write its copy where one is wanted. Raises RecordError for one that is not whole."""
    assert one.sheet is not None
    walk = one.found.walk
    record = store.exported(walk, one.sheet)
    if act.copies is None:
        proved(record, walk)
        return None
    copy = keep_copy(record, act.copies, walk, store.people.now().root)
    told(f"{copy.path}: " + ("copied and proved" if copy.new else "was there already, and is proved"))
    return copy


def check_reason(reason: str) -> str:
    """Return why it is removed; RecordError where nothing is said."""
    if not reason.strip():
        raise RecordError("A removal needs a reason.", where="record", remedy="say why, in a few words")
    return " ".join(reason.split())
