"""The local policy: which defects it takes a unit out of service for, and who may decide otherwise."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.conftest import ROOT
from tests.walk.reviewing import HEAD, START, cover, doubted, logged, read, said, sheet, started, state_of
from voicelog.errors import WalkError
from voicelog.screens.review_plain import review_lines
from voicelog.screens.review_text import signatures
from voicelog.sheet.policy import Policy, load_policy
from voicelog.walk import review
from voicelog.walk.events import Claim, SignedOff, WalkFinished, WalkResumed
from voicelog.walk.fitness import against, breaches, overdue_doubts
from voicelog.walk.state import WalkState, apply

POLICY: Policy = load_policy(ROOT / "grammars" / "policy.toml", sheet())
OFFICER = "M. Ruiz"


def finished(*claims: Claim) -> WalkState:
    """Return a finished walk in which the claims are logged and all else is sound."""
    points = {claim.point_id for claim in claims}
    entries = [logged(f"e{n}", claim) for n, claim in enumerate(claims, 1)]
    return state_of([started(), *entries, *cover(*points), WalkFinished(missing=())])


def sign(
    state: WalkState, decision: str, override: str = "", by: str = OFFICER, **other: object
) -> SignedOff:
    """Return the officer's signature, held against the policy."""
    given: dict[str, object] = {"role": "officer", "meaning": "confirmed by", "policy": POLICY} | other
    given |= {"by": by, "decision": decision, "override": override, "reason": "seen", "head": HEAD}
    return review.sign(state, **given)  # type: ignore[arg-type]


# What each decision sets aside of the shipped policy: class three leak and hold take the unit out,
# repair and a value outside its limit allow restrictions at most, a brake out of adjustment takes it out.
CASES = [
    (said("lift_cylinder_left", "dripping"), "in service", True),
    (said("lift_cylinder_left", "dripping"), "in service with restrictions", True),
    (said("lift_cylinder_left", "dripping"), "out of service", False),
    (said("lift_cylinder_left", "weeping"), "in service", False),
    (said("alternator", "loose"), "in service", True),
    (said("alternator", "loose"), "in service with restrictions", False),
    (said("alternator", "hanging"), "in service with restrictions", True),
    (read("fan_belt", "deflection", "1"), "in service", True),
    (read("fan_belt", "deflection", "1"), "in service with restrictions", False),
    (read("slack_adjuster_left", "hand_travel", "3"), "in service with restrictions", True),
    (said("fan_belt", "good"), "in service", False),
]


@pytest.mark.parametrize(("claim", "decision", "overridden"), CASES)
def test_what_the_policy_asks_needs_a_reason_to_set_aside(
    claim: Claim, decision: str, overridden: bool
) -> None:
    """Without a reason it is refused; with one it is signed, and the signature says what was set aside."""
    state = finished(claim)
    assert bool(against(state, POLICY, decision)) is overridden
    if overridden:
        for empty in ("", "  "):
            with pytest.raises(WalkError, match="against the local policy"):
                sign(state, decision, empty)
    signed = sign(state, decision, "towed to the shop under escort")
    assert bool(signed.overridden) is overridden
    assert signed.override_reason == ("towed to the shop under escort" if overridden else "")
    assert signed.policy_sha256 == POLICY.sha256


def test_an_override_is_printed_wherever_the_signature_is() -> None:
    """The line of the signature names what was set aside, why the policy asks it, and the reason."""
    state = finished(said("lift_cylinder_left", "dripping"))
    signed = sign(state, "in service", "spare engine is out")
    state = apply(state, signed, START)
    (line,) = signatures(state)
    assert "AGAINST THE LOCAL POLICY: left lift cylinder dripping: out of service, fluid falls" in line
    assert "overridden because: spare engine is out" in line
    assert "not signed with a key" in line


