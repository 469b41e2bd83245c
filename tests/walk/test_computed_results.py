"""Results computed from readings: logged when the readings are given, never a pass where in doubt."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from fractions import Fraction
from pathlib import Path

import pytest

from tests.conftest import ROOT
from voicelog.conduct import Conductor
from voicelog.meaning.claims import make_claim
from voicelog.records.store import Store
from voicelog.sheet import load_sheet, load_unit
from voicelog.walk.agenda import candidates
from voicelog.walk.computing import follow_up
from voicelog.walk.events import DoubtSettled, Event
from voicelog.walk.replies import Update
from voicelog.walk.review import confirm, correct, reject, settle
from voicelog.walk.state import Entry, WalkState, apply, fold

MARKS = "pushrod_marks_axle_1_left"
STROKE = (MARKS, "stroke")


@pytest.fixture
def walk(tmp_path: Path, clock: Callable[[], datetime]) -> Conductor:
    """A walk of wheel ends with every caution affirmed; axle one's chambers are of type 24: 1 3/4 in."""
    unit = load_unit(ROOT / "samples" / "engine_61.toml")
    sheet = load_sheet(ROOT / "grammars" / "wheel_ends.toml", unit=unit)
    conductor = Conductor(Store.open(tmp_path, clock=clock), sheet, unit, None, clock=clock)
    conductor.begin("R. Alder")
    for _ in range(len(sheet.gate) + len(sheet.stops[0].gate)):
        conductor.typed("affirmative")
    return conductor


def read(walk: Conductor, released: str, applied: str) -> Update:
    walk.typed(f"left axle one pushrod marks released {released}")
    return walk.typed(f"left axle one pushrod marks applied {applied}")


def strokes(state: WalkState) -> list[Entry]:
    return [
        e
        for e in state.entries.values()
        if (e.claim.point_id, e.claim.reading_id) == STROKE and e.status in ("standing", "doubt")
    ]


def stroke(walk: Conductor) -> Entry:
    (entry,) = strokes(walk.state)
    return entry


@pytest.mark.parametrize(
    ("released", "applied", "value", "judgement", "in_doubt"),
    [
        ("one inch", "two and one half", Fraction(3, 2), "within", False),
        ("one inch", "three inches", Fraction(2), "above", False),
        # So near the limit that half a sixteenth at each reading may be on the other: the worse is shown.
        ("one inch", "two and three quarters", Fraction(7, 4), "above", True),
        ("one inch", "two and thirteen sixteenths", Fraction(29, 16), "above", True),
        ("one inch", "two and seven eighths", Fraction(15, 8), "above", False),
        # The marks changed about: what cannot be is never a pass.
        ("three inches", "two and one half", Fraction(-1, 2), "within", True),
    ],
)
def test_a_stroke_is_logged_when_both_marks_are_given(
    walk: Conductor, released: str, applied: str, value: Fraction, judgement: str, in_doubt: bool
) -> None:
    """With its bounds; what straddles the limit, or cannot be, is a doubt and its point is not covered."""
    update = read(walk, released, applied)
    entry = stroke(walk)
    assert (entry.claim.value, entry.claim.judgement, entry.in_doubt) == (value, judgement, in_doubt)
    assert (entry.claim.low, entry.claim.high) == (value - Fraction(1, 16), value + Fraction(1, 16))
    assert len(entry.logged.computed_from) == 2
    assert "applied" in entry.logged.heard.text  # what was said last, and its sound
    kinds = [reply.kind for reply in update.replies]
    assert kinds == ["taken", "doubt" if in_doubt else "taken"]
    status = "doubt" if in_doubt else "defect" if judgement == "above" else "sound"
    assert walk.state.status(MARKS) == status


def test_nothing_is_logged_while_a_mark_is_missing(walk: Conductor) -> None:
    """And the point stays open."""
    walk.typed("left axle one pushrod marks released one inch")
    assert strokes(walk.state) == []
    assert walk.state.status(MARKS) == "open"


def test_what_is_said_next_is_about_what_was_said(walk: Conductor) -> None:
    """ "Correction" and "disregard" mean the last reading, not what was computed from it."""
    read(walk, "one inch", "two and one half")
    walk.typed("disregard")
    assert strokes(walk.state) == []
    walk.typed("left axle one pushrod marks applied two inches")
    assert stroke(walk).claim.value == 1
    walk.typed("correction applied two and one quarter")
    assert stroke(walk).claim.value == Fraction(5, 4)


