"""The state of a walk: its events, folded.

Everything a screen or a report shows of a walk is read from :class:`WalkState`. :func:`apply` is
pure; the same events always give the same state, which is how a walk is resumed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from voicelog.meaning.claims import aspect_of
from voicelog.sheet.model import Caution, Point, Sheet
from voicelog.walk.entries import Change, Entry, EntryStatus, PointStatus, points_meant
from voicelog.walk.events import (
    CarriedDefect,
    CautionAffirmed,
    CautionRefused,
    Claim,
    CommandHeard,
    DefectAcknowledged,
    DefectsCarried,
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryLogged,
    EntryWithdrawn,
    Event,
    GroupMarkAsked,
    GroupMarkConfirmed,
    GroupMarked,
    GroupMarkReopened,
    NotUnderstood,
    PointNamed,
    QuestionAsked,
    RecheckAsked,
    RemarkLogged,
    RemarkPointAsked,
    RemarkTranscribed,
    SignedOff,
    SoundBack,
    SoundLost,
    SoundMissed,
    StopEntered,
    StreamEnded,
    TimedTestCancelled,
    TimedTestMarked,
    TimedTestStarted,
    TimedTestStopped,
    WalkFinished,
    WalkResumed,
    WalkStarted,
)
from voicelog.walk.marked import NO_MARKS, Marks, after_mark
from voicelog.walk.remarks import transcribed
from voicelog.walk.runs import TimedRun, after_timed

DROPS_THE_REMARK = CommandHeard | EntryLogged | PointNamed | StopEntered | WalkResumed
"""Once one of these has come, nobody waits any more to hear which point a remark is to be on."""

SoundEvent = SoundLost | SoundBack | SoundMissed | StreamEnded

__all__ = [
    "AskedCaution",
    "Change",
    "Entry",
    "EntryStatus",
    "LookAgain",
    "PointStatus",
    "SoundEvent",
    "WalkState",
    "after",
    "apply",
    "fold",
    "matter_of",
    "speaks_of",
]


@dataclass(frozen=True, slots=True)
class AskedCaution:
    """A caution that has to be affirmed before anything can be logged where the operator stands."""

    stop_id: str
    """Empty for a caution of the sheet itself."""
    number: int
    """Its place among the cautions of its stop, or of the sheet, from 1."""
    caution: Caution


@dataclass(frozen=True, slots=True)
class LookAgain:
    """What must be said of a point again before it counts as covered."""

    matters: tuple[str, ...]
    """Each must be spoken of; where there is none, anything said of the point will do."""
    after: int
    """How many entries the walk had when this was asked."""


@dataclass(frozen=True, slots=True)
class WalkState:
    """One inspection of one unit with one sheet, up to its last event."""

    sheet: Sheet
    started: WalkStarted | None = None
    started_at: datetime | None = None
    operators: tuple[str, ...] = ()
    """Whoever began the walk, and then each who took it up; the last one walks now."""
    last_at: datetime | None = None
    clock_set_back: bool = False
    """Whether an event has a time before that of the event ahead of it. The order is the events'."""
    stop_id: str = ""
    affirmed: frozenset[tuple[str, int]] = frozenset()
    """Stop ("" for the sheet) and number of each caution that is affirmed. All lapse when a walk is
    resumed: nobody knows what was started, moved or lowered meanwhile."""
    gate_events: tuple[tuple[datetime, CautionAffirmed | CautionRefused], ...] = ()
    """Every answer to a caution, in order."""
    named: str | None = None
    """The point last named by the operator at this stop."""
    prompted: str | None = None
    """The point that comes next in walking order and is shown as such."""
    standing_by: bool = False
    remark_point: str | None = None
    in_remark: bool = False
    remark_on: tuple[str, ...] = ()
    """The points of which it was asked which one a remark is to be on."""
    remark_id: str | None = None
    """The first part of the remark that is taken; None before it."""
    asked: str | None = None
    """The entry whose question was asked last and is not answered."""
    last_entry: str | None = None
    entries: dict[str, Entry] = field(default_factory=dict)
    """In the order they were logged."""
    remarks: tuple[tuple[datetime, RemarkLogged], ...] = ()
    not_understood: tuple[tuple[datetime, NotUnderstood], ...] = ()
    sound_lost: bool = False
    """Whether the microphone has dropped out and is not back."""
    sound: tuple[tuple[datetime, SoundEvent], ...] = ()
    """What befell the microphone."""
    finished: WalkFinished | None = None
    finished_at: datetime | None = None
    signatures: tuple[tuple[datetime, SignedOff], ...] = ()
    signature_numbers: tuple[int, ...] = ()
    """For each signature, its place among the walk's events, from 1."""
    events: int = 0
    carried: tuple[CarriedDefect, ...] = ()
    """Defects of earlier walks, in the order they are read out."""
    acknowledged: tuple[tuple[datetime, DefectAcknowledged], ...] = ()
    look_again: dict[str, LookAgain] = field(default_factory=dict)
    """By point: what must be looked at again in this walk."""
    rechecks: tuple[tuple[datetime, RecheckAsked], ...] = ()
    runs: dict[str, TimedRun] = field(default_factory=dict)
    """Runs of timed tests, by id, in the order they were started."""
    marks: Marks = NO_MARKS
    """What was marked sound by group."""

    @property
    def running(self) -> TimedRun | None:
        """The timed test whose clock is running; at most one is."""
        return next((run for run in self.runs.values() if run.status == "running"), None)

    # the safety gate ------------------------------------------------------------------------

    @property
    def caution(self) -> AskedCaution | None:
        """The caution that is asked now: the sheet's own first, then those of the stop; None when open."""
        if self.started is None or self.finished is not None:
            return None
        return self.closed_by("") or self.closed_by(self.stop_id)

    def closed_by(self, stop_id: str) -> AskedCaution | None:
        """Return the first caution of a stop (of the sheet: "") that is not affirmed; None when open."""
        gate = self.sheet.stop(stop_id).gate if stop_id else self.sheet.gate
        for number, caution in enumerate(gate, 1):
            if (stop_id, number) not in self.affirmed:
                return AskedCaution(stop_id, number, caution)
        return None

    def is_open(self, stop_id: str) -> bool:
        """Return whether the cautions of the sheet and of a stop are affirmed."""
        return self.started is None or (self.closed_by("") is None and self.closed_by(stop_id) is None)

    # what stands ----------------------------------------------------------------------------

    def of_point(self, point_id: str) -> tuple[Entry, ...]:
        """Return the entries of a point that stand or are in doubt, in order."""
        return tuple(
            e
            for e in self.entries.values()
            if (e.status == "standing" and e.claim.point_id == point_id)
            or (e.status == "doubt" and point_id in points_meant(e))
        )

    def standing(self) -> tuple[Entry, ...]:
        """Return the entries that count, in order."""
        return tuple(e for e in self.entries.values() if e.status == "standing")

    def doubts(self) -> tuple[Entry, ...]:
        """Return the entries that a person has yet to settle, in order."""
        return tuple(e for e in self.entries.values() if e.status == "doubt")

    def defects(self) -> tuple[Entry, ...]:
        """Return the standing entries that report a defect, worst class first."""
        classes = self.sheet.lexicon.classes

        worst = max((known.rank for known in classes.values()), default=0)

        def rank(entry: Entry) -> int:
            # A value outside its limit has no class; it is not less than the worst that has.
            known = classes.get(entry.claim.class_id or "")
            return -known.rank if known else -worst

        return tuple(sorted((e for e in self.standing() if e.claim.polarity == "defect"), key=rank))

    def status(self, point_id: str) -> PointStatus:
        """Return how a point stands. One doubt outweighs any number of sound entries.

        A point is sound only when something sound was said of it, nothing else is open, and every
        reading that the sheet requires of it was given.
        """
        entries = self.of_point(point_id)
        if any(e.status == "standing" and e.claim.polarity == "defect" for e in entries):
            return "defect"
        if any(e.in_doubt for e in entries):
            return "doubt"
        if point_id in self.marks.points and not entries and not self.readings_missing(point_id):
            return "open" if self.not_looked_at(point_id) else "sound"
        if not entries or self.readings_missing(point_id) or self.not_looked_at(point_id):
            return "open"
        return "sound"

    def by_group_mark(self, point_id: str) -> bool:
        """Return whether a point is sound by group mark alone."""
        return point_id in self.marks.points and self.status(point_id) == "sound"

    def not_looked_at(self, point_id: str) -> bool:
        """Return whether a point is to be looked at again, and something asked of it was not said since."""
        asked = self.look_again.get(point_id)
        if asked is None:
            return False
        said = [
            entry.claim
            for entry in tuple(self.entries.values())[asked.after :]
            if entry.status == "standing" and entry.claim.point_id == point_id
        ]
        return not said or any(
            not any(speaks_of(self.sheet, claim, matter) for claim in said) for matter in asked.matters
        )

    def carried_at(self, point_id: str) -> tuple[CarriedDefect, ...]:
        """Return the carried defects of a point of this sheet."""
        return tuple(d for d in self.carried if d.here and d.point_id == point_id)

    @property
    def to_acknowledge(self) -> CarriedDefect | None:
        """The carried defect that is to be acknowledged next, in the order they are read out."""
        done = {event.defect_id for _, event in self.acknowledged}
        return next((d for d in self.carried if d.defect_id not in done), None)

    def readings_missing(self, point_id: str) -> tuple[str, ...]:
        """Return the ids of the required readings that were not given for a point."""
        given = {e.claim.reading_id for e in self.of_point(point_id) if e.status == "standing"}
        point = self.sheet.points[point_id]
        computed = {c.reading.id: c for c in point.computed}
        return tuple(
            r.id
            for r in point.measured
            if r.required
            and r.id not in given
            # A result is missing only where it could be computed: otherwise its readings are.
            and (r.id not in computed or all(i in given for i in computed[r.id].needed))
        )

    def missing(self) -> tuple[Point, ...]:
        """Return the required points that are not covered, in walking order.

        A defect covers its point: it has been looked at. A doubt does not.
        """
        return tuple(
            p
            for p in self.sheet.points.values()
            if self._wanted(p) and self.status(p.id) in ("open", "doubt")
        )

    def _wanted(self, point: Point) -> bool:
        """Return whether a point must be covered: the sheet says so, or it must be looked at again."""
        return point.required or point.id in self.look_again

    def left_at(self, stop_id: str) -> tuple[Point, ...]:
        """Return the points of a stop that nothing has been said of yet, in walking order."""
        return tuple(p for p in self.sheet.stop(stop_id).points if self.status(p.id) == "open")

    @property
    def covered(self) -> int:
        """How many required points are covered."""
        return self.required - len(self.missing())

    @property
    def required(self) -> int:
        """How many points must be covered."""
        return sum(1 for p in self.sheet.points.values() if self._wanted(p))


