"""What a walk says of its unit's defects: from the walk as it stands to events; pure.

May be asked again whenever the walk has gone on: only what is new comes of it. A defect heard again
joins its history, a worse class raises it, and one that comes back after closing names the one
before. What was said before the shop's work, and is entered after it, joins without undoing it. A
hearing that is taken back gives back what it alone had ended. A point found sound never closes a
defect, save one whose repair was certified before that and acknowledged in that walk or an earlier
one.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from voicelog.defects.book import Defect, UnitBook, apply
from voicelog.defects.events import (
    DefectClosed,
    DefectConfirmed,
    DefectEvent,
    DefectHeard,
    DefectRead,
    HearingTakenBack,
    PointRechecked,
    PointToRecheck,
    Role,
    SaidSound,
    SoundTakenBack,
)
from voicelog.sheet.model import Sheet
from voicelog.walk.agenda import severity
from voicelog.walk.events import Claim, DoubtSettled, EntryConfirmed, EntryCorrected, EntryWithdrawn
from voicelog.walk.state import Change, Entry, WalkState, matter_of, speaks_of
from voicelog.walk.wording import show_judgement, show_what


def from_walk(book: UnitBook, walk: str, state: WalkState, now: datetime) -> tuple[DefectEvent, ...]:
    """Return what is new of the unit's defects in a walk, as events in the order they are appended.

    ``now`` is the time they will be recorded at.
    """
    if state.started is None:
        return ()
    events: list[DefectEvent] = []
    # What was heard comes before what is taken back: an entry that corrects another joins its defect.
    for step in (_acknowledged, _heard, _taken_back, _confirmed, _sound_taken_back, _sound, _rechecks):
        for event in step(book, walk, state):
            book = apply(book, event, now)
            events.append(event)
    return tuple(events)


def _acknowledged(book: UnitBook, walk: str, state: WalkState) -> Iterator[DefectEvent]:
    states = {carried.defect_id: carried.state for carried in state.carried}
    for at, event in state.acknowledged:
        defect = book.defects.get(event.defect_id)
        if defect is None or not defect.is_open:
            continue
        if any((r.walk, r.by, r.read_at) == (walk, event.by, at) for _, r in defect.acknowledged):
            continue
        yield DefectRead(
            defect_id=defect.defect_id,
            walk=walk,
            by=event.by,
            state=event.state or states.get(event.defect_id, ""),
            read_at=at,
        )


def _taken_back(book: UnitBook, walk: str, state: WalkState) -> Iterator[DefectEvent]:
    """Yield the hearings of this walk whose entry no longer says that defect."""
    for defect in book.defects.values():
        if not defect.is_open:
            continue
        gone: list[tuple[str, str]] = []
        for hearing in defect.hearings:
            entry = state.entries.get(hearing.said.entry_id)
            if hearing.said.walk != walk or not hearing.standing or entry is None:
                continue
            if _says(state, entry, defect):
                continue
            gone.append(hearing.key)
            by, role, reason, at = _who_changed(state, entry)
            yield HearingTakenBack(
                defect_id=defect.defect_id,
                walk=walk,
                entry_id=entry.entry_id,
                by=by,
                role=role,
                reason=reason,
                restores=defect.restored_without(*gone) or "",
                done_at=at,
            )


def _says(state: WalkState, entry: Entry, defect: Defect) -> bool:
    claim = entry.claim
    if entry.status != "standing" or claim.polarity != "defect":
        return False
    return (state.sheet.id, claim.point_id, matter_of(state.sheet, claim)) == defect.key


def _heard(book: UnitBook, walk: str, state: WalkState) -> Iterator[DefectEvent]:
    """Yield the standing defects of this walk that the book does not have as they now read."""
    new: dict[tuple[str, str, str], str] = {}
    taken = len(book.defects)
    for entry in state.standing():
        claim = entry.claim
        if claim.polarity != "defect":
            continue
        key = (state.sheet.id, claim.point_id, matter_of(state.sheet, claim))
        told = [d for d in book.defects.values() if d.key == key and d.hearing(walk, entry.entry_id)]
        known = next((d for d in told if d.is_open), None)
        if known is not None:
            hearing = known.hearing(walk, entry.entry_id)
            if hearing is not None and hearing.standing and hearing.said.what == _what(state.sheet, claim):
                continue
        elif any(d.state == "closed" for d in told):
            continue
        # Of one that was taken back and is said again, also where another has been opened since.
        joined = known or book.same(key) or next(iter(told), None)
        came_back = None
        if joined is not None:
            defect_id = joined.defect_id
        elif key in new:
            defect_id = new[key]
        else:
            taken += 1
            defect_id = new[key] = f"{book.unit_id}-d{taken}"
            closed = book.last_closed(key)
            came_back = closed.defect_id if closed else None
        before_work = joined is not None and _before_work(joined, state, entry)
        yield _hearing(state, walk, entry, defect_id, came_back, before_work)


def _before_work(defect: Defect, state: WalkState, entry: Entry) -> bool:
    """Return whether an entry was said before the shop's work that stands, by a clock that kept its order."""
    worked_at = defect.worked_at
    return worked_at is not None and entry.at < worked_at and not state.clock_set_back


