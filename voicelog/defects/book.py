"""The defects of one unit as they stand: its events, folded. Pure; the same events give the same book."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from voicelog.defects.events import (
    DefectClosed,
    DefectConfirmed,
    DefectDeferred,
    DefectEvent,
    DefectHeard,
    DefectRead,
    DefectReopened,
    DefectRepaired,
    DefectsEntered,
    HearingTakenBack,
    NoRepairNeeded,
    OfADefect,
    PointRechecked,
    PointToRecheck,
    RepairCertified,
    SaidSound,
    SentToShop,
    SoundTakenBack,
    happened_at,
)
from voicelog.defects.life import AFTER_WORK, ENDED, Act, State, after
from voicelog.defects.removal_events import SoundRemoved, WalksRemoved
from voicelog.errors import DefectError

Work = DefectRepaired | NoRepairNeeded
_DECIDED = DefectDeferred | SentToShop | DefectRepaired | NoRepairNeeded | RepairCertified | DefectReopened
"""After one of these, what stood before a hearing cannot come back by itself."""


@dataclass(frozen=True, slots=True)
class Ended:
    """What hearings ended: a deferral, a confirmation or the work of the shop, as it stood before."""

    state: State
    by: frozenset[tuple[str, str]]
    """Walk and entry of the hearing that ended it, and of each that came after; those that stand."""
    certified_at: datetime | None
    acknowledged_since_certified: bool


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happened to a defect."""

    at: datetime
    """When it happened."""
    entered_at: datetime
    """When it was entered in the unit's record: later, where a walk was looked at later."""
    event: OfADefect


@dataclass(frozen=True, slots=True)
class Hearing:
    """One entry of one walk that says the defect."""

    said: DefectHeard
    standing: bool = True
    """False once the entry was withdrawn, or corrected to something else."""

    @property
    def key(self) -> tuple[str, str]:
        """Its walk and entry."""
        return self.said.walk, self.said.entry_id


@dataclass(frozen=True, slots=True)
class Defect:
    """One open or ended deficiency, with everything that happened to it."""

    defect_id: str
    first: DefectHeard
    state: State = "heard"
    hearings: tuple[Hearing, ...] = ()
    """In the order they were recorded; a replaced one is there once, as it now reads."""
    deferred_until: date | None = None
    said_sound: tuple[SaidSound, ...] = ()
    """What walks found sound while the defect was open."""
    acknowledged: tuple[tuple[datetime, DefectRead], ...] = ()
    acknowledged_since_certified: bool = False
    certified_at: datetime | None = None
    closed_by: tuple[str, str] | None = None
    """The walk and entry that closed it; empty texts where an officer did."""
    work: tuple[tuple[datetime, Work], ...] = ()
    history: tuple[tuple[datetime, OfADefect], ...] = ()
    """In the order it was entered, with when it was."""
    ended: Ended | None = None

    @property
    def is_open(self) -> bool:
        """Whether it still needs somebody."""
        return self.state not in ENDED

    @property
    def after_work(self) -> bool:
        """Whether its point must be looked at again because of what the shop did."""
        return self.state in AFTER_WORK

    @property
    def worst(self) -> DefectHeard:
        """The worst of what was heard and stands, the latest of those alike; else the first."""
        standing = [h.said for h in self.hearings if h.standing]
        return max(reversed(standing), key=lambda said: said.rank, default=self.first)

    @property
    def heard_at(self) -> datetime:
        """When it was first heard, of what stands."""
        return min((h.said.said_at for h in self.hearings if h.standing), default=self.first.said_at)

    @property
    def walks(self) -> frozenset[str]:
        """The walks that heard it, were told of it, or said its point is sound."""
        return frozenset(walk for _, event in self.history if (walk := getattr(event, "walk", "")))

    @property
    def happenings(self) -> tuple[Happening, ...]:
        """Everything that happened to it, in the order it happened."""
        found = (Happening(happened_at(at, event), at, event) for at, event in self.history)
        return tuple(sorted(found, key=lambda happening: happening.at))

    @property
    def worked_at(self) -> datetime | None:
        """When the shop's work that stands was recorded; None where none stands."""
        return self.work[-1][0] if self.after_work and self.work else None

    def restored_without(self, *keys: tuple[str, str]) -> State | None:
        """Return the state that comes back when these hearings are taken back; None where none does."""
        left = any(h.standing and h.key not in keys for h in self.hearings)
        if self.ended is None or not left or self.state not in ("heard", "confirmed"):
            return None
        return self.ended.state if self.ended.by <= set(keys) else None

    @property
    def key(self) -> tuple[str, str, str]:
        """What makes it the same defect when it is heard again: sheet, point and matter."""
        return self.first.sheet_id, self.first.point_id, self.first.matter

    @property
    def contradictions(self) -> tuple[SaidSound, ...]:
        """What was found sound since it was last heard, though nobody has recorded a repair."""
        if self.after_work or not self.is_open:
            return ()
        last = max((h.said.said_at for h in self.hearings if h.standing), default=self.first.said_at)
        return tuple(said for said in self.said_sound if said.said_at > last)

    def lapsed(self, today: date) -> bool:
        """Whether it is deferred to a day that has passed."""
        return self.state == "deferred" and self.deferred_until is not None and self.deferred_until < today

    def hearing(self, walk: str, entry_id: str) -> Hearing | None:
        """Return what an entry of a walk says of it, standing or not."""
        return next((h for h in self.hearings if h.key == (walk, entry_id)), None)