def speaks_of(sheet: Sheet, claim: Claim, matter: str) -> bool:
    """Return whether a claim answers for a matter: the same aspect or reading, or "good" for all."""
    if claim.reading_id is not None:
        return matter == f"reading:{claim.reading_id}"
    return not matter.startswith("reading:") and aspect_of(sheet, claim) in (matter, "general")


def matter_of(sheet: Sheet, claim: Claim) -> str:
    """Return what of its point a claim is about: the aspect, or ``reading:`` and the reading's id."""
    return f"reading:{claim.reading_id}" if claim.reading_id is not None else aspect_of(sheet, claim) or ""


def fold(sheet: Sheet, events: Iterable[tuple[datetime, Event]]) -> WalkState:
    """Return the state after the events, oldest first: as :func:`apply` gives it one by one."""
    state = WalkState(sheet)
    for at, event in events:
        if isinstance(event, CommandHeard):
            # What comes next is worked out only where it matters; it looks at every entry.
            state = replace(state, prompted=_next_point(state))
        state = _apply(replace(state, last_at=at, events=state.events + 1), event, at)
    return replace(state, prompted=_next_point(state)) if state.events else state


def after(state: WalkState, *events: Event) -> WalkState:
    """Return what the state will be once the events are committed, for what is to be said then."""
    at = state.last_at or datetime.min.replace(tzinfo=UTC)
    for event in events:
        state = apply(state, event, at)
    return state


