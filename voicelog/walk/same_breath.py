"""A pass that something followed at once, which was not understood, is asked about; pure.

A whole phrase is answered after a short pause, so a "not" or "except the lower fitting" after it may
come as an utterance of its own. Heard as one with the phrase it would have made it doubtful; heard
apart it must do the same.
"""

from __future__ import annotations

from voicelog.meaning.facts import Candidate, Heard
from voicelog.meaning.interpret import Interpretation, make_doubt
from voicelog.meaning.wording import say_claim
from voicelog.walk.decide import Outcome
from voicelog.walk.events import EntryLogged, EntryWithdrawn, Event, NotUnderstood
from voicelog.walk.replies import Reply
from voicelog.walk.state import Entry, WalkState

SAME_BREATH_S = 1.0
"""No utterance that follows in the same breath begins later after the end of the one before."""
REASON = "more was said at once after it, and not understood"


def after_a_pass(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome | None:
    """Return the doubts that an utterance raises which follows a pass in the same breath.

    None where nothing passed just before, or where what followed is understood: then it speaks for
    itself. Each pass is withdrawn and logged again as a doubt, so that until a person has settled it
    its point is not covered.
    """
    passed = _passed_just_before(state, heard)
    if meant.act != "refused" or not passed:
        return None
    events: list[Event] = [NotUnderstood(reason=meant.reason, heard=heard)]
    replies = list[Reply]()
    operator = state.started.operator if state.started is not None else "operator"
    for place, entry in enumerate(passed):
        again = _in_doubt(entry, f"e{len(state.entries) + place + 1}", state)
        events += [EntryWithdrawn(entry_id=entry.entry_id, by=operator, reason=REASON, heard=heard), again]
        replies.append(Reply("doubt", again.doubts[0].question))
    return Outcome(tuple(events), tuple(replies))


def _passed_just_before(state: WalkState, heard: Heard) -> list[Entry]:
    """Return the standing sound entries of the utterance before, if it made any."""
    last = state.entries.get(state.last_entry or "")
    if last is None or heard.start_s is None or last.logged.heard.end_s is None:
        return []
    if not 0 <= heard.start_s - last.logged.heard.end_s < SAME_BREATH_S:
        return []
    return [
        entry
        for entry in state.entries.values()
        if entry.status == "standing"
        and entry.claim.polarity == "sound"
        and entry.logged.heard == last.logged.heard
        # A computed result follows its readings by itself.
        and not entry.logged.computed_from
    ]


def _in_doubt(entry: Entry, entry_id: str, state: WalkState) -> EntryLogged:
    posterior = entry.logged.posterior.get("claim", 0.0)
    said = say_claim(entry.claim, state.sheet)
    candidate = Candidate(claim=entry.claim, posterior=posterior, said=said)
    doubt = make_doubt((candidate,), state.sheet, REASON)
    return entry.logged.model_copy(
        update={"entry_id": entry_id, "claim": entry.claim, "doubts": (doubt,), "corrects": None}
    )
