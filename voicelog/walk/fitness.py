"""What the local policy says against a decision about a unit; pure.

voicelog compares and does not decide. A decision against the policy can be made by a person who
may, with a reason, and is then shown as such wherever the signature is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from voicelog.meaning.facts import Claim
from voicelog.walk.state import Entry, WalkState
from voicelog.walk.wording import show_claim

if TYPE_CHECKING:
    from voicelog.sheet.policy import Policy, Rule

DEMANDED = {"out_of_service": "out of service", "restrictions": "restrictions"}
"""What a rule asks for, in words."""
_ALLOWS = {
    "in service": (),
    "in service with restrictions": ("restrictions",),
    "out of service": ("out_of_service", "restrictions"),
    "none": ("out_of_service", "restrictions"),
}
"""Which demands each decision meets; "none" decides nothing."""


@dataclass(frozen=True, slots=True)
class OpenBefore:
    """A defect of the unit that another walk found and that is open still, as it stands now."""

    defect_id: str
    sheet_id: str
    point_id: str
    what: str
    """What is said of its point: ``dripping``."""
    words: str
    """``left lift cylinder dripping, since 2026-11-23, deferred until 2026-12-04``."""
    class_id: str | None
    rank: int
    of_reading: bool
    """Whether it is a value outside its limit."""
    overdue: bool
    """Whether it was deferred to a day that has passed."""


@dataclass(frozen=True, slots=True)
class Breach:
    """A standing defect that the policy asks something of."""

    entry_id: str
    """Empty for a defect that is open from before."""
    rule: Rule
    what: str
    """The defect: ``left lift cylinder dripping``."""

    @property
    def words(self) -> str:
        """The defect, what the policy asks for, and why."""
        return f"{self.what}: {DEMANDED[self.rule.demand]}, {self.rule.why}"


def breaches(state: WalkState, policy: Policy, open_before: Sequence[OpenBefore] = ()) -> tuple[Breach, ...]:
    """Return each standing defect that a rule fits, with the first rule that does; worst first.

    ``open_before`` are the unit's defects of other walks: that nothing was said of them in this one
    does not mend them. Rules that take the unit out of service come first, so none is hidden by one
    that asks less.
    """
    found = []
    for entry in state.defects():
        rule = next((rule for rule in policy.rules if _fits(rule, entry.claim, state)), None)
        if rule is not None:
            found.append(Breach(entry.entry_id, rule, show_claim(entry.claim, state.sheet)))
    for defect in open_before:
        rule = next((rule for rule in policy.rules if _fits_before(rule, defect, state)), None)
        if rule is not None:
            found.append(Breach("", rule, f"{defect.words} ({defect.defect_id})"))
    return tuple(sorted(found, key=lambda breach: breach.rule.demand != "out_of_service"))


def against(
    state: WalkState, policy: Policy | None, decision: str, open_before: Sequence[OpenBefore] = ()
) -> tuple[str, ...]:
    """Return what of the policy ``decision`` sets aside, in words; empty when it sets aside nothing."""
    if policy is None:
        return ()
    met = _ALLOWS[decision]
    return tuple(b.words for b in breaches(state, policy, open_before) if b.rule.demand not in met)


def overdue_doubts(state: WalkState, policy: Policy, now: datetime) -> tuple[Entry, ...]:
    """Return the doubts that are open for longer than the policy allows, oldest first."""
    longest = timedelta(hours=policy.doubt_hours)
    return tuple(entry for entry in state.doubts() if now - entry.at > longest)


def _fits(rule: Rule, claim: Claim, state: WalkState) -> bool:
    if rule.conditions and claim.condition_id not in rule.conditions:
        return False
    # A defect with a reading is one by its value.
    of_reading = claim.reading_id is not None
    return _fits_all(rule, claim.class_id, state.sheet.id, claim.point_id, of_reading=of_reading)


def _fits_before(rule: Rule, defect: OpenBefore, state: WalkState) -> bool:
    if rule.conditions:
        # On record is how a condition is said, for its sheet may not be at hand. One of another sheet that
        # this lexicon does not know may be the very one: then the rule is held to fit.
        known = [state.sheet.lexicon.conditions.get(name) for name in rule.conditions]
        cannot_tell = None in known and defect.sheet_id != state.sheet.id
        if not cannot_tell and defect.what not in {condition.say[0] for condition in known if condition}:
            return False
    return _fits_all(rule, defect.class_id, defect.sheet_id, defect.point_id, of_reading=defect.of_reading)


def _fits_all(rule: Rule, class_id: str | None, sheet_id: str, point_id: str, *, of_reading: bool) -> bool:
    if rule.class_id is not None and class_id != rule.class_id:
        return False
    if rule.sheet is not None and rule.sheet != sheet_id:
        return False
    if rule.points and point_id not in rule.points:
        return False
    return of_reading or not rule.outside_limit