def test_a_signature_shows_the_elements_of_21_cfr_11_50() -> None:
    """21 CFR 11.50(a) (from memory): (1) printed name, (2) date and time, (3) meaning; and the zone."""
    state = finished(said("fan_belt", "good"))
    state = apply(state, sign(state, "in service"), START)
    (line,) = signatures(state)
    elements = {
        "(1) the printed name of the signer": "M. Ruiz",
        "(2) the date and time when the signature was executed": "2026-11-25 07:10:00 UTC-05:00",
        "(3) the meaning": "confirmed by",
    }
    for element, shown in elements.items():
        assert shown in line, element


def test_what_the_policy_asks_is_in_the_review_before_it_is_signed() -> None:
    """Worst first: what takes the unit out of service, then what restricts it."""
    state = finished(said("alternator", "loose"), said("lift_cylinder_left", "dripping"))
    assert [(b.entry_id, b.rule.demand) for b in breaches(state, POLICY)] == [
        ("e2", "out_of_service"),
        ("e1", "restrictions"),
    ]
    lines = [line for line in review_lines(state, POLICY, START) if line.startswith("local policy")]
    assert [line.split(": ")[1] for line in lines] == ["left lift cylinder dripping", "alternator loose"]


def test_only_who_may_override_does() -> None:
    """Where the policy names people, no other officer signs against it; with it, any does."""
    named = replace(POLICY, override_by=("A. Chief",))
    state = finished(said("lift_cylinder_left", "dripping"))
    with pytest.raises(WalkError, match="against the local policy") as caught:
        sign(state, "in service", "because", policy=named)
    assert "A. Chief" in caught.value.remedy
    assert sign(state, "in service", "because", by="a. chief", policy=named).overridden
    assert not sign(state, "out of service", policy=named).overridden


def test_nobody_confirms_their_own_walk() -> None:
    """Nor a walk that they took up in its middle; where the policy allows it, they may."""
    state = finished(said("fan_belt", "good"))
    with pytest.raises(WalkError, match="lets nobody confirm their own"):
        sign(state, "in service", by="r. alder")
    assert sign(state, "in service", by="R. Alder", policy=replace(POLICY, own_walk=True))
    taken_up = state_of([started(), WalkResumed(operator=OFFICER), *cover(), WalkFinished(missing=())])
    with pytest.raises(WalkError, match="lets nobody confirm their own"):
        sign(taken_up, "in service")
    # The operator's signature is about having walked, and is not bound by this.
    own = sign(state, "none", by="R. Alder", role="operator", meaning="inspected by")
    assert (own.policy_sha256, own.overridden) == ("", ())


def test_a_doubt_is_overdue_when_the_policy_says() -> None:
    """Open for exactly as long as allowed it is not, a second later it is; and the review says so."""
    weighed = ((said("lift_cylinder_left", "dry"), 0.6), (said("lift_cylinder_left", "dripping"), 0.4))
    state = state_of([started(), doubted("d1", *weighed)])
    at = state.entries["d1"].at
    allowed = at + timedelta(hours=POLICY.doubt_hours)
    assert overdue_doubts(state, POLICY, allowed) == ()
    late = allowed + timedelta(seconds=1)
    assert [entry.entry_id for entry in overdue_doubts(state, POLICY, late)] == ["d1"]
    assert any("overdue: entry d1" in line for line in review_lines(state, POLICY, late))
    assert not any("overdue" in line for line in review_lines(state, POLICY, allowed))


def test_nothing_with_an_open_doubt_is_signed_whatever_the_override() -> None:
    """No reason takes the place of settling a doubt."""
    weighed = ((said("lift_cylinder_left", "dry"), 0.6), (said("lift_cylinder_left", "dripping"), 0.4))
    state = state_of(
        [started(), doubted("d1", *weighed), *cover("lift_cylinder_left"), WalkFinished(missing=())]
    )
    for decision in review.DECISIONS:
        with pytest.raises(WalkError, match="open doubt"):
            sign(state, decision, "because")
