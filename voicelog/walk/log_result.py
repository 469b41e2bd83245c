"""The result of a timed test as an entry. Pure."""

from __future__ import annotations

from dataclasses import replace

from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import Draft
from voicelog.meaning.wording import say_claim
from voicelog.walk.contradiction import against_what_stands
from voicelog.walk.events import EntryLogged
from voicelog.walk.gate import held
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.state import WalkState
from voicelog.walk.timed import Step, limit_told


def log_result(state: WalkState, step: Step, heard: Heard) -> Outcome:
    """Return what a step of a timed test comes to; its result, if it has one, is an entry."""
    if step.draft is None:
        return Outcome(step.events, step.replies)
    draft, held_at = held(state, _against_a_result(state, step.draft, step))
    entry = EntryLogged(
        entry_id=f"e{len(state.entries) + 1}",
        claim=draft.claim,
        heard=heard,
        posterior=draft.posterior,
        doubts=draft.doubts,
        corrects=step.corrects,
        run_id=step.run_id,
        held_at=held_at,
    )
    if draft.doubts:
        reply = Reply("doubt", draft.doubts[0].question)
    else:
        reply = Reply("taken", say_claim(draft.claim, state.sheet) + limit_told(state, draft))
    return Outcome((*step.events, entry), (*step.replies, reply))


def _against_a_result(state: WalkState, draft: Draft, step: Step) -> Draft:
    """Ask where a test that had failed is now passed; its own last reading put right counts too.

    A doubtful result is settled by a clear one of another run: it is a new measurement.
    """
    corrected = state.entries.get(step.corrects or "")
    if corrected is not None and corrected.logged.run_id == step.run_id:
        return against_what_stands(state, draft, step.corrects)
    stands = replace(state, entries={e.entry_id: e for e in state.standing()})
    return against_what_stands(stands, draft)
