"""What turns a clear draft into a doubt because of what else is known of the walk. Pure."""

from __future__ import annotations

from dataclasses import replace

from voicelog.meaning.claims import same_matter
from voicelog.meaning.facts import Candidate, Claim
from voicelog.meaning.interpret import Draft, make_doubt
from voicelog.meaning.wording import say_claim
from voicelog.walk.entries import Entry, may_say
from voicelog.walk.state import WalkState


def against_what_stands(
    state: WalkState, draft: Draft, corrects: str | None = None, breath: tuple[Draft, ...] = ()
) -> Draft:
    """Turn a sound draft into a doubt where something that was said says the opposite.

    "Left lift cylinder dry" after "left lift cylinder dripping" is either a slip or a repair;
    only a person can tell which. Correcting what is, or may be, a defect to a sound condition by
    voice asks too: a misheard "correction" must not clear a defect. ``breath`` is everything that
    the same breath says. Each candidate has the posterior that it was said, from its own sound.
    """
    if draft.doubts or draft.claim.polarity != "sound":
        return draft
    sheet = state.sheet
    said = [
        (claim, _chance(entry, claim))
        for entry in state.entries.values()
        for claim in may_say(entry)
        if same_matter(sheet, claim, draft.claim) or entry.entry_id == corrects
    ]
    said += [(d.claim, d.posterior["claim"]) for d in breath if same_matter(sheet, d.claim, draft.claim)]
    opposed = [(claim, chance) for claim, chance in said if claim.polarity == "defect"]
    if not opposed:
        return draft
    candidates = tuple(
        Candidate(claim=claim, posterior=chance, said=say_claim(claim, sheet))
        for claim, chance in (opposed[-1], (draft.claim, draft.posterior["claim"]))
    )
    reason = f"{say_claim(opposed[-1][0], sheet)} was said too"
    return replace(draft, doubts=(make_doubt(candidates, sheet, reason),))


def of_a_point_not_named(state: WalkState, draft: Draft) -> Draft:
    """Turn a draft into a doubt where its point was neither heard nor named before.

    That it comes next in walking order is no sign that it is meant: of "fuel lines chafed" in
    noise no more may be heard than "chafed", and talk and noise are heard as a word or two.
    """
    claim = draft.claim
    if draft.doubts or claim.point_id == state.named:
        return draft
    said = say_claim(claim, state.sheet)
    candidate = Candidate(claim=claim, posterior=draft.posterior["claim"], said=said)
    doubt = make_doubt((candidate,), state.sheet, "no point was heard")
    return replace(draft, doubts=(doubt.model_copy(update={"slot": "point"}),))


def _chance(entry: Entry, claim: Claim) -> float:
    """Return the posterior that an entry says a claim; 1 where a person settled that it does."""
    for doubt in entry.logged.doubts if entry.in_doubt else ():
        for candidate in doubt.candidates:
            if candidate.claim == claim:
                return candidate.posterior
    as_heard = claim == entry.logged.claim and not entry.changes
    return entry.logged.posterior.get("claim", 1.0) if as_heard or entry.in_doubt else 1.0