@dataclass(frozen=True, slots=True)
class UnitBook:
    """All defects of one unit, and the points an officer wants looked at again."""

    unit_id: str
    defects: dict[str, Defect] = field(default_factory=dict)
    """By id, in the order they were first heard."""
    rechecks: dict[tuple[str, str], PointToRecheck] = field(default_factory=dict)
    """By sheet and point; gone once the point was spoken of again."""
    asked: frozenset[tuple[str, str, str]] = frozenset()
    """Walk, sheet and point of every recheck ever asked for."""
    entered: dict[str, int] = field(default_factory=dict)
    """How many events of each walk were entered, by the walk's id."""
    events: int = 0

    def open(self) -> tuple[Defect, ...]:
        """Return the open defects, worst class first, then the oldest."""
        found = (d for d in self.defects.values() if d.is_open)
        return tuple(sorted(found, key=lambda d: (-d.worst.rank, d.heard_at, d.defect_id)))

    def defect(self, defect_id: str) -> Defect:
        """Return a defect; :class:`DefectError` when the unit has no such defect."""
        found = self.defects.get(defect_id)
        if found is None:
            known = ", ".join(d.defect_id for d in self.open()) or "none is open"
            raise DefectError(
                f"there is no defect {defect_id}", remedy=f"choose one that is on record: {known}"
            )
        return found

    def same(self, key: tuple[str, str, str]) -> Defect | None:
        """Return the open defect of a sheet, point and matter, or None."""
        return next((d for d in self.defects.values() if d.key == key and d.is_open), None)

    def last_closed(self, key: tuple[str, str, str]) -> Defect | None:
        """Return the defect of the same matter that was closed last, or None."""
        closed = [d for d in self.defects.values() if d.key == key and d.state == "closed"]
        return closed[-1] if closed else None


def fold(unit_id: str, events: Iterable[tuple[datetime, DefectEvent]]) -> UnitBook:
    """Return the book after the events, oldest first."""
    book = UnitBook(unit_id)
    for at, event in events:
        book = apply(book, event, at)
    return book


def apply(book: UnitBook, event: DefectEvent, at: datetime) -> UnitBook:
    """Return the book after one more event; :class:`DefectError` for what the life does not allow."""
    book = replace(book, events=book.events + 1)
    if isinstance(event, DefectsEntered):
        return replace(book, entered={**book.entered, event.walk: event.events})
    if isinstance(event, WalksRemoved | SoundRemoved):
        return book  # what it says of the walks is held against the book by voicelog.defects.retention
    if isinstance(event, PointToRecheck):
        key = (event.sheet_id, event.point_id)
        asked = book.asked | {(event.walk, *key)}
        return replace(book, rechecks={**book.rechecks, key: event}, asked=asked)
    if isinstance(event, PointRechecked):
        left = {k: v for k, v in book.rechecks.items() if k != (event.sheet_id, event.point_id)}
        return replace(book, rechecks=left)
    if isinstance(event, DefectHeard) and event.defect_id not in book.defects:
        changed = Defect(event.defect_id, event, hearings=(Hearing(event),))
    else:
        defect = book.defect(event.defect_id)
        changed = _changed(defect, event, at)
    changed = replace(changed, history=(*changed.history, (at, event)))
    return replace(book, defects={**book.defects, changed.defect_id: changed})


