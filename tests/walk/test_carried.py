"""Before a walk opens: what was carried over is read out and acknowledged, and nothing logged before."""

from __future__ import annotations

import pytest

from tests.opening import without_gate
from tests.walk.reviewing import START, heard, logged, said, sheet, started
from voicelog.errors import WalkError
from voicelog.meaning.interpret import Interpretation
from voicelog.walk import review
from voicelog.walk.carried import answer, asked_again, before_opening, read_out, waiting
from voicelog.walk.decide import command, decide
from voicelog.walk.events import (
    CarriedDefect,
    CommandHeard,
    DefectAcknowledged,
    DefectsCarried,
    Event,
    NotUnderstood,
    RecheckAsked,
)
from voicelog.walk.state import WalkState, fold


def carried(defect_id: str, point_id: str, what: str, *, look_again: bool = False) -> CarriedDefect:
    """Return a defect of an earlier walk."""
    return CarriedDefect(
        defect_id=defect_id,
        point_id=point_id,
        point=sheet().points[point_id].full_name,
        matter="leak",
        what=what,
        class_name="class three leak",
        state="certified" if look_again else "deferred",
        stood="repair certified" if look_again else "deferred until 2026-12-04",
        since="2026-11-23",
        look_again=look_again,
    )


TWO = DefectsCarried(
    defects=(
        carried("engine_61-d1", "lift_cylinder_left", "dripping", look_again=True),
        carried("engine_61-d2", "water_pump", "weeping"),
    )
)
YES = heard("acknowledged")


def state(*events: Event) -> WalkState:
    """Return a walk that begins with two carried defects."""
    return fold(without_gate(sheet()), ((START, e) for e in (started(), TWO, *events)))


def acknowledged(*defect_ids: str) -> list[Event]:
    """Return the acknowledgement of each defect."""
    return [DefectAcknowledged(defect_id=d, by="R. Alder", heard=YES) for d in defect_ids]


def test_one_after_the_other_in_their_order() -> None:
    """The first that is not acknowledged is read out: what, class, since when, and how it stands."""
    (first,) = read_out(state())
    assert first.text.startswith("defect 1 of 2: left lift cylinder dripping, since November 23, repair")
    assert "Look again" in first.text
    (second,) = read_out(state(*acknowledged("engine_61-d1")))
    assert second.text.startswith("defect 2 of 2: water pump weeping")
    assert "Look again" not in second.text
    assert read_out(state(*acknowledged("engine_61-d1", "engine_61-d2"))) == ()


@pytest.mark.parametrize("name", ["acknowledged", "affirmative"])
def test_one_word_acknowledges_one(name: str) -> None:
    """One word acknowledges one defect, in the operator's name, with its sound."""
    outcome = command(state(), name, YES)
    told = DefectAcknowledged(defect_id="engine_61-d1", by="R. Alder", heard=YES, state="certified")
    assert outcome.events == (told,)


@pytest.mark.parametrize("name", ["negative", "say again", "next stop", "where am i", "disregard"])
def test_no_other_word_acknowledges(name: str) -> None:
    """Refusal, or another control word, acknowledges nothing and is answered with the defect again."""
    outcome = command(state(), name, heard(name))
    assert [type(e) for e in outcome.events] == [CommandHeard]
    asked = asked_again if name == "negative" else read_out
    assert outcome.replies[-1:] == asked(state())


@pytest.mark.parametrize("act", ["facts", "naming", "goto", "answer", "refused"])
def test_nothing_is_logged_before(act: str) -> None:
    """What is said of a point before all is acknowledged makes no entry; the sound is kept."""
    meant = Interpretation(act, "left lift cylinder dry", argument="left_front", reason="not clear")
    outcome = decide(state(), meant, heard("left lift cylinder dry"))
    assert [type(e) for e in outcome.events] == [NotUnderstood]
    assert outcome.replies[0].kind == "not understood"


@pytest.mark.parametrize("name", ["stand by", "resume", "hand over", "end of remark", "walk complete"])
def test_these_do_as_always(name: str) -> None:
    """A radio call, other hands and the end of the walk are not held up."""
    assert answer(state(), name, heard(name)) is None


@pytest.mark.parametrize(
    ("more", "here", "said"),
    [
        (
            {},
            True,
            "defect 1 of 1: left lift cylinder dripping, since November 23, deferred until December 4.",
        ),
        (
            {"since": "2025-11-23", "here": False},
            False,
            "defect 1 of 1: left lift cylinder dripping, since November 23, 2025, deferred until December 4. "
            "Not on this sheet.",
        ),
        (
            {"matter": "reading:deflection", "what": "deflection 1 in", "class_name": "above the limit"},
            True,
            "defect 1 of 1: left lift cylinder deflection 1 in, above the limit, since November 23, deferred "
            "until December 4.",
        ),
        ({"since": "2026-13-23"}, True, None),
    ],
    ids=["a leak", "another sheet and year", "a reading", "no day at all"],
)
def test_every_fact_is_read_out(more: dict[str, object], here: bool, said: str | None) -> None:
    """Point, condition, how a reading stands, since when and what was decided; the class is shown."""
    one = carried("engine_61-d1", "lift_cylinder_left", "dripping").model_copy(update=more)
    brought = DefectsCarried(defects=(one,))
    begun = fold(without_gate(sheet()), ((START, e) for e in (started(), brought)))
    (reply,) = read_out(begun)
    if said is not None:
        assert reply.text == f"{said} Acknowledged?"
    (following,) = read_out(begun, following=True)
    assert following.text == reply.text.replace("defect 1 of 1", "1").removesuffix(" Acknowledged?")


