"""What the walk does with what is said: typed through the same interpretation, step by step."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from voicelog.conduct import Conductor
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.replies import Update


@pytest.fixture
def walk(
    tmp_path: Path,
    engine_bay: Sheet,
    engine_61: Unit,
    clock: Callable[[], datetime],
    graphs: dict[str, PhraseGraph],
) -> Conductor:
    store = Store.open(tmp_path, clock=clock)
    conductor = Conductor(store, engine_bay, engine_61, None, clock=clock, graphs=graphs)
    conductor.begin("R. Alder")
    conductor.typed("go to left front")
    return conductor


def replies(update: Update) -> list[tuple[str, str]]:
    return [(reply.kind, reply.text) for reply in update.replies]


def said(walk: Conductor, *phrases: str) -> Update:
    update = None
    for phrase in phrases:
        update = walk.typed(phrase)
    assert update is not None
    return update


def test_the_side_of_the_stop_is_implied(walk: Conductor) -> None:
    """At a left stop "lift cylinder" is the left one."""
    assert replies(said(walk, "lift cylinder dripping")) == [("taken", "left lift cylinder dripping")]
    assert walk.state.status("lift_cylinder_left") == "defect"


def test_a_correction_moves_the_entry_and_keeps_the_original(walk: Conductor) -> None:
    """ "Correction, right" replaces; the replaced entry stays in the record."""
    said(walk, "lift cylinder dripping", "correction right")
    assert walk.state.status("lift_cylinder_right") == "defect"
    assert walk.state.status("lift_cylinder_left") == "open"
    assert [e.status for e in walk.state.entries.values()] == ["replaced", "standing"]


def test_clearing_a_defect_by_voice_is_asked_about(walk: Conductor) -> None:
    """A correction to a sound condition is a doubt until answered, and the defect still counts."""
    update = said(walk, "lift cylinder dripping", "correction dry")
    assert replies(update) == [("doubt", "left lift cylinder: dripping or dry?")]
    assert walk.state.status("lift_cylinder_left") == "defect"


def test_a_sound_word_after_a_defect_is_asked_about(walk: Conductor) -> None:
    """Saying the opposite of what stands is a slip or a repair; only a person can tell."""
    said(walk, "left brake hose chafed")
    assert replies(said(walk, "left brake hose intact"))[0][0] == "doubt"
    assert walk.state.status("brake_hose_left") == "defect"


def test_a_general_good_does_not_cover_an_earlier_defect(walk: Conductor) -> None:
    """ "Okay" speaks of everything at the point, so it contradicts any defect."""
    said(walk, "left brake hose chafed")
    assert replies(said(walk, "left brake hose okay"))[0][0] == "doubt"


def test_where_both_sides_are_in_reach_the_side_is_asked(walk: Conductor) -> None:
    """The question names both sides; "left" settles it."""
    update = said(walk, "go to engine front", "slack adjuster intact")
    assert replies(update) == [("doubt", "intact: left or right slack adjuster?")]
    assert walk.state.status("slack_adjuster_left") == "doubt"
    assert replies(said(walk, "left")) == [("taken", "left slack adjuster intact")]
    assert walk.state.status("slack_adjuster_right") == "open"


def test_an_unanswered_doubt_stays_open(walk: Conductor) -> None:
    """Going on without an answer leaves the doubt for the officer, and never a pass."""
    said(walk, "go to engine front", "slack adjuster intact", "fan belt intact", "walk complete")
    assert len(walk.state.doubts()) == 1
    assert "slack_adjuster_left" in {p.id for p in walk.state.missing()}


def test_a_value_outside_its_limit_is_a_defect_and_says_so(walk: Conductor) -> None:
    """The limit and its comparison are read back."""
    update = said(walk, "slack adjuster travel two and a half inches")
    assert "above the limit, at most 1 in" in replies(update)[0][1]
    assert walk.state.status("slack_adjuster_left") == "defect"


def test_a_required_reading_that_was_not_given_leaves_the_point_open(walk: Conductor) -> None:
    """A belt that is intact is not covered until its deflection is known."""
    said(walk, "go to engine front", "fan belt intact")
    assert walk.state.status("fan_belt") == "open"
    said(walk, "deflection one half inch")
    assert walk.state.status("fan_belt") == "sound"


def test_a_condition_alone_goes_to_the_point_at_hand_by_name_or_asks(walk: Conductor) -> None:
    """After a named point that was not spoken of in that aspect, both it and the next are possible."""
    said(walk, "left cab pivot tight")
    assert replies(said(walk, "intact"))[0] == ("doubt", "intact: left cab pivot or left lift cylinder?")


def test_disregard_withdraws_and_the_point_is_open_again(walk: Conductor) -> None:
    """A withdrawn entry no longer covers its point but stays readable."""
    said(walk, "left brake hose intact", "disregard")
    assert walk.state.status("brake_hose_left") == "open"
    assert [e.status for e in walk.state.entries.values()] == ["withdrawn"]


@pytest.mark.parametrize(
    "phrase", ["twelve six", "right", "correction right", "negative dripping", "affirmative"]
)
def test_words_that_need_a_context_make_no_entry_without_one(walk: Conductor, phrase: str) -> None:
    """A number, a side or a correction alone says nothing."""
    said(walk, phrase)
    assert not walk.state.entries


def test_numbers_counted_aloud_make_no_entry(walk: Conductor) -> None:
    """Counting is not reporting."""
    said(walk, "one", "two", "three", "twelve")
    assert not walk.state.entries


def test_while_standing_by_nothing_but_resume_is_taken(walk: Conductor) -> None:
    """Talk in between leaves no trace."""
    said(walk, "stand by", "left brake hose intact")
    assert walk.state.standing_by and not walk.state.entries
    said(walk, "resume", "left brake hose intact")
    assert walk.state.status("brake_hose_left") == "sound"


def test_a_remark_goes_to_the_point_last_named(walk: Conductor) -> None:
    """Free words between "remark" and "end of remark" are kept with the point."""
    said(
        walk,
        "left brake hose chafed",
        "remark",
        "rubbing on the frame bracket near the axle",
        "end of remark",
    )
    ((_, remark),) = walk.state.remarks
    assert remark.point_id == "brake_hose_left"
    assert not walk.state.in_remark


def test_a_walk_is_resumed_where_it_stood(
    walk: Conductor, engine_bay: Sheet, engine_61: Unit, clock: Callable[[], datetime]
) -> None:
    """The state folded from the store is the state that was left."""
    said(walk, "left brake hose chafed", "slack adjuster travel one inch")
    again = Conductor(walk._store, engine_bay, engine_61, None, clock=clock)
    update = again.resume(walk.walk_id, "R. Alder")
    assert again.state.entries == walk.state.entries
    assert again.state.stop_id == walk.state.stop_id
    assert "left front" in update.replies[0].text


def test_points_not_covered_are_named_in_the_record_at_the_end(walk: Conductor) -> None:
    """Ending early hides nothing."""
    said(walk, "left brake hose intact", "walk complete")
    assert walk.state.finished is not None
    assert len(walk.state.finished.missing) == walk.state.required - 1


def test_opposites_in_one_breath_are_asked_about(walk: Conductor) -> None:
    """Whichever of the two was misheard, the sound one is not logged without asking."""
    update = said(walk, "left brake hose chafed and intact")
    assert [kind for kind, _ in replies(update)] == ["taken", "doubt"]
    assert walk.state.status("brake_hose_left") == "defect"


def test_a_correction_does_not_clear_what_may_have_been_a_defect(walk: Conductor) -> None:
    """A defect still in doubt is not made sound by a correction without a question."""
    said(walk, "go to engine front", "slack adjuster bent", "correction intact")
    assert {e.status for e in walk.state.entries.values()} == {"doubt"}
    assert walk.state.status("slack_adjuster_left") == "doubt"