def test_a_result_that_failed_and_now_passes_is_asked_about(walk: Conductor) -> None:
    """A reading heard anew must not clear a defect by itself."""
    read(walk, "one inch", "three inches")
    assert stroke(walk).claim.polarity == "defect"
    walk.typed("left axle one pushrod marks applied two inches")
    entry = stroke(walk)
    assert entry.in_doubt
    assert {c.claim.polarity for c in candidates(entry)} == {"sound", "defect"}
    assert walk.state.status(MARKS) == "doubt"


def after(state: WalkState, event: Event, clock: Callable[[], datetime]) -> WalkState:
    """Return the state after an officer's event and what follows from it, as it is stored."""
    at = clock()
    events = (event, *follow_up(state, (event,)))
    result = state
    for one in events:
        result = apply(result, one, at)
    return result


def test_an_officers_correction_of_a_reading_is_followed_by_its_result(
    walk: Conductor, clock: Callable[[], datetime]
) -> None:
    """The officer's reason stands for both; the old result no longer counts."""
    read(walk, "one inch", "three inches")
    old = stroke(walk)
    applied = next(e for e in walk.state.entries.values() if e.claim.reading_id == "applied")
    claim = make_claim(walk.state.sheet, MARKS, reading_id="applied", value=Fraction(2))
    state = after(walk.state, correct(walk.state, applied.entry_id, claim, "M. Ruiz", "misheard"), clock)
    (new,) = strokes(state)
    assert (new.claim.value, new.in_doubt, new.logged.corrects) == (Fraction(1), False, old.entry_id)
    assert state.entries[old.entry_id].status == "replaced"
    assert state.status(MARKS) == "sound"


def test_a_correction_without_its_result_leaves_the_point_open(
    walk: Conductor, clock: Callable[[], datetime]
) -> None:
    """Where only the correction was recorded, the old result does not count for the new reading."""
    read(walk, "one inch", "two and one half")
    assert walk.state.status(MARKS) == "sound"
    applied = next(e for e in walk.state.entries.values() if e.claim.reading_id == "applied")
    claim = make_claim(walk.state.sheet, MARKS, reading_id="applied", value=Fraction(4))
    event = correct(walk.state, applied.entry_id, claim, "M. Ruiz", "misheard")
    assert apply(walk.state, event, clock()).status(MARKS) == "open"


def test_an_officer_settles_a_doubtful_result_with_a_reason(
    walk: Conductor, clock: Callable[[], datetime]
) -> None:
    """It then stands, and looking at a reading again does not log it anew."""
    read(walk, "one inch", "two and three quarters")
    entry = stroke(walk)
    sound = next(c.claim for c in candidates(entry) if c.claim.polarity == "sound")
    event = settle(walk.state, entry.entry_id, sound, "M. Ruiz", "measured again with a rule: 1 11/16")
    assert isinstance(event, DoubtSettled)
    state = after(walk.state, event, clock)
    assert state.status(MARKS) == "sound"
    applied = next(e for e in state.entries.values() if e.claim.reading_id == "applied")
    state = after(state, confirm(state, applied.entry_id, "M. Ruiz"), clock)
    assert [e.entry_id for e in strokes(state)] == [entry.entry_id]


def test_a_result_that_an_officer_rejects_is_not_logged_again(
    walk: Conductor, clock: Callable[[], datetime]
) -> None:
    """Its point is then not covered."""
    read(walk, "one inch", "two and one half")
    event = reject(walk.state, stroke(walk).entry_id, "M. Ruiz", "the marks were on the wrong rod")
    state = after(walk.state, event, clock)
    assert strokes(state) == []
    assert state.status(MARKS) == "open"


def test_the_record_gives_the_same_walk_again(
    walk: Conductor, tmp_path: Path, clock: Callable[[], datetime]
) -> None:
    """Results are events: they are not computed anew when a record is read."""
    read(walk, "one inch", "two and one half")
    with Store.open(tmp_path, clock=clock) as store:
        events = [(s.at, s.event) for s in store.events(walk.walk_id)]
        assert store.verify(walk.walk_id) == ()
    assert fold(walk.state.sheet, events).entries == walk.state.entries


def test_a_tyre_is_judged_by_its_placard(walk: Conductor) -> None:
    """Axle one has 120 psi on its placard: 96 psi is 80 percent, past common practice's 90."""
    walk.typed("left axle one tire pressure pressure ninety six")
    entry = next(e for e in walk.state.entries.values() if e.claim.reading_id == "placard")
    assert (entry.claim.value, entry.claim.judgement, entry.in_doubt) == (Fraction(80), "below", False)