def test_the_cautions_come_first() -> None:
    """While a caution of the sheet or of the stop is asked, no defect is read out or acknowledged."""
    at_gate = fold(sheet(), ((START, e) for e in (started(), TWO)))
    assert at_gate.caution is not None
    assert waiting(at_gate) is None and read_out(at_gate) == ()
    outcome = command(at_gate, "affirmative", YES)
    assert not any(isinstance(e, DefectAcknowledged) for e in outcome.events)
    # To be told of a caution is not to have seen to it.
    assert [type(e) for e in command(at_gate, "acknowledged", YES).events] == [CommandHeard]


def test_an_open_walk_is_left_alone() -> None:
    """With everything acknowledged, and in a remark, nothing is held."""
    meant = Interpretation("refused", "", reason="noise")
    opened = state(*acknowledged("engine_61-d1", "engine_61-d2"))
    assert before_opening(opened, meant, YES) is None
    in_remark = state(CommandHeard(command="remark", heard=heard("remark")))
    assert before_opening(in_remark, meant, YES) is None


def test_a_recheck_opens_the_point_again() -> None:
    """The officer's wish opens a sound point, needs a reason, and is not asked twice."""
    sound = logged("e1", said("coolant", "good"))
    before = state(sound)
    event = review.ask_recheck(before, "coolant", "M. Ruiz", "too quick")
    assert event == RecheckAsked(point_id="coolant", by="M. Ruiz", reason="too quick")
    asked = state(sound, event)
    assert asked.not_looked_at("coolant") and asked.status("coolant") == "open"
    with pytest.raises(WalkError, match="already"):
        review.ask_recheck(asked, "coolant", "M. Ruiz", "once more")
    with pytest.raises(WalkError, match="needs a reason"):
        review.ask_recheck(before, "coolant", "M. Ruiz", " ")
    with pytest.raises(WalkError, match="no point"):
        review.ask_recheck(before, "flux_capacitor", "M. Ruiz", "x")
    again = state(sound, event, logged("e2", said("coolant", "good")))
    assert not again.not_looked_at("coolant")


def test_sound_against_an_open_defect_needs_a_person() -> None:
    """The officer reads it apart from what is sound; after a repair it is what was asked for."""
    walk = state(
        logged("e1", said("water_pump", "dry")),
        logged("e2", said("water_pump", "tight")),
        logged("e3", said("lift_cylinder_left", "dry")),
    )
    kinds = {item.entry_id: item.kind for item in review.agenda(walk) if item.entry_id}
    assert kinds == {"e1": "against a defect", "e2": "sound", "e3": "sound"}


def test_what_was_not_acknowledged_or_not_spoken_of_needs_a_person() -> None:
    """The officer sees both, first what the operator was not told of; heard again, it is in one place."""
    open_one = carried("engine_61-d2", "water_pump", "weeping")
    brought = DefectsCarried(defects=(TWO.defects[0], open_one))

    def listed(*events: Event) -> dict[str, str]:
        begun = fold(without_gate(sheet()), ((START, e) for e in (started(), brought, *events)))
        return {i.key: i.kind for i in review.agenda(begun) if i.key.startswith("defect ")}

    d1, d2 = "defect engine_61-d1", "defect engine_61-d2"
    assert listed() == {d1: "not acknowledged", d2: "not acknowledged"}
    both = acknowledged("engine_61-d1", "engine_61-d2")
    assert listed(*both[:1]) == {d2: "not acknowledged"}
    assert listed(*both) == {d2: "from before"}
    assert listed(*both, logged("e1", said("water_pump", "dripping"))) == {}
    assert listed(*both, logged("e1", said("water_pump", "dry"))) == {}  # listed as against a defect
    assert listed(*both, logged("e1", said("water_pump", "tight"))) == {d2: "from before"}


def test_in_service_without_having_been_told_needs_a_reason() -> None:
    """49 CFR 396.13: the driver reviews the last report; one who did not is not signed for silently."""
    assert "2 defects from before not acknowledged" in review.sign_needs_reason(state())
    told = state(*acknowledged("engine_61-d1", "engine_61-d2"))
    assert not any("acknowledged" in reason for reason in review.sign_needs_reason(told))
