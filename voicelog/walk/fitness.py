"""What the local policy says against a decision about a unit; pure.

voicelog compares and does not decide. A decision against the policy can be made by a person who
may, with a reason, and is then shown as such wherever the signature is.
"""

from __future__ import annotations

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
class Breach:
    """A standing defect that the policy asks something of."""

    entry_id: str
    rule: Rule
    what: str
    """The defect: ``left lift cylinder dripping``."""

    @property
    def words(self) -> str:
        """The defect, what the policy asks for, and why."""
        return f"{self.what}: {DEMANDED[self.rule.demand]}, {self.rule.why}"


def breaches(state: WalkState, policy: Policy) -> tuple[Breach, ...]:
    """Return each standing defect that a rule fits, with the first rule that does; worst first.

    Rules that take the unit out of service come first, so none is hidden by one that asks less.
    """
    found = []
    for entry in state.defects():
        rule = next((rule for rule in policy.rules if _fits(rule, entry.claim, state)), None)
        if rule is not None:
            found.append(Breach(entry.entry_id, rule, show_claim(entry.claim, state.sheet)))
    return tuple(sorted(found, key=lambda breach: breach.rule.demand != "out_of_service"))


def against(state: WalkState, policy: Policy | None, decision: str) -> tuple[str, ...]:
    """Return what of the policy ``decision`` sets aside, in words; empty when it sets aside nothing."""
    if policy is None:
        return ()
    met = _ALLOWS[decision]
    return tuple(breach.words for breach in breaches(state, policy) if breach.rule.demand not in met)


def overdue_doubts(state: WalkState, policy: Policy, now: datetime) -> tuple[Entry, ...]:
    """Return the doubts that are open for longer than the policy allows, oldest first."""
    longest = timedelta(hours=policy.doubt_hours)
    return tuple(entry for entry in state.doubts() if now - entry.at > longest)


def _fits(rule: Rule, claim: Claim, state: WalkState) -> bool:
    if rule.class_id is not None and claim.class_id != rule.class_id:
        return False
    if rule.conditions and claim.condition_id not in rule.conditions:
        return False
    if rule.sheet is not None and rule.sheet != state.sheet.id:
        return False
    if rule.points and claim.point_id not in rule.points:
        return False
    # A defect with a reading is one by its value.
    return not rule.outside_limit or claim.reading_id is not None
