"""The review: what needs a person first, what an officer may do, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.walk.reviewing import (
    HEAD,
    cover,
    doubted,
    heard,
    logged,
    read,
    said,
    sheet,
    started,
    state_of,
    walk,
)
from voicelog.errors import WalkError
from voicelog.screens.review_plain import review_lines
from voicelog.walk import review
from voicelog.walk.agenda import HEADINGS, agenda
from voicelog.walk.events import (
    Claim,
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryWithdrawn,
    Event,
    NotUnderstood,
    SignedOff,
    WalkFinished,
    WalkResumed,
)
from voicelog.walk.signable import open_doubts
from voicelog.walk.state import WalkState

DRIPPING, DRY = said("lift_cylinder_left", "dripping"), said("lift_cylinder_left", "dry")
BY = "M. Ruiz"


def doubt(entry_id: str = "d1") -> Event:
    """Return an entry in doubt between a defect and sound."""
    return doubted(entry_id, (DRIPPING, 0.62), (DRY, 0.37))


def sign(state: WalkState, by: str = BY, reason: str = "", **other: str) -> SignedOff:
    """Sign as an officer who puts the unit in service, save for what is given."""
    given = {"role": "officer", "meaning": "confirmed by", "decision": "in service", "head": HEAD} | other
    return review.sign(state, by=by, reason=reason, **given)  # type: ignore[arg-type]


def clean(*more: Event) -> WalkState:
    """Return a finished walk in which all is sound, and what was added to it."""
    return state_of([started(), *cover(), WalkFinished(missing=()), *more])


# what is shown first --------------------------------------------------------------------------


def test_the_agenda_goes_from_what_decides_to_what_needs_nobody() -> None:
    """Every kind of thing is found, in the order in which it needs a person."""
    items = agenda(state_of(walk(everything_else=False)))
    kinds = [item.kind for item in items]
    # These are in the tests of pace, of what is carried over and of the group mark.
    elsewhere = ("too quick", "against a defect", "group mark", "not acknowledged", "from before")
    assert list(dict.fromkeys(kinds)) == [k for k in HEADINGS if k not in elsewhere]
    first = {kind: next(i.title for i in items if i.kind == kind) for kind in dict.fromkeys(kinds)}
    assert first["doubt"] == "left lift cylinder: dripping or dry?"
    assert [i.title for i in items if i.kind == "defect"] == ["alternator hanging", "water pump weeping"]
    assert first["outside limit"] == "fan belt deflection 1 in"
    assert [i.title for i in items if i.kind == "defect removed"] == [
        "oil filter dripping, withdrawn",
        "steering gear leaking, now dry",
    ]
    assert first["not understood"] == "engine two respond"


def test_everything_that_counts_is_on_the_agenda_once() -> None:
    """No key comes twice, and no standing entry, doubt or uncovered point is left out."""
    state = state_of(walk())
    items = agenda(state)
    keys = [item.key for item in items]
    assert len(keys) == len(set(keys))
    counting = {e.entry_id for e in state.entries.values() if e.status in ("standing", "doubt")}
    assert counting <= {item.entry_id for item in items}
    assert [i.point_id for i in items if i.kind == "not covered"] == ["coolant"]


def test_a_value_that_is_missing_is_named() -> None:
    """A point of which only a condition was said is not covered while its reading is wanted."""
    items = agenda(state_of([started(), logged("e1", said("fan_belt", "intact"))]))
    belt = next(i for i in items if i.kind == "not covered" and i.point_id == "fan_belt")
    assert belt.detail == "deflection not given"


RIGHT = said("lift_cylinder_right", "dripping")
LOOSE = said("lift_cylinder_left", "loose")


@pytest.mark.parametrize(
    ("after", "expected"),
    [
        ([logged("e2", DRY, corrects="e1")], "was dripping; corrected by voice to left lift cylinder dry"),
        (
            [EntryWithdrawn(entry_id="e1", by="R. Alder", reason="disregard", heard=heard("disregard"))],
            "was dripping; withdrawn by R. Alder by voice: disregard",
        ),
        (
            [EntryWithdrawn(entry_id="e1", by=BY, reason="a radio")],
            "was dripping; withdrawn by M. Ruiz: a radio",
        ),
        (
            [EntryCorrected(entry_id="e1", claim=DRY, by=BY, reason="wiped")],
            "was dripping; corrected by M. Ruiz: wiped",
        ),
        (
            [logged("e2", RIGHT, corrects="e1")],
            "was dripping; corrected by voice to right lift cylinder dripping",
        ),
        (
            [logged("e2", said("lift_cylinder_left", "weeping"), corrects="e1")],
            "was dripping; corrected by voice to left lift cylinder weeping",
        ),
        ([logged("e2", said("lift_cylinder_left", "leaking"), corrects="e1")], None),
        ([EntryCorrected(entry_id="e1", claim=RIGHT, by=BY, reason="the other side")], None),
        ([logged("e2", DRY)], None),
        (
            [logged("e2", LOOSE, corrects="e1"), logged("e3", DRY, corrects="e2")],
            "was dripping; corrected by voice to left lift cylinder loose",
        ),
    ],
)
def test_a_defect_that_was_taken_back_stays_in_sight(after: list[Event], expected: str | None) -> None:
    """Whoever took a defect away, or made it less, it is listed; one as bad in its place is not."""
    items = agenda(state_of([started(), logged("e1", DRIPPING), *after]))
    found = [i.detail for i in items if i.kind == "defect removed" and i.entry_id == "e1"]
    assert found == ([expected] if expected else [])
    assert len({i.key for i in items}) == len(items)


def test_a_doubt_that_was_settled_as_sound_stays_in_sight() -> None:
    """What may have been a defect is listed after a voice settled it as sound."""
    settled = DoubtSettled(entry_id="d1", claim=DRY, by="R. Alder", reason="", heard=heard("dry"))
    item = next(i for i in agenda(state_of([started(), doubt(), settled])) if i.entry_id == "d1")
    assert item.kind == "defect removed"
    assert item.detail == "may have been dripping; settled by R. Alder by voice"


def test_candidates_are_numbered_likeliest_first_and_hold_what_was_logged() -> None:
    """The order is by posterior, whatever order the doubt has them in."""
    entry = state_of([started(), doubted("d1", (DRIPPING, 0.2), (DRY, 0.7))]).entries["d1"]
    assert [c.claim for c in review.candidates(entry)] == [DRY, DRIPPING]
    assert all(a.posterior >= b.posterior for a, b in pairwise(review.candidates(entry)))


# what an officer may do -----------------------------------------------------------------------


def test_each_action_gives_its_event_and_the_state_follows() -> None:
    """Settle, confirm, correct and reject do what they say."""
    events = [started(), doubt(), logged("e1", LOOSE)]
    settled = review.settle_by_number(state_of(events), "d1", 2, BY, "wiped and watched")
    assert settled == DoubtSettled(entry_id="d1", claim=DRY, by=BY, reason="wiped and watched")
    assert review.confirm(state_of(events), "e1", " M.  Ruiz ") == EntryConfirmed(entry_id="e1", by=BY)
    corrected = review.correct(state_of(events), "d1", RIGHT, BY, "the other side")
    rejected = review.reject(state_of(events), "e1", BY, "a radio")
    after = state_of([*events, corrected, rejected])
    assert after.entries["d1"].claim == RIGHT
    assert (after.entries["d1"].status, after.entries["e1"].status) == ("standing", "withdrawn")


def test_a_rejected_doubt_leaves_its_point_open() -> None:
    """Rejecting a doubt is not a pass."""
    events = [started(), doubt()]
    events.append(review.reject(state_of(events), "d1", BY, "a radio"))
    assert state_of(events).status("lift_cylinder_left") == "open"


def test_a_withdrawn_defect_can_be_brought_back() -> None:
    """When the sound says so, an officer makes a withdrawn entry stand again."""
    events = walk()
    events.append(review.correct(state_of(events), "e4", said("oil_filter", "dripping"), BY, "heard it"))
    assert state_of(events).status("oil_filter") == "defect"


FORGED = DRIPPING.model_copy(update={"polarity": "sound", "class_id": None})
FAR = Claim(point_id="fan_belt", reading_id="deflection", value=9, unit="inch", polarity="sound")
NO_SUCH = Claim(point_id="fan_belt", condition_id="dripping", polarity="sound")


@pytest.mark.parametrize(
    ("act", "what", "remedy"),
    [
        (lambda s: review.settle(s, "e9", DRY, BY, "x"), "no entry e9", "choose one"),
        (lambda s: review.settle(s, "e1", LOOSE, BY, "x"), "is not in doubt", "confirm it"),
        (lambda s: review.settle(s, "d1", RIGHT, BY, "x"), "not one of the candidates", "correct the entry"),
        (lambda s: review.settle(s, "d1", DRIPPING, " ", "x"), "a name is missing", "say who"),
        (lambda s: review.settle(s, "d1", DRY, BY, " \n"), "needs a reason", "say why"),
        (lambda s: review.settle(s, "d1", FORGED, BY, "x"), "counts as defect", "from this sheet"),
        (
            lambda s: review.settle_by_number(s, "d1", 3, BY, "x"),
            "no candidate 3",
            "2 left lift cylinder dry",
        ),
        (lambda s: review.settle_by_number(s, "d1", 0, BY, "x"), "no candidate 0", "choose one"),
        (lambda s: review.settle_by_number(s, "e1", 1, BY, "x"), "is not in doubt", "confirm it"),
        (lambda s: review.confirm(s, "e9", BY), "no entry e9", "e1"),
        (lambda s: review.confirm(s, "d1", BY), "a doubt cannot be confirmed", "choose one"),
        (lambda s: review.confirm(s, "e1", ""), "a name is missing", "say who"),
        (lambda s: review.correct(s, "e9", DRY, BY, "x"), "no entry e9", "e1"),
        (lambda s: review.correct(s, "e1", DRY, "", "x"), "a name is missing", "say who"),
        (lambda s: review.correct(s, "e1", DRY, BY, ""), "needs a reason", "say why"),
        (lambda s: review.correct(s, "e1", LOOSE, BY, "x"), "already", "confirm it"),
        (lambda s: review.correct(s, "e1", NO_SUCH, BY, "x"), "cannot be said of fan belt", "aspects"),
        (lambda s: review.correct(s, "e1", FAR, BY, "x"), "outside what fan belt deflection", "from 0 to"),
        (lambda s: review.reject(s, "e9", BY, "x"), "no entry e9", "e1"),
        (lambda s: review.reject(s, "e1", "", "x"), "a name is missing", "say who"),
        (lambda s: review.reject(s, "e1", BY, ""), "needs a reason", "say why"),
        (lambda s: review.reject(s, "w1", BY, "x"), "withdrawn already", "correct it"),
    ],
)
def test_what_is_not_allowed_is_refused_with_what_to_do(
    act: Callable[[WalkState], Event], what: str, remedy: str
) -> None:
    """Each refusal says what is wrong and what to do instead."""
    withdrawn = EntryWithdrawn(entry_id="w1", by="R. Alder", reason="disregard")
    state = state_of([started(), doubt(), logged("e1", LOOSE), logged("w1", DRIPPING), withdrawn])
    with pytest.raises(WalkError) as refused:
        act(state)
    assert what in refused.value.what
    assert remedy in refused.value.remedy


# signing --------------------------------------------------------------------------------------


def test_an_operator_and_an_officer_sign_a_clean_walk() -> None:
    """A finished walk without a doubt or a defect needs no reason."""
    inspected = sign(clean(), by="R. Alder", role="operator", meaning="inspected by", decision="none")
    assert inspected.decision == "none"
    assert sign(clean(inspected)).head == HEAD


HOLD = logged("x1", said("alternator", "hanging"))
REPAIR = logged("x1", said("alternator", "loose"))
OUTSIDE = logged("x1", read("fan_belt", "deflection", "1"))
UNCOVERED = EntryWithdrawn(entry_id="s_alternator", by="R. Alder", reason="disregard")


@pytest.mark.parametrize(
    ("event", "asked"),
    [(HOLD, True), (REPAIR, False), (OUTSIDE, True), (UNCOVERED, True), (logged("x1", DRIPPING), True)],
)
def test_in_service_against_the_worst_needs_a_reason(event: Event, asked: bool) -> None:
    """A defect of the worst rank, a value outside its limit, or a point not covered asks why."""
    state = clean(event)
    if asked:
        with pytest.raises(WalkError, match="needs a reason"):
            sign(state)
    assert sign(state, reason="seen, spare fitted").reason == "seen, spare fitted"
    assert sign(state, decision="out of service").decision == "out of service"


@pytest.mark.parametrize(
    ("given", "what"),
    [
        ({"by": "  "}, "a name is missing"),
        ({"meaning": "inspected by"}, "the signature of an officer does not mean"),
        ({"role": "operator"}, "the signature of an operator does not mean"),
        ({"role": "operator", "meaning": "inspected by"}, "carries no decision"),
        ({"decision": "none"}, "needs a decision"),
        ({"role": "mechanic", "meaning": "repair certified by"}, "not signed by a mechanic"),
        ({"head": ""}, "no hash"),
    ],
)
def test_a_signature_that_does_not_fit_is_refused(given: dict[str, str], what: str) -> None:
    """Role, meaning, decision and name belong together."""
    with pytest.raises(WalkError) as refused:
        sign(clean(), **given)
    assert what in refused.value.what
    assert refused.value.remedy


def test_a_walk_that_is_not_finished_cannot_be_signed() -> None:
    """Signing waits for the end of the walk."""
    with pytest.raises(WalkError, match="not finished"):
        sign(state_of([started(), *cover()]))


def test_the_refusal_says_which_doubts_are_open() -> None:
    """Each open doubt is named."""
    with pytest.raises(WalkError) as refused:
        sign(state_of([*walk(), doubt("d2")]))
    assert "2 are open" in refused.value.what
    assert "d1 'left lift cylinder dripping'; d2" in refused.value.what


def test_the_same_person_signs_the_same_thing_once() -> None:
    """A second signature of the same meaning is refused until the record has changed."""
    first = sign(clean())
    with pytest.raises(WalkError, match="signed this already"):
        sign(clean(first), by="m.  ruiz")
    assert sign(clean(first), by="T. Vance").by == "T. Vance"
    changed = EntryCorrected(entry_id="s_alternator", claim=said("alternator", "loose"), by=BY, reason="seen")
    assert sign(clean(first, changed)).by == BY


def test_a_signature_is_whole_while_only_signatures_follow() -> None:
    """Any other event after a signature is not covered by it."""
    first, second = sign(clean()), sign(clean(), by="T. Vance")
    assert review.signed_whole(clean(first, second), first)
    assert review.signed_whole(clean(first, second), second)
    late = clean(first, WalkResumed(operator="R. Alder"), second)
    assert not review.signed_whole(late, first)
    assert review.signed_whole(late, second)
    assert not review.signed_whole(clean(), first)


# a doubt never becomes a pass -----------------------------------------------------------------

_POINTS = ("lift_cylinder_left", "water_pump", "oil_filter")
_IDS = tuple(f"e{n}" for n in range(6))


@st.composite
def _walks(draw: st.DrawFn) -> list[Event]:
    """Draw a finished walk in which entries are logged, doubted, and changed in any order."""
    events: list[Event] = [started()]
    known: list[str] = []
    for _ in range(draw(st.integers(1, 12))):
        point = draw(st.sampled_from(_POINTS))
        kind = draw(st.sampled_from(("log", "doubt", "settle", "confirm", "correct", "withdraw", "line")))
        if kind in ("log", "doubt") and len(known) < len(_IDS):
            corrects = draw(st.sampled_from((None, *known)))
            entry_id = _IDS[len(known)]
            claims = [said(point, "dry"), said(point, "dripping")]
            if kind == "log":
                events.append(logged(entry_id, draw(st.sampled_from(claims)), corrects=corrects))
            else:
                first, second = draw(st.permutations(claims))
                events.append(doubted(entry_id, (first, 0.6), (second, 0.3), corrects=corrects))
            known.append(entry_id)
        elif kind == "line":
            events.append(NotUnderstood(reason="not clear enough", heard=heard("")))
        elif known:
            entry_id = draw(st.sampled_from(known))
            events.append(_change(kind, entry_id, draw(st.sampled_from(("dry", "dripping"))), point))
    return [*events, WalkFinished(missing=())]


def _change(kind: str, entry_id: str, condition: str, point: str) -> Event:
    claim = said(point, condition)
    match kind:
        case "settle":
            return DoubtSettled(entry_id=entry_id, claim=claim, by=BY, reason="x")
        case "correct":
            return EntryCorrected(entry_id=entry_id, claim=claim, by=BY, reason="x")
        case "withdraw":
            return EntryWithdrawn(entry_id=entry_id, by=BY, reason="x")
        case _:
            return EntryConfirmed(entry_id=entry_id, by=BY)


def _open(events: list[Event]) -> set[str]:
    """Work out which doubts are open from the events alone, without the state."""
    found: set[str] = set()
    for event in events:
        if getattr(event, "doubts", ()):
            found.add(event.entry_id)  # type: ignore[union-attr]
        elif isinstance(event, DoubtSettled | EntryCorrected | EntryWithdrawn):
            found.discard(event.entry_id)
        elif (corrects := getattr(event, "corrects", None)) is not None:
            found.discard(corrects)
    return found


def _replaces(events: list[Event]) -> bool:
    """Say whether an entry in doubt that replaces another was made to stand."""
    return any(getattr(e, "corrects", None) and getattr(e, "doubts", ()) for e in events)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    events=_walks(),
    who=st.sampled_from(
        [("operator", "inspected by", "none")] + [("officer", "confirmed by", d) for d in review.DECISIONS]
    ),
    reason=st.sampled_from(("", "looked at it")),
)
def test_nothing_with_an_open_doubt_can_be_signed(
    events: list[Event], who: tuple[str, str, str], reason: str
) -> None:
    """Whatever happened in the walk, whoever signs and however decided: a doubt bars the signature."""
    state = state_of(events)
    role, meaning, decision = who
    given = {"role": role, "meaning": meaning, "decision": decision}
    if role == "operator":
        given["by"] = "R. Alder"
    assert open_doubts(events) == tuple(entry.entry_id for entry in state.doubts())
    if _replaces(events):
        bars = bool(state.doubts())
    else:
        bars = bool(_open(events))
        assert {e.entry_id for e in state.doubts()} == _open(events)
    if bars:
        with pytest.raises(WalkError, match="open doubt"):
            sign(state, reason=reason, **given)
    elif reason or decision != "in service":
        assert sign(state, reason=reason, **given).decision == decision


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(events=_walks(), number=st.integers(1, 2), entry_id=st.sampled_from(_IDS))
def test_nobody_passes_what_may_be_a_defect_without_a_reason(
    events: list[Event], number: int, entry_id: str
) -> None:
    """No action without a reason turns an entry in doubt, with a defect among its candidates, sound."""
    state = state_of(events)
    entry = state.entries.get(entry_id)
    if entry is None or not entry.in_doubt:
        return
    for act in (
        lambda: review.settle_by_number(state, entry_id, number, BY),
        lambda: review.confirm(state, entry_id, BY),
        lambda: review.correct(state, entry_id, DRY, BY, ""),
    ):
        try:
            event = act()
        except WalkError:
            continue
        assert state_of([*events, event]).entries[entry_id].claim.polarity == "defect"


# plain lines ----------------------------------------------------------------------------------


def test_plain_lines_are_numbered_and_carry_what_settle_takes() -> None:
    """Items are numbered from 1; a doubt's choices have the numbers that settle it."""
    lines = review_lines(state_of(walk()))
    assert lines[1] == "1 doubt, 3 defects, 85 of 87 covered, 2 not covered"
    assert lines[2].startswith("1. in doubt: left lift cylinder: dripping or dry? (entry d1)")
    assert lines[3].startswith("   choice 1: left lift cylinder dripping, defect, class three leak;")
    assert lines[4].endswith("needs a reason")
    assert lines[-1] == "not signed"


def test_plain_lines_carry_nothing_that_moves_a_terminal() -> None:
    """Words from outside lose their escapes and line ends."""
    nasty = "\x1b[31mred\x1b[0m\r\n[bold]2. sound: fan belt\u202e"
    events: list[Event] = [started(), NotUnderstood(reason=nasty, heard=heard("", free=nasty))]
    lines = review_lines(state_of(events))
    assert all(line.isprintable() for line in lines)
    assert any("[bold]2. sound: fan belt" in line for line in lines)
    assert sheet().title in lines[0]
