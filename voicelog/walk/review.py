"""What an officer may do about a walk, as events; pure.

A doubt never becomes a pass: nothing here makes an entry sound without a person's name on it,
what would take away a defect needs a reason, and nothing with an open doubt can be signed. Each
function returns the event to append, or raises WalkError with what to do instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from voicelog.errors import WalkError
from voicelog.meaning.claims import computed_fits, make_claim
from voicelog.meaning.facts import Claim
from voicelog.meaning.wording import say_claim
from voicelog.sheet.model import Sheet
from voicelog.walk.agenda import HEADINGS, Item, ItemKind, agenda, candidates, severity
from voicelog.walk.events import (
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryWithdrawn,
    GroupMarkConfirmed,
    GroupMarkReopened,
    RecheckAsked,
    SignedOff,
    SoundLost,
    SoundMissed,
)
from voicelog.walk.fitness import OpenBefore, against, breaches
from voicelog.walk.persons import same_person
from voicelog.walk.signable import DECISIONS, MEANINGS, Decision, Role, SignatureMeaning
from voicelog.walk.state import Entry, WalkState
from voicelog.walk.typed_claim import Phrases, claims_from_words

if TYPE_CHECKING:
    from voicelog.sheet.policy import Policy

__all__ = [
    "DECISIONS",
    "HEADINGS",
    "MEANINGS",
    "Decision",
    "Item",
    "ItemKind",
    "OpenBefore",
    "Phrases",
    "Role",
    "against",
    "agenda",
    "ask_recheck",
    "breaches",
    "candidates",
    "claims_from_words",
    "confirm",
    "correct",
    "reject",
    "same_person",
    "settle",
    "settle_by_number",
    "settling_needs_reason",
    "sign",
    "sign_needs_reason",
    "signed_whole",
]


def settle(state: WalkState, entry_id: str, choice: Claim, by: str, reason: str = "") -> DoubtSettled:
    """Return the event that says which of an entry's candidates was meant.

    Settling it as sound, when it may have been a defect, needs a reason.
    """
    entry = _entry(state, entry_id)
    if not entry.in_doubt:
        raise WalkError(
            f"{_said(state, entry)} is not in doubt",
            where=f"entry {entry_id}",
            remedy="confirm it, correct it or reject it instead",
        )
    _check_claim(state.sheet, choice)
    if choice not in (c.claim for c in candidates(entry)):
        raise WalkError(
            f"{say_claim(choice, state.sheet)} is not one of the candidates",
            where=f"entry {entry_id}",
            remedy="choose one of its candidates, or correct the entry",
        )
    if settling_needs_reason(entry, choice):
        reason = _reason(reason, "settling it as sound, when it may have been a defect,")
    return DoubtSettled(entry_id=entry_id, claim=choice, by=_name(by), reason=reason.strip())


def settle_by_number(state: WalkState, entry_id: str, number: int, by: str, reason: str = "") -> DoubtSettled:
    """Return the event that settles an entry as its candidate ``number``, from 1, as listed."""
    entry = _entry(state, entry_id)
    choices = candidates(entry)
    if entry.in_doubt and not 1 <= number <= len(choices):
        listed = "; ".join(f"{n} {say_claim(c.claim, state.sheet)}" for n, c in enumerate(choices, 1))
        raise WalkError(
            f"there is no candidate {number}", where=f"entry {entry_id}", remedy=f"choose one of: {listed}"
        )
    choice = choices[number - 1].claim if choices else entry.claim
    return settle(state, entry_id, choice, by, reason)


def settling_needs_reason(entry: Entry, choice: Claim) -> bool:
    """Return whether settling an entry so needs a reason: sound, where a defect is a candidate."""
    return choice.polarity == "sound" and any(c.claim.polarity == "defect" for c in candidates(entry))


def confirm(state: WalkState, entry_id: str, by: str, reason: str = "") -> EntryConfirmed:
    """Return the event that says a person has looked at an entry and leaves it as it is.

    A withdrawn or replaced entry stays so. An entry in doubt cannot be confirmed.
    """
    entry = _entry(state, entry_id)
    if entry.in_doubt:
        raise WalkError(
            f"{_said(state, entry)} is in doubt, and a doubt cannot be confirmed",
            where=f"entry {entry_id}",
            remedy="choose one of its candidates, correct it or reject it",
        )
    return EntryConfirmed(entry_id=entry_id, by=_name(by), reason=reason.strip())


def correct(state: WalkState, entry_id: str, claim: Claim, by: str, reason: str) -> EntryCorrected:
    """Return the event that makes an entry say ``claim``, and stand.

    Also brings back an entry that was withdrawn or replaced.
    """
    entry = _entry(state, entry_id)
    _check_claim(state.sheet, claim)
    if entry.status == "standing" and claim == entry.claim:
        raise WalkError(
            f"the entry says {say_claim(claim, state.sheet)} already",
            where=f"entry {entry_id}",
            remedy="confirm it instead",
        )
    return EntryCorrected(
        entry_id=entry_id, claim=claim, by=_name(by), reason=_reason(reason, "a correction")
    )


def reject(state: WalkState, entry_id: str, by: str, reason: str) -> EntryWithdrawn:
    """Return the event that makes an entry count for nothing; its point is open again."""
    entry = _entry(state, entry_id)
    if entry.status in ("withdrawn", "replaced"):
        raise WalkError(
            f"{_said(state, entry)} is {entry.status} already",
            where=f"entry {entry_id}",
            remedy="leave it, or correct it to bring it back",
        )
    return EntryWithdrawn(entry_id=entry_id, by=_name(by), reason=_reason(reason, "rejecting an entry"))


def confirm_marks(state: WalkState, points: tuple[str, ...], by: str, reason: str = "") -> GroupMarkConfirmed:
    """Return the event that lets a group mark stand for these points."""
    return GroupMarkConfirmed(point_ids=_marked(state, points), by=_name(by), reason=reason.strip())


def reopen_marks(state: WalkState, points: tuple[str, ...], by: str, reason: str) -> GroupMarkReopened:
    """Return the event that takes the group mark from these points: they are open again."""
    return GroupMarkReopened(
        point_ids=_marked(state, points), by=_name(by), reason=_reason(reason, "re-opening a group mark")
    )


def _marked(state: WalkState, points: tuple[str, ...]) -> tuple[str, ...]:
    if not points or not state.marks.points.issuperset(points):
        raise WalkError("that is not sound by group mark", remedy="choose a group mark of this walk")
    return points


def ask_recheck(state: WalkState, point_id: str, by: str, reason: str) -> RecheckAsked:
    """Return the event that opens a point again until it is spoken of: in this walk, or the next."""
    point = state.sheet.points.get(point_id)
    if point is None:
        raise WalkError(f"the sheet has no point {point_id}", remedy="choose one of the sheet's points")
    if any(event.point_id == point_id for _, event in state.rechecks) and state.not_looked_at(point_id):
        raise WalkError(
            f"{point.full_name} is to be looked at again already", remedy="nothing more is needed for it"
        )
    return RecheckAsked(point_id=point_id, by=_name(by), reason=_reason(reason, "asking for a re-check"))


def sign(
    state: WalkState,
    *,
    by: str,
    role: Role,
    meaning: SignatureMeaning,
    decision: Decision,
    reason: str = "",
    head: str,
    policy: Policy | None = None,
    override: str = "",
    open_before: Sequence[OpenBefore] = (),
) -> SignedOff:
    """Return a person's signature over the walk as it was shown to them.

    ``head`` is the hash of the last event that was shown, ``open_before`` the unit's defects of other
    walks that are open still. A walk must be finished, and nothing in it in doubt. "In service" needs
    a reason while :func:`sign_needs_reason` names anything. A decision that sets something of
    ``policy`` aside needs ``override``, the reason why. Only who walked signs as operator.
    """
    if state.finished is None:
        raise WalkError("the walk is not finished", remedy="finish the walk ('walk complete'), then sign")
    if doubts := state.doubts():
        listed = "; ".join(f"{e.entry_id} {_said(state, e)}" for e in doubts)
        raise WalkError(
            f"nothing with an open doubt can be signed, and {len(doubts)} "
            f"{'is' if len(doubts) == 1 else 'are'} open: {listed}",
            remedy="settle, correct or reject each of them, then sign",
        )
    if role == "officer" and (marked := state.marks.unconfirmed):
        names = ", ".join(state.sheet.points[point_id].full_name for point_id in marked)
        raise WalkError(
            f"a group mark that no officer confirmed cannot be signed: {names}",
            remedy="confirm the group mark or re-open it, then sign",
        )
    by = _name(by)
    _check_role(role, meaning, decision)
    if any(
        same_person(s.by, by) and s.meaning == meaning and signed_whole(state, s) for _, s in state.signatures
    ):
        raise WalkError(
            f"{by} has signed this already, as '{meaning}', and nothing was changed since",
            remedy="nothing more is needed from this person",
        )
    if role == "operator" and not any(same_person(by, name) for name in state.operators):
        raise WalkError(
            f"{by} did not walk this walk, and '{meaning}' says so",
            remedy=f"let one who walked sign it: {', '.join(dict.fromkeys(state.operators))}",
        )
    setting_aside = against(state, policy, decision, open_before) if role == "officer" else ()
    if policy is not None and role == "officer":
        _check_policy(state, policy, by, decision, setting_aside, override)
    override = override.strip() if setting_aside else ""
    reason = reason.strip() or override
    if decision == "in service" and (needing := sign_needs_reason(state, open_before)):
        reason = _reason(reason, f"'in service' with {'; '.join(needing)}")
    if not head:
        raise WalkError("there is no hash of what is being signed", remedy="read the walk again, then sign")
    return SignedOff(
        by=by,
        role=role,
        meaning=meaning,
        decision=decision,
        reason=reason,
        head=head,
        policy_sha256=policy.sha256 if policy is not None and role == "officer" else "",
        overridden=setting_aside,
        override_reason=override,
    )


def sign_needs_reason(state: WalkState, open_before: Sequence[OpenBefore] = ()) -> tuple[str, ...]:
    """Return what speaks against "in service", in words; empty when a decision needs no reason.

    Defects of the worst rank and values outside their limits, of this walk or open from before;
    defects deferred to a day that has passed, or that who walked was not told of; required points not
    covered, sound that was not heard.
    """
    sheet = state.sheet
    worst = max((c.rank for c in sheet.lexicon.classes.values()), default=0)
    found = [
        say_claim(e.claim, sheet)
        for e in state.defects()
        if e.claim.reading_id is not None or severity(e.claim, sheet) >= worst
    ]
    for defect in open_before:
        late = "overdue: " if defect.overdue else ""
        if late or defect.of_reading or defect.rank >= worst:
            found.append(f"{late}{defect.words} ({defect.defect_id})")
    if untold := len(state.unacknowledged()):
        found.append(f"{untold} {'defect' if untold == 1 else 'defects'} from before not acknowledged")
    if missing := len(state.missing()):
        found.append(f"{missing} required {'point' if missing == 1 else 'points'} not covered")
    if any(isinstance(event, SoundLost | SoundMissed) for _, event in state.sound):
        found.append("sound that was lost or missed: what was said then is not on record")
    return tuple(found)


def signed_whole(state: WalkState, signature: SignedOff) -> bool:
    """Return whether a signature covers all there is: nothing but signatures came after it.

    False too for a signature that is not of this walk.
    """
    for place in reversed(range(len(state.signatures))):
        if state.signatures[place][1] == signature:
            later = len(state.signatures) - place - 1
            return state.events - state.signature_numbers[place] == later
    return False


def _check_policy(
    state: WalkState, policy: Policy, by: str, decision: Decision, aside: tuple[str, ...], override: str
) -> None:
    """Refuse what the policy does not leave to this person, or what was not given a reason."""
    if not policy.own_walk and any(same_person(by, name) for name in state.operators):
        raise WalkError(
            f"{by} walked this walk, and the local policy lets nobody confirm their own",
            where=policy.path,
            remedy="let another officer sign",
        )
    if not aside:
        return
    listed = "; ".join(aside)
    if policy.override_by and not any(same_person(by, name) for name in policy.override_by):
        raise WalkError(
            f"'{decision}' is against the local policy: {listed}",
            where=policy.path,
            remedy=f"decide as it says, or let one sign who may override it: {', '.join(policy.override_by)}",
        )
    if not override.strip():
        raise WalkError(
            f"'{decision}' is against the local policy: {listed}",
            where=policy.path,
            remedy="decide as it says, or say why it is overridden; that is printed with the signature",
        )


def _check_role(role: Role, meaning: SignatureMeaning, decision: Decision) -> None:
    if role not in MEANINGS:
        raise WalkError(f"a walk is not signed by a {role}", remedy="sign as operator or as officer")
    if MEANINGS[role] != meaning:
        raise WalkError(
            f"the signature of an {role} does not mean '{meaning}'",
            remedy=f"sign as {role} with '{MEANINGS[role]}'",
        )
    if role == "operator" and decision != "none":
        raise WalkError(
            "an operator's signature carries no decision", remedy="leave the decision to the officer"
        )
    if role == "officer" and decision not in DECISIONS:
        raise WalkError("an officer's signature needs a decision", remedy="decide: " + ", ".join(DECISIONS))


def _entry(state: WalkState, entry_id: str) -> Entry:
    entry = state.entries.get(entry_id)
    if entry is None:
        known = ", ".join(state.entries) or "none"
        raise WalkError(f"there is no entry {entry_id}", remedy=f"choose one of the walk's entries: {known}")
    return entry


def _check_claim(sheet: Sheet, claim: Claim) -> None:
    """Refuse a claim that is not possible, or does not count as the sheet says it does."""
    if claim.low is not None:
        if not computed_fits(sheet, claim):
            raise WalkError(
                "no test or result of this sheet comes to that", remedy="choose one of the entry's candidates"
            )
        return
    made = make_claim(
        sheet,
        claim.point_id,
        condition_id=claim.condition_id,
        reading_id=claim.reading_id,
        value=claim.value,
    )
    if made != claim:
        raise WalkError(
            f"{say_claim(made, sheet)} counts as {made.polarity} on this sheet, not as this claim says",
            remedy="make the claim again from this sheet",
        )


def _said(state: WalkState, entry: Entry) -> str:
    return f"'{say_claim(entry.claim, state.sheet)}'"


def _name(by: str) -> str:
    name = " ".join(by.split())
    if not name:
        raise WalkError("a name is missing", remedy="say who does this")
    return name


def _reason(reason: str, what: str) -> str:
    if not reason.strip():
        raise WalkError(f"{what} needs a reason", remedy="say why, in a few words")
    return reason.strip()
