"""What group marks leave of themselves in a walk's state. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace

from voicelog.walk.events import (
    DefectsCarried,
    Event,
    GroupMarkAsked,
    GroupMarkConfirmed,
    GroupMarked,
    GroupMarkReopened,
    RecheckAsked,
    RemarkLogged,
    RemarkTranscribed,
    TimedTestStarted,
)


@dataclass(frozen=True, slots=True)
class Marks:
    """The group marks of a walk that stand, and what may be answered or taken back now."""

    asked: GroupMarkAsked | None = None
    """What was read back last, while nothing else has happened since."""
    last: GroupMarked | None = None
    """The mark that was made last, while nothing else has happened since."""
    of_points: tuple[tuple[str, GroupMarked], ...] = ()
    """Each point that is sound by group mark, in the order they were marked."""
    confirmed: tuple[tuple[str, str], ...] = ()
    """Points whose mark an officer has confirmed, and who did."""

    @property
    def points(self) -> frozenset[str]:
        """The points that a group mark covers."""
        return frozenset(point_id for point_id, _ in self.of_points)

    @property
    def unconfirmed(self) -> tuple[str, ...]:
        """The points whose mark no officer has confirmed."""
        done = {point_id for point_id, _ in self.confirmed}
        return tuple(point_id for point_id, _ in self.of_points if point_id not in done)

    def without(self, points: frozenset[str]) -> Marks:
        """Return the marks where none of ``points`` is covered."""
        return replace(
            self,
            of_points=tuple(m for m in self.of_points if m[0] not in points),
            confirmed=tuple(c for c in self.confirmed if c[0] not in points),
        )


NO_MARKS = Marks()


def after_mark(marks: Marks, event: Event) -> Marks:
    """Return the marks after an event. Whatever a person does ends a question that was not answered."""
    if isinstance(event, RemarkTranscribed):
        return marks  # made behind the walk's back: nobody did anything
    if marks is NO_MARKS and not isinstance(event, GroupMarkAsked):
        return marks
    marks = replace(marks, asked=None, last=None)
    match event:
        case GroupMarkAsked():
            return replace(marks, asked=event)
        case GroupMarked(point_ids=ids):
            marks = marks.without(frozenset(ids))
            return replace(marks, last=event, of_points=(*marks.of_points, *((i, event) for i in ids)))
        case GroupMarkConfirmed(point_ids=ids, by=by):
            kept = tuple(c for c in marks.confirmed if c[0] not in ids)
            return replace(marks, confirmed=(*kept, *((i, by) for i in ids if i in marks.points)))
        case GroupMarkReopened(point_ids=ids):
            return marks.without(frozenset(ids))
        case DefectsCarried(defects=defects):
            return marks.without(frozenset(d.point_id for d in defects if d.here))
        case TimedTestStarted(point_id=point_id) | RecheckAsked(point_id=point_id):
            return marks.without(frozenset((point_id,)))
        case RemarkLogged(point_id=str(point_id)):
            return marks.without(frozenset((point_id,)))
        case _:
            return marks