def apply(state: WalkState, event: Event, at: datetime) -> WalkState:
    """Return the state after one more event."""
    back = state.clock_set_back or (state.last_at is not None and at < state.last_at)
    state = _apply(replace(state, last_at=at, events=state.events + 1, clock_set_back=back), event, at)
    return replace(state, prompted=_next_point(state))


def _apply(state: WalkState, event: Event, at: datetime) -> WalkState:
    state = replace(state, marks=after_mark(state.marks, event))
    if state.remark_on and isinstance(event, DROPS_THE_REMARK):
        state = replace(state, remark_on=())
    match event:
        case GroupMarkAsked() | GroupMarked():
            # Nothing said before can be meant by "affirmative", "disregard" or "correction" now.
            return replace(state, asked=None, last_entry=None)
        case GroupMarkConfirmed() | GroupMarkReopened():
            return state
        case WalkStarted():
            first = state.sheet.stops[0].id
            return replace(state, started=event, started_at=at, stop_id=first, operators=(event.operator,))
        case StopEntered(stop_id=stop_id):
            return replace(state, stop_id=stop_id, named=None, asked=None)
        case CautionAffirmed():
            affirmed = state.affirmed | {(event.stop_id, event.number)}
            return replace(state, affirmed=affirmed, gate_events=(*state.gate_events, (at, event)))
        case CautionRefused():
            # Said at once after it was affirmed, it takes that back.
            affirmed = state.affirmed - {(event.stop_id, event.number)}
            return replace(state, affirmed=affirmed, gate_events=(*state.gate_events, (at, event)))
        case QuestionAsked(entry_id=entry_id):
            return replace(state, asked=entry_id, last_entry=entry_id)
        case PointNamed(point_id=point_id):
            return replace(state, named=point_id, stop_id=state.sheet.points[point_id].stop_id)
        case EntryLogged():
            return _logged(state, event, at)
        case DoubtSettled(entry_id=entry_id, claim=claim, heard=heard):
            state = _changed(state, entry_id, event, at, claim=claim, status="standing")
            state = replace(state, asked=None if state.asked == entry_id else state.asked)
            here = state.sheet.points[claim.point_id].stop_id == state.stop_id
            # Answered by voice: the point that the answer was about is the one at hand.
            return replace(state, named=claim.point_id) if heard is not None and here else state
        case EntryCorrected(entry_id=entry_id, claim=claim):
            return _changed(state, entry_id, event, at, claim=claim, status="standing")
        case EntryConfirmed(entry_id=entry_id):
            return _changed(state, entry_id, event, at)
        case EntryWithdrawn(entry_id=entry_id):
            state = _changed(state, entry_id, event, at, status="withdrawn")
            asked = None if state.asked == entry_id else state.asked
            last = None if state.last_entry == entry_id else state.last_entry
            return replace(state, asked=asked, last_entry=last)
        case RemarkPointAsked(point_ids=point_ids):
            return replace(state, remark_on=point_ids)
        case RemarkLogged():
            remark_id = event.continues or event.remark_id if state.in_remark else None
            return replace(state, remarks=(*state.remarks, (at, event)), remark_id=remark_id)
        case RemarkTranscribed():
            return replace(state, remarks=tuple((t, transcribed(r, event)) for t, r in state.remarks))
        case NotUnderstood():
            return replace(state, not_understood=(*state.not_understood, (at, event)))
        case CommandHeard(command=command):
            return _commanded(state, command, event.point_id)
        case DefectsCarried():
            return _carried(state, event)
        case DefectAcknowledged():
            return replace(state, acknowledged=(*state.acknowledged, (at, event)))
        case RecheckAsked(point_id=point_id):
            again = {**state.look_again, point_id: LookAgain((), len(state.entries))}
            return replace(state, look_again=again, rechecks=(*state.rechecks, (at, event)))
        case TimedTestStarted(point_id=point_id):
            state = replace(state, runs=after_timed(state.runs, event, at), named=point_id)
            # Nothing that was said before can be meant by "disregard" or "correction" now.
            stop_id = state.sheet.points[point_id].stop_id
            return replace(state, stop_id=stop_id, last_entry=None, asked=None)
        case TimedTestMarked() | TimedTestStopped():
            return replace(state, runs=after_timed(state.runs, event, at), last_entry=None)
        case TimedTestCancelled():
            return replace(state, runs=after_timed(state.runs, event, at))
        case SoundLost() | SoundBack() | SoundMissed() | StreamEnded():
            lost = isinstance(event, SoundLost) or (isinstance(event, SoundMissed) and state.sound_lost)
            return replace(state, sound=(*state.sound, (at, event)), sound_lost=lost)
        case WalkResumed(operator=operator, standing_by=standing_by):
            state = replace(state, operators=(*state.operators, operator), sound_lost=False)
            state = replace(state, in_remark=False, remark_point=None, remark_id=None)
            return replace(state, standing_by=standing_by, affirmed=frozenset())
        case WalkFinished():
            return replace(state, finished=event, finished_at=at, asked=None, in_remark=False)
        case SignedOff():
            return replace(
                state,
                signatures=(*state.signatures, (at, event)),
                signature_numbers=(*state.signature_numbers, state.events),
            )