def act_of(defect: Defect, event: OfADefect) -> Act:
    """Return which act of the life an event is, where the defect stands."""
    match event:
        case DefectHeard(before_work=True):
            return "hear of before"
        case DefectHeard(rank=rank):
            return "hear worse" if rank > defect.worst.rank else "hear"
        case HearingTakenBack(walk=walk, entry_id=entry_id):
            others = [h for h in defect.hearings if h.standing and h.key != (walk, entry_id)]
            return "take back one" if others else "take back"
        case SaidSound():
            return "say sound"
        case SoundTakenBack(walk=walk, entry_id=entry_id):
            closing = defect.closed_by == (walk, entry_id)
            return "take back what closed" if closing else "take back sound"
        case DefectConfirmed():
            return "confirm"
        case DefectDeferred():
            return "defer"
        case SentToShop():
            return "send"
        case DefectRepaired():
            return "repair"
        case NoRepairNeeded():
            return "need no repair"
        case RepairCertified():
            return "certify"
        case DefectRead():
            return "acknowledge"
        case DefectClosed():
            return "close"
        case DefectReopened():
            return "reopen"


def _changed(defect: Defect, event: OfADefect, at: datetime) -> Defect:
    state = after(defect.state, act_of(defect, event), event.role, defect.defect_id)
    changed = replace(defect, state=state, ended=None if isinstance(event, _DECIDED) else defect.ended)
    if state in ("heard", "taken back"):
        changed = replace(changed, certified_at=None, acknowledged_since_certified=False)
    match event:
        case DefectHeard():
            return replace(
                changed, hearings=_heard(defect.hearings, event), ended=_ended(defect, state, event)
            )
        case HearingTakenBack():
            return _taken_back(defect, changed, event)
        case SaidSound():
            return replace(changed, said_sound=(*defect.said_sound, event))
        case SoundTakenBack(walk=walk, entry_id=entry_id):
            left = tuple(s for s in defect.said_sound if (s.walk, s.entry_id) != (walk, entry_id))
            return replace(changed, said_sound=left, closed_by=None)
        case DefectDeferred(until=until):
            return replace(changed, deferred_until=until)
        case DefectRepaired() | NoRepairNeeded():
            return replace(changed, work=(*defect.work, (at, event)))
        case RepairCertified():
            return replace(changed, certified_at=at, acknowledged_since_certified=False)
        case DefectRead():
            since = defect.acknowledged_since_certified or _read_certified(defect, event)
            read = (*defect.acknowledged, (at, event))
            return replace(changed, acknowledged=read, acknowledged_since_certified=since)
        case DefectClosed(walk=walk, entry_id=entry_id):
            if not defect.acknowledged_since_certified:
                raise DefectError(
                    "the repair is certified, but no operator has acknowledged it since",
                    where=defect.defect_id,
                    remedy="it is read out at the beginning of the unit's next walk",
                )
            return replace(changed, closed_by=(walk, entry_id))
        case _:
            return changed


def _ended(defect: Defect, state: State, heard: DefectHeard) -> Ended | None:
    """Return what a hearing ended, or what hearings before it had ended already."""
    key = (heard.walk, heard.entry_id)
    if defect.ended is not None:
        return replace(defect.ended, by=defect.ended.by | {key})
    if state == defect.state or defect.state not in ("confirmed", "deferred", *AFTER_WORK):
        return None
    return Ended(defect.state, frozenset((key,)), defect.certified_at, defect.acknowledged_since_certified)


def _taken_back(defect: Defect, changed: Defect, event: HearingTakenBack) -> Defect:
    key = (event.walk, event.entry_id)
    kept = (replace(h, standing=False) if h.key == key else h for h in defect.hearings)
    changed = replace(changed, hearings=tuple(kept))
    ended = defect.ended if changed.state != "taken back" else None
    if event.restores:
        if ended is None or event.restores != defect.restored_without(key):
            raise DefectError(
                f"a hearing that is taken back cannot make it {event.restores} again",
                where=defect.defect_id,
                remedy="the record was altered: compare it with a backup",
            )
        return replace(
            changed,
            state=ended.state,
            certified_at=ended.certified_at,
            acknowledged_since_certified=ended.acknowledged_since_certified,
            ended=None,
        )
    return replace(changed, ended=replace(ended, by=ended.by - {key}) if ended else None)


def _read_certified(defect: Defect, read: DefectRead) -> bool:
    """Return whether the operator was told of the certificate that stands now, and not of less."""
    certified_at = defect.certified_at
    return read.state == "certified" and certified_at is not None and read.read_at > certified_at


def _heard(hearings: tuple[Hearing, ...], event: DefectHeard) -> tuple[Hearing, ...]:
    made = Hearing(event)
    if any(h.key == made.key for h in hearings):
        return tuple(made if h.key == made.key else h for h in hearings)
    return (*hearings, made)