def _hearing(
    state: WalkState, walk: str, entry: Entry, defect_id: str, came_back: str | None, before_work: bool
) -> DefectHeard:
    sheet, claim, started = state.sheet, entry.claim, state.started
    assert started is not None
    point = sheet.points[claim.point_id]
    matter = matter_of(sheet, claim)
    if claim.reading_id is not None:
        matter_name = point.reading(claim.reading_id).name
        class_name = show_judgement(claim)
    else:
        matter_name = sheet.lexicon.aspects.get(matter, matter)
        known = sheet.lexicon.classes.get(claim.class_id or "")
        class_name = known.name if known else ""
    return DefectHeard(
        defect_id=defect_id,
        unit_id=started.unit_id,
        unit_name=started.unit_name,
        sheet_id=sheet.id,
        point_id=point.id,
        point=point.full_name,
        matter=matter,
        matter_name=matter_name,
        what=_what(sheet, claim),
        class_id=claim.class_id,
        class_name=class_name,
        rank=rank_of(sheet, claim),
        walk=walk,
        entry_id=entry.entry_id,
        said_at=entry.at,
        by=entry.by,
        clip=entry.logged.heard.clip,
        came_back_from=came_back,
        before_work=before_work,
    )


def _what(sheet: Sheet, claim: Claim) -> str:
    return show_what(claim, sheet)


def rank_of(sheet: Sheet, claim: Claim) -> int:
    """Return how bad a defect counts; a higher rank is worse."""
    if claim.reading_id is not None:
        # A value outside its limit has no class; it is not less than the worst that has one.
        return max((known.rank for known in sheet.lexicon.classes.values()), default=1)
    return severity(claim, sheet)


def _confirmed(book: UnitBook, walk: str, state: WalkState) -> Iterator[DefectEvent]:
    """Yield what the review confirmed: the entry confirmed, or settled or corrected to the defect."""
    for defect in book.defects.values():
        if defect.state != "heard":
            continue
        done = {(e.walk, e.entry_id) for _, e in defect.history if isinstance(e, DefectConfirmed)}
        for hearing in defect.hearings:
            entry = state.entries.get(hearing.said.entry_id)
            if hearing.said.walk != walk or not hearing.standing or entry is None or hearing.key in done:
                continue
            if hearing.said.rank < defect.worst.rank:
                continue
            looked = [(at, c) for at, c in entry.changes if _is_confirming(c)]
            if looked:
                at, last = looked[-1]
                yield DefectConfirmed(
                    defect_id=defect.defect_id,
                    by=last.by,
                    reason=last.reason,
                    walk=walk,
                    entry_id=entry.entry_id,
                    done_at=at,
                )
                break


def _is_confirming(change: Change) -> bool:
    """Return whether a change was an officer's look at the entry; an answer by voice was not."""
    if isinstance(change, DoubtSettled):
        return change.heard is None
    return isinstance(change, EntryConfirmed | EntryCorrected)


def _sound_taken_back(book: UnitBook, walk: str, state: WalkState) -> Iterator[DefectEvent]:
    for defect in book.defects.values():
        for said in defect.said_sound:
            entry = state.entries.get(said.entry_id)
            if said.walk != walk or entry is None or _finds_sound(state, entry, defect):
                continue
            if not defect.is_open and defect.closed_by != (walk, said.entry_id):
                continue
            by, role, reason, at = _who_changed(state, entry)
            yield SoundTakenBack(
                defect_id=defect.defect_id,
                walk=walk,
                entry_id=entry.entry_id,
                by=by,
                role=role,
                reason=reason,
                done_at=at,
            )


