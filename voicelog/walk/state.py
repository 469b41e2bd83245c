"""The state of a walk: its events, folded.

:func:`apply` is pure; the same events always give the same state, which is how a walk is resumed. The
state itself is in :mod:`voicelog.walk.standing`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime

from voicelog.sheet.model import Sheet
from voicelog.walk.entries import Change, Entry, EntryStatus, PointStatus
from voicelog.walk.entry_changes import changed, logged
from voicelog.walk.events import (
    CautionAffirmed,
    CautionRefused,
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
    WalkHandedOver,
    WalkResumed,
    WalkStarted,
)
from voicelog.walk.marked import after_mark
from voicelog.walk.remarks import transcribed
from voicelog.walk.runs import after_timed
from voicelog.walk.standing import AskedCaution, LookAgain, SoundEvent, WalkState, matter_of, speaks_of

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

DROPS_THE_REMARK = CommandHeard | EntryLogged | PointNamed | StopEntered | WalkHandedOver | WalkResumed
"""Once one of these has come, nobody waits any more to hear which point a remark is to be on."""


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
            return logged(state, event, at)
        case DoubtSettled(entry_id=entry_id, claim=claim, heard=heard):
            state = changed(state, entry_id, event, at, claim=claim, status="standing")
            state = replace(state, asked=None if state.asked == entry_id else state.asked)
            here = state.sheet.points[claim.point_id].stop_id == state.stop_id
            # Answered by voice: the point that the answer was about is the one at hand.
            return replace(state, named=claim.point_id) if heard is not None and here else state
        case EntryCorrected(entry_id=entry_id, claim=claim):
            return changed(state, entry_id, event, at, claim=claim, status="standing")
        case EntryConfirmed(entry_id=entry_id):
            return changed(state, entry_id, event, at)
        case EntryWithdrawn(entry_id=entry_id):
            state = changed(state, entry_id, event, at, status="withdrawn")
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
        case WalkHandedOver(operator=operator):
            state = replace(state, operators=(*state.operators, operator), standing_by=False)
            return replace(state, affirmed=frozenset(), asked=None, last_entry=None, named=None)
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
    points, so_far = state.sheet.points, len(state.entries)
    before = {defect.defect_id: defect for defect in state.carried}
    new = [defect for defect in event.defects if before.get(defect.defect_id) != defect]
    read_from = {**state.read_from, **{defect.defect_id: len(state.acknowledged) for defect in new}}
    again = dict(state.look_again)
    for recheck in event.rechecks:
        if recheck.point_id in points and recheck.point_id not in again:
            again[recheck.point_id] = LookAgain((), so_far)
    for defect in new:
        if defect.look_again and defect.point_id in points:
            asked = again.get(defect.point_id, LookAgain((), so_far))
            matters = dict.fromkeys((*asked.matters, defect.matter))
            again[defect.point_id] = LookAgain(tuple(matters), so_far)
    return replace(state, carried=event.defects, read_from=read_from, look_again=again)


def _commanded(state: WalkState, command: str, said_on: str | None) -> WalkState:
    match command:
        case "stand by" | "hand over":
            return replace(state, standing_by=True)
        case "resume":
            return replace(state, standing_by=False)
        case "remark":
            # While a defect is read out a remark that names no point is about that, or about the walk; at a
            # closed stop no point is at hand but one that was named.
            told = state.caution is None and state.to_acknowledge is not None
            at_hand = state.named or (state.prompted if state.caution is None else None)
            point_id = said_on or (None if told else at_hand)
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
