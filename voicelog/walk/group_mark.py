"""A group mark: the points of a stop of which nothing was said, marked sound together. Pure.

Asked for, it does nothing but read back what it would mark; only a sure "affirmative" as the next
thing said marks it. It never covers a point that anything was said of, one with a required reading or
a timed test, one with a carried defect, or one that is to be looked at again.
"""

from __future__ import annotations

from voicelog.meaning.facts import Heard
from voicelog.phrases.commands import MARK_THE_REST
from voicelog.sheet.model import Point
from voicelog.walk.entries import points_meant
from voicelog.walk.events import CommandHeard, GroupMarkAsked, GroupMarked, GroupMarkReopened
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.said_back import operator_of
from voicelog.walk.state import WalkState

NAME = MARK_THE_REST
DROPPED = Reply("answer", "nothing was marked")
ANSWER_S = 20.0
"""How long after the request its answer may begin, and :data:`NAME_S` more for each name read back:
our own estimate, no published source."""
NAME_S = 3.0


def may_be_marked(state: WalkState) -> tuple[Point, ...]:
    """Return the points of this stop that a group mark may cover, in walking order."""
    return tuple(p for p in state.left_at(state.stop_id) if not _kept_out(state, p))


def left_open(state: WalkState) -> tuple[Point, ...]:
    """Return the points of this stop that a group mark leaves open or in doubt, in walking order."""
    points = state.sheet.stop(state.stop_id).points
    return tuple(p for p in points if state.status(p.id) in ("open", "doubt") and _kept_out(state, p))


def _kept_out(state: WalkState, point: Point) -> bool:
    spoken = any(
        point.id in points_meant(e)
        or point.id in (e.claim.point_id, e.logged.claim.point_id)
        or any(point.id == c.claim.point_id for d in e.logged.doubts for c in d.candidates)
        for e in state.entries.values()
    )
    return (
        spoken
        or bool(point.timed)
        or any(r.required for r in (*point.readings, *point.measured))
        or point.id in state.look_again
        or any(d.here and d.point_id == point.id for d in state.carried)
        or any(remark.point_id == point.id for _, remark in state.remarks)
        or any(run.point_id == point.id for run in state.runs.values())
    )


def ask(state: WalkState, heard: Heard) -> Outcome:
    """Return the read-back of what would be marked; nothing is marked yet."""
    points, kept = may_be_marked(state), left_open(state)
    open_ = f"; still open: {_names(kept)}" if kept else ""
    if state.caution is not None or not points:
        said = CommandHeard(command=NAME, heard=heard)
        return Outcome((said,), (Reply("answer", f"nothing here can be marked{open_}"),))
    event = GroupMarkAsked(stop_id=state.stop_id, point_ids=tuple(p.id for p in points), heard=heard)
    return Outcome((event,), (Reply("caution", read_back(state, event)),))


def read_back(state: WalkState, asked: GroupMarkAsked) -> str:
    """Return the question that a group mark is asked with: number and names, and what stays open."""
    points = tuple(state.sheet.points[i] for i in asked.point_ids)
    kept = left_open(state)
    open_ = f" Still open: {_names(kept)}." if kept else ""
    number = f"{len(points)} {'point' if len(points) == 1 else 'points'}"
    return f"mark {number} sound: {_names(points)}?{open_} Affirmative or negative?"


def affirm(state: WalkState, asked: GroupMarkAsked, heard: Heard) -> Outcome:
    """Return the mark that was read back last; nothing where the answer came too late."""
    free = {p.id for p in may_be_marked(state)}
    late = heard.how == asked.heard.how == "speech" and (
        heard.start_s - asked.heard.end_s > ANSWER_S + NAME_S * len(asked.point_ids)
    )
    if late or not free.issuperset(asked.point_ids):
        return Outcome((CommandHeard(command="affirmative", heard=heard),), (DROPPED,))
    event = GroupMarked(
        stop_id=asked.stop_id,
        point_ids=asked.point_ids,
        by=operator_of(state),
        asked=asked.heard,
        heard=heard,
    )
    number = f"{len(asked.point_ids)} {'point' if len(asked.point_ids) == 1 else 'points'}"
    return Outcome((event,), (Reply("taken", f"{number} sound, by group mark; the officer confirms"),))


def refuse(heard: Heard, name: str = "negative") -> Outcome:
    """Return that the question was answered otherwise: nothing is marked."""
    return Outcome((CommandHeard(command=name, heard=heard),), (DROPPED,))


def take_back(
    state: WalkState, mark: GroupMarked, heard: Heard, reason: str = "disregarded by voice"
) -> Outcome:
    """Return the whole mark taken back by voice."""
    event = GroupMarkReopened(point_ids=mark.point_ids, by=operator_of(state), reason=reason, heard=heard)
    number = f"{len(mark.point_ids)} {'point' if len(mark.point_ids) == 1 else 'points'}"
    return Outcome((event,), (Reply("taken", f"disregarded: {number} open again"),))


def _names(points: tuple[Point, ...]) -> str:
    return ", ".join(p.full_name for p in points)
