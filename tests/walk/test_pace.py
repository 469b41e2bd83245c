"""Pace that no inspection could have: where the officer is told, and where not."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.walk.reviewing import START, logged, said, sheet, started
from voicelog.meaning.facts import Heard, How
from voicelog.walk.agenda import agenda
from voicelog.walk.events import EntryLogged, Event, GroupMarked
from voicelog.walk.pace import hurried
from voicelog.walk.state import WalkState, fold

POINTS = ("wheel_chocks", "cab_prop", "tilt_pump", "tilt_fluid", "tilt_hoses", "steering_gear", "coolant")


def sound(point_id: str, number: int, how: How = "keyboard", end_s: float = 0.0) -> EntryLogged:
    """Return an entry that finds a point sound."""
    entry = logged(f"e{number}", said(point_id, "good"))
    return entry.model_copy(update={"heard": Heard(text="good", how=how, end_s=end_s)})


def paced(seconds: float, points: int, how: How = "keyboard", spoken: float = 0.0) -> WalkState:
    """Return a walk of sound points, so many seconds apart by the clock and by the sound."""
    events: list[Event] = [started()]
    events += [sound(POINTS[n], n, how, n * spoken) for n in range(points)]
    return fold(sheet(), ((START + timedelta(seconds=seconds * n), e) for n, e in enumerate(events)))


@pytest.mark.parametrize(
    ("seconds", "points", "found"),
    [(1.9, 5, 5), (2.0, 5, 0), (1.0, 4, 0), (0.5, 7, 7), (7.0, 7, 0)],
)
def test_five_points_in_under_two_seconds_each(seconds: float, points: int, found: int) -> None:
    """Five different points found sound, each less than two seconds after the last, are shown as one run."""
    runs = hurried(paced(seconds, points))
    assert [len(run.points) for run in runs] == ([found] if found else [])


def test_a_recording_goes_by_its_own_time() -> None:
    """A recording is heard faster than it was spoken; that is no hurry of the operator."""
    assert hurried(paced(0.1, 7, "speech", spoken=6.0)) == ()
    assert len(hurried(paced(0.1, 7, "speech", spoken=1.0))) == 1


def test_several_facts_of_one_point_are_one_look() -> None:
    """Five things said of one point in a breath are no hurry."""
    events: list[Event] = [started(), *(sound("coolant", n) for n in range(6))]
    assert hurried(fold(sheet(), ((START, e) for e in events))) == ()


def test_a_defect_in_between_does_not_hide_the_rest() -> None:
    """Who finds something has looked, but only at that; the run of sound points is still shown."""
    events: list[Event] = [started(), *(sound(POINTS[n], n) for n in range(6))]
    events.insert(3, logged("d", said("alternator", "hanging")))
    (run,) = hurried(fold(sheet(), ((START, e) for e in events)))
    assert "alternator" not in run.points and len(run.points) == 6


def test_the_agenda_shows_it_before_what_is_sound() -> None:
    """The officer reads the run, its points and its time among what needs a person."""
    items = agenda(paced(1.0, 5))
    kinds = [item.kind for item in items]
    (item,) = [item for item in items if item.kind == "too quick"]
    assert item.title == "5 points in 4 s"
    assert "wheel chocks" in item.detail
    assert kinds.index("too quick") < kinds.index("sound")


def test_a_group_mark_is_no_pace() -> None:
    """Who marks the rest of a stop says that nobody looked at each point on its own; the officer confirms
    the mark, and it does not make a run with what was said around it."""
    heard = Heard(text="affirmative", how="keyboard")
    mark = GroupMarked(stop_id="cab_tilt", point_ids=POINTS[:5], by="R. Alder", asked=heard, heard=heard)
    events: list[Event] = [started(), mark, *(sound(POINTS[n], n) for n in range(3, 7))]
    assert hurried(fold(sheet(), ((START, e) for e in events))) == ()