def _carried(state: WalkState, event: DefectsCarried) -> WalkState:
    # A sheet may have lost a point since; its defect is still read out and acknowledged.
    points = state.sheet.points
    again = {r.point_id: LookAgain((), 0) for r in event.rechecks if r.point_id in points}
    for defect in event.defects:
        if defect.look_again and defect.point_id in points:
            before = again.get(defect.point_id, LookAgain((), 0))
            again[defect.point_id] = LookAgain((*before.matters, defect.matter), 0)
    return replace(state, carried=event.defects, look_again=again)


def _logged(state: WalkState, event: EntryLogged, at: datetime) -> WalkState:
    entries = dict(state.entries)
    if event.corrects is not None and event.corrects in entries and not event.doubts:
        entries[event.corrects] = replace(entries[event.corrects], status="replaced")
        entries = _without_results_of(event.corrects, entries)
    status: EntryStatus = "doubt" if event.doubts else "standing"
    marked = state.marks.without(points_meant(Entry(event, at, event.claim, status)))
    state = replace(state, marks=marked)
    if event.computed_from:
        # It was not said: what is asked, corrected or disregarded next is what was said last.
        entries = _without_result(event.claim, entries)
        return replace(state, entries={**entries, event.entry_id: Entry(event, at, event.claim, status)})
    entries[event.entry_id] = Entry(event, at, event.claim, status)
    state = replace(state, entries=entries, last_entry=event.entry_id)
    if event.doubts:
        return replace(state, asked=event.entry_id)
    point = state.sheet.points[event.claim.point_id]
    return replace(state, named=point.id, stop_id=point.stop_id, asked=None)


