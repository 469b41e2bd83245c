"""How much of a walk was covered, and how each point stands, in words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from voicelog.reports.entries import Wording, full_time
from voicelog.reports.parts import MissingPart
from voicelog.sheet.model import Point, Sheet
from voicelog.walk.state import WalkState

NOT_INSPECTED = "not inspected"


def numbers_of(sheet: Sheet) -> dict[str, int]:
    """Return the place of each point in walking order, from 1."""
    return {point_id: number for number, point_id in enumerate(sheet.points, 1)}


def completeness(state: WalkState, missing: int) -> str:
    """Return how many of the required points are covered."""
    covered = f"{state.covered} of {state.required} required points are covered"
    if state.finished is None:
        last = full_time(state.last_at) if state.last_at else ""
        return f"Not finished: {covered}. This is how the inspection stood at {last}."
    return f"Complete: {covered}." if not missing else f"Not complete: {covered}, {missing} missing."


def missing_point(state: WalkState, point: Point) -> str:
    """Return a point with its stop: ``left brake hose (left front): not inspected``."""
    stop = state.sheet.stop(point.stop_id)
    return f"{point.full_name} ({stop.name}): {point_words(state, point)}"


def missing_by_stop(state: WalkState) -> tuple[MissingPart, ...]:
    """Return the required points that are not covered, by stop, each with its number in walking order."""
    numbers = numbers_of(state.sheet)

    def named(point: Point) -> str:
        words = point_words(state, point)
        told = "" if words == NOT_INSPECTED else f" ({words})"
        return f"{numbers[point.id]} {point.full_name}{told}"

    return tuple(
        MissingPart(state.sheet.stop(stop_id).name, tuple(named(point) for point in points))
        for stop_id, points in groupby(state.missing(), key=lambda point: point.stop_id)
    )


def since_the_end(at_end: Sequence[str], missing: Sequence[str], wording: Wording) -> tuple[str, ...]:
    """Return how the missing points differ from those when the walk was ended, in words."""
    covered = "; ".join(wording.point(point) for point in at_end if point not in missing)
    again = "; ".join(wording.point(point) for point in missing if point not in at_end)
    return tuple(
        f"{words}: {points}."
        for words, points in (
            ("Missing when the inspection was ended, covered since", covered),
            ("Covered when the inspection was ended, open again since", again),
        )
        if points
    )


def point_words(state: WalkState, point: Point) -> str:
    """Return how a point stands: ``sound``, ``not inspected``, ``not complete: travel not given``."""
    left_out = [point.reading(reading_id).name for reading_id in state.readings_missing(point.id)]
    not_given = f"{', '.join(left_out)} not given" if left_out else ""
    match state.status(point.id):
        case "open" if state.of_point(point.id):
            return f"not complete: {not_given}"
        case "open":
            return NOT_INSPECTED if point.required else f"{NOT_INSPECTED} (not required)"
        case "doubt":
            return "in doubt"
        case "defect":
            doubt = "; also in doubt" if any(e.in_doubt for e in state.of_point(point.id)) else ""
            return f"defect{doubt}" + (f"; {not_given}" if not_given else "")
        case "sound" if state.by_group_mark(point.id):
            confirmed = dict(state.marks.confirmed).get(point.id)
            done = f"confirmed by {confirmed}" if confirmed else "not confirmed"
            return f"sound, by group mark ({done})"
        case "sound":
            return "sound"