def _finds_sound(state: WalkState, entry: Entry, defect: Defect) -> bool:
    claim = entry.claim
    sheet_id, point_id, matter = defect.key
    return (
        entry.status == "standing"
        and claim.polarity == "sound"
        and (state.sheet.id, claim.point_id) == (sheet_id, point_id)
        and speaks_of(state.sheet, claim, matter)
    )


def _sound(book: UnitBook, walk: str, state: WalkState) -> Iterator[DefectEvent]:
    """Yield what this walk found sound of open defects, and the closing of those that may close."""
    started = state.started
    assert started is not None
    for defect in book.defects.values():
        if not defect.is_open or any(h.standing and h.said.walk == walk for h in defect.hearings):
            continue
        noted = {(s.walk, s.entry_id) for s in defect.said_sound}
        for entry in state.standing():
            if not _finds_sound(state, entry, defect) or entry.at < defect.heard_at:
                continue
            if (walk, entry.entry_id) not in noted:
                yield SaidSound(
                    defect_id=defect.defect_id,
                    walk=walk,
                    entry_id=entry.entry_id,
                    said_at=entry.at,
                    what=_what(state.sheet, entry.claim),
                    by=entry.by,
                )
            if (
                defect.state == "certified"
                and defect.acknowledged_since_certified
                and defect.certified_at is not None
                and entry.at > defect.certified_at
            ):
                yield DefectClosed(
                    defect_id=defect.defect_id,
                    by=entry.by,
                    role="operator",
                    reason=f"looked at after the repair: {_what(state.sheet, entry.claim)}",
                    walk=walk,
                    entry_id=entry.entry_id,
                    done_at=entry.at,
                )
                break


def _rechecks(book: UnitBook, walk: str, state: WalkState) -> Iterator[DefectEvent]:
    started, sheet = state.started, state.sheet
    assert started is not None
    for _, asked in state.rechecks:
        if (walk, sheet.id, asked.point_id) in book.asked:
            continue
        if not state.not_looked_at(asked.point_id):
            continue
        yield PointToRecheck(
            unit_id=started.unit_id,
            sheet_id=sheet.id,
            point_id=asked.point_id,
            point=sheet.points[asked.point_id].full_name,
            walk=walk,
            by=asked.by,
            reason=asked.reason,
        )
    for (sheet_id, point_id), recheck in book.rechecks.items():
        if sheet_id != sheet.id or point_id not in sheet.points:
            continue
        said = _spoken_of(state, point_id, recheck, walk)
        if said is not None:
            yield PointRechecked(
                sheet_id=sheet_id,
                point_id=point_id,
                walk=walk,
                entry_id=said.entry_id,
                by=said.by,
            )


def _spoken_of(state: WalkState, point_id: str, recheck: PointToRecheck, walk: str) -> Entry | None:
    """Return the entry that answers a recheck; one of the walk it was asked in only if it came later."""
    if recheck.walk == walk and state.not_looked_at(point_id):
        return None
    carried_here = point_id in state.look_again
    if not carried_here or state.not_looked_at(point_id):
        return None
    found = [e for e in state.standing() if e.claim.point_id == point_id]
    return found[-1] if found else None


def _who_changed(state: WalkState, entry: Entry) -> tuple[str, Role, str, datetime | None]:
    """Return who made an entry say something else, in which role, why, and when.

    One that another entry took the place of was changed when that was said, by who said it.
    """
    changes = [(at, c) for at, c in entry.changes if not isinstance(c, EntryConfirmed)]
    if not changes:
        new = next((e for e in state.entries.values() if e.logged.corrects == entry.entry_id), entry)
        return new.by, "operator", "corrected by the operator", new.at
    at, last = changes[-1]
    said = "withdrawn" if isinstance(last, EntryWithdrawn) else "corrected"
    in_the_walk = isinstance(last, DoubtSettled | EntryWithdrawn) and last.heard is not None
    return last.by, "operator" if in_the_walk else "officer", last.reason or said, at
