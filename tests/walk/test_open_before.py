"""A defect of an earlier walk is not signed away by a walk that says nothing of it. Invented walks."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from tests.walk.reviewing import HEAD, START, cover, logged, read, said, started, state_of
from tests.walk.test_fitness import POLICY
from voicelog.defects import acts
from voicelog.defects.book import UnitBook, apply
from voicelog.defects.events import OfADefect
from voicelog.defects.from_walk import from_walk
from voicelog.defects.open_before import open_before
from voicelog.errors import WalkError
from voicelog.sheet.policy import Rule
from voicelog.walk import review
from voicelog.walk.events import Claim, Event, SignedOff, SoundLost, SoundMissed, WalkFinished
from voicelog.walk.fitness import breaches
from voicelog.walk.state import WalkState

TODAY = date(2026, 11, 27)
DRIPPING, WEEPING, DRY = (said("lift_cylinder_left", what) for what in ("dripping", "weeping", "dry"))


def book_of(claim: Claim, *done: str) -> UnitBook:
    """Return the unit's book after a walk that says the claim, and what was done about it since."""
    book = UnitBook("engine_61")
    for event in from_walk(book, "monday", state_of([started(), logged("e1", claim)]), START):
        book = apply(book, event, START)
    for what in done:
        (defect,) = book.defects.values()
        act: OfADefect
        match what:
            case "deferred to yesterday":
                until = date(2026, 11, 26)
                act = acts.defer(
                    defect, by="M. Ruiz", role="officer", until=until, reason="seal", today=START.date()
                )
            case "deferred to December":
                until = date(2026, 12, 4)
                act = acts.defer(
                    defect, by="M. Ruiz", role="officer", until=until, reason="seal", today=START.date()
                )
            case "repaired":
                act = acts.repair(defect, by="K. Osei", role="mechanic", findings="new seal")
            case _:
                act = acts.certify(defect, by="K. Osei", role="mechanic")
        book = apply(book, act, START)
    return book


def walked(*claims: Claim) -> WalkState:
    """Return a later, finished walk of the unit: the claims, and all else sound."""
    entries: list[Event] = [logged(f"e{n}", claim) for n, claim in enumerate(claims, 1)]
    return state_of([started(), *entries, *cover(*(c.point_id for c in claims)), WalkFinished(missing=())])


def sign(state: WalkState, book: UnitBook, decision: str, **given: str) -> SignedOff:
    """Sign as an officer."""
    return review.sign(
        state,
        by="M. Ruiz",
        role="officer",
        meaning="confirmed by",
        decision=decision,  # type: ignore[arg-type]
        head=HEAD,
        policy=POLICY,
        open_before=open_before(book, state, TODAY),
        **given,
    )


# Class three leak takes the unit out of service in the shipped policy; class one asks nothing; a value
# outside its limit allows restrictions at most.
CASES = [
    # what is open, what was done, what today's walk says, decision, whether an override is needed
    (DRIPPING, (), (), "in service", True),
    (DRIPPING, (), (), "in service with restrictions", True),
    (DRIPPING, (), (), "out of service", False),
    (DRIPPING, (), (DRY,), "in service", True),
    (DRIPPING, (), (WEEPING,), "in service", True),
    (DRIPPING, (), (DRIPPING,), "in service", True),
    (DRIPPING, ("deferred to December",), (), "in service", True),
    (DRIPPING, ("deferred to yesterday",), (), "in service", True),
    (DRIPPING, ("repaired",), (), "in service", True),
    (DRIPPING, ("repaired", "certified"), (), "in service", False),
    (WEEPING, (), (), "in service", False),
    (read("fan_belt", "deflection", "1"), (), (), "in service", True),
    (read("fan_belt", "deflection", "1"), (), (), "in service with restrictions", False),
    (said("alternator", "loose"), (), (), "in service", True),
]


@pytest.mark.parametrize(("held", "done", "says", "decision", "overridden"), CASES)
def test_what_is_open_from_before_is_held_against_the_policy(
    held: Claim, done: tuple[str, ...], says: tuple[Claim, ...], decision: str, overridden: bool
) -> None:
    """Whether the walk says nothing of it, less, or that it is sound; only a certified repair ends it."""
    state, book = walked(*says), book_of(held, *done)
    if overridden:
        with pytest.raises(WalkError, match="against the local policy"):
            sign(state, book, decision, reason="looked at it")
    signed = sign(state, book, decision, reason="looked at it", override="spare engine is out")
    assert bool(signed.overridden) is overridden
    assert len(signed.overridden) <= 1
    if overridden and says != (DRIPPING,):
        assert "engine_61-d1" in signed.overridden[0] and "open since 2026-11-25" in signed.overridden[0]


@pytest.mark.parametrize(
    ("sheet_id", "conditions", "fits"),
    [
        ("cab", ("unseated",), True),
        ("cab", ("dripping", "unseated"), True),
        ("cab", ("dripping",), False),
        ("engine_bay", ("unseated",), False),
        ("engine_bay", ("weeping",), True),
    ],
)
def test_a_condition_that_this_sheet_has_no_word_for_is_not_passed_over(
    sheet_id: str, conditions: tuple[str, ...], fits: bool
) -> None:
    """The lexicon of another sheet may have it: what cannot be told is held against the decision."""
    (weeping,) = open_before(book_of(WEEPING), walked(), TODAY)
    rule = Rule("out_of_service", "it may fail", None, conditions, None, (), outside_limit=False)
    policy = replace(POLICY, rules=(rule,))
    found = breaches(walked(), policy, (replace(weeping, sheet_id=sheet_id),))
    assert bool(found) is fits


@pytest.mark.parametrize(
    ("done", "asked"),
    [((), False), (("deferred to December",), False), (("deferred to yesterday",), True)],
)
def test_an_overdue_deferral_asks_for_a_reason(done: tuple[str, ...], asked: bool) -> None:
    """Also for a defect that the policy asks nothing of; and it is named."""
    state, book = walked(), book_of(WEEPING, *done)
    if asked:
        with pytest.raises(WalkError, match="overdue: left lift cylinder weeping"):
            sign(state, book, "in service")
    assert sign(state, book, "in service", reason="the seal comes tomorrow")


@pytest.mark.parametrize(
    "event",
    [SoundLost(reason="unplugged", at_s=3.0), SoundMissed(at_s=3.0, seconds=0.4, times=2)],
)
def test_sound_that_nobody_heard_asks_for_a_reason(event: Event) -> None:
    """A defect may have been said then."""
    state = state_of([started(), *cover(), event, WalkFinished(missing=())])
    with pytest.raises(WalkError, match="sound that was lost or missed"):
        sign(state, UnitBook("engine_61"), "in service")
    assert sign(state, UnitBook("engine_61"), "in service", reason="walked with them")


def test_only_who_walked_signs_that_it_was_inspected() -> None:
    """Another operator of the station did not inspect it, whatever their role allows."""
    given: dict[str, object] = {"role": "operator", "meaning": "inspected by", "decision": "none"}
    with pytest.raises(WalkError, match="did not walk this walk"):
        review.sign(walked(), by="J. Okafor", head=HEAD, **given)  # type: ignore[arg-type]
    assert review.sign(walked(), by="r. alder", head=HEAD, **given)  # type: ignore[arg-type]