def _changed(
    state: WalkState,
    entry_id: str,
    event: Change,
    at: datetime,
    *,
    claim: Claim | None = None,
    status: EntryStatus | None = None,
) -> WalkState:
    entry = state.entries[entry_id]
    changed = replace(
        entry,
        claim=claim or entry.claim,
        status=status or entry.status,
        changes=(*entry.changes, (at, event)),
    )
    entries = {**state.entries, entry_id: changed}
    if not isinstance(event, EntryConfirmed):
        state = replace(state, marks=state.marks.without(points_meant(entry) | points_meant(changed)))
    corrects = entry.logged.corrects
    if status == "standing" and corrects is not None and corrects in entries:
        entries[corrects] = replace(entries[corrects], status="replaced")
        entries = _without_results_of(corrects, entries)
    if not isinstance(event, EntryConfirmed):
        entries = _without_results_of(entry_id, entries)
    return replace(state, entries=entries)


def _without_results_of(entry_id: str, entries: dict[str, Entry]) -> dict[str, Entry]:
    """Return the entries where no result counts that was computed from one that was changed."""
    return {
        key: replace(e, status="replaced") if entry_id in e.logged.computed_from else e
        for key, e in entries.items()
    }


def _without_result(claim: Claim, entries: dict[str, Entry]) -> dict[str, Entry]:
    """Return the entries where no earlier result of the same reading counts."""
    same = (claim.point_id, claim.reading_id)
    return {
        key: replace(e, status="replaced")
        if e.logged.computed_from and (e.claim.point_id, e.claim.reading_id) == same
        else e
        for key, e in entries.items()
    }


def _commanded(state: WalkState, command: str, said_on: str | None) -> WalkState:
    match command:
        case "stand by":
            return replace(state, standing_by=True)
        case "resume":
            return replace(state, standing_by=False)
        case "remark":
            point_id = said_on or state.named or state.prompted
            return replace(state, in_remark=True, remark_point=point_id, remark_id=None)
        case "end of remark":
            return replace(state, in_remark=False, remark_point=None, remark_id=None)
        case _:
            return state


def _next_point(state: WalkState) -> str | None:
    """Return the point that comes next: the one last named while a reading of it is missing,
    otherwise the next open one after it in walking order at this stop."""
    if not state.stop_id:
        return None
    points = [p.id for p in state.sheet.stop(state.stop_id).points]
    named = state.named
    if state.running is not None and state.running.point_id in points:
        return state.running.point_id
    if named in points and state.status(named) == "open" and state.of_point(named):
        return named
    for point_id in points:
        # What the shop has worked on, and what the officer wants seen again, comes first.
        if state.not_looked_at(point_id) and state.status(point_id) == "open" and point_id != named:
            return point_id
    after = points.index(state.named) + 1 if state.named in points else 0
    for point_id in (*points[after:], *points[:after]):
        if state.status(point_id) == "open" and point_id != state.named:
            return point_id
    return None
