"""What follows a pass, a group mark or an affirmed caution at once, and denies it or is not understood.

Pure.

A whole phrase is answered after a short pause, so a "not" or "except the lower fitting" after it may
come as an utterance of its own. Heard as one with the phrase it would have made it doubtful; heard
apart it must do the same: a pass is asked about, a group mark is taken back, a caution is asked again.
"""

from __future__ import annotations

from voicelog.meaning.facts import Candidate, Heard
from voicelog.meaning.interpret import Interpretation, make_doubt
from voicelog.meaning.wording import say_claim
from voicelog.walk.events import (
    CautionAffirmed,
    CautionRefused,
    DoubtSettled,
    EntryLogged,
    EntryWithdrawn,
    Event,
    NotUnderstood,
)
from voicelog.walk.gate import asked_now, stays_closed
from voicelog.walk.group_mark import take_back
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.said_back import operator_of
from voicelog.walk.state import Entry, WalkState, after

SAME_BREATH_S = 1.0
"""No utterance that follows in the same breath begins later after the end of the one before."""
REASON = "more was said at once after it, and not understood"
TAKEN_BACK = "the caution was denied at once after it was affirmed"
_DENIALS = ("negative", "disregard")


def in_same_breath(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome | None:
    """Return what an utterance does to what was said before it in the same breath; None for nothing."""
    return (
        after_affirming(state, meant, heard)
        or after_a_group_mark(state, meant, heard)
        or after_a_pass(state, meant, heard)
    )


def after_affirming(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome | None:
    """Return that a caution is closed again which was affirmed just before; None where none was.

    None also for what is understood as something else than a denial. What was held until the stop
    was open is held again.
    """
    affirmed = state.gate_events[-1][1] if state.gate_events else None
    if not isinstance(affirmed, CautionAffirmed) or not _at_once(affirmed.heard, heard):
        return None
    if not _is_denial(meant):
        return None
    operator = operator_of(state)
    refused = CautionRefused(
        stop_id=affirmed.stop_id,
        number=affirmed.number,
        caution=affirmed.caution,
        by=operator,
        heard=heard,
    )
    events: list[Event] = [refused]
    for place, entry in enumerate(_counted_since(state, affirmed), 1):
        withdrawn = EntryWithdrawn(entry_id=entry.entry_id, by=operator, reason=TAKEN_BACK, heard=heard)
        again = {"entry_id": f"e{len(state.entries) + place}", "corrects": None}
        events += [withdrawn, entry.logged.model_copy(update=again)]
    then = after(state, *events)
    asked = then.caution
    return Outcome(tuple(events), (stays_closed(then, asked),) if asked is not None else asked_now(then))


def after_a_group_mark(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome | None:
    """Return that a group mark is taken back which was affirmed just before; None where none was."""
    mark = state.marks.last
    if mark is None or not _at_once(mark.heard, heard) or not _is_denial(meant):
        return None
    return take_back(state, mark, heard, "denied at once after it was affirmed")


def _is_denial(meant: Interpretation) -> bool:
    """Return whether it denies what was affirmed, or may do so: it is not understood."""
    denied = meant.act == "command" and meant.argument in _DENIALS
    return denied or meant.act in ("refused", "deny")


def _counted_since(state: WalkState, affirmed: CautionAffirmed) -> list[Entry]:
    """Return the entries that were held until this caution was affirmed."""
    return [
        entry
        for entry in state.entries.values()
        if entry.status == "standing"
        and entry.logged.held_at is not None
        and any(isinstance(c, DoubtSettled) and c.heard == affirmed.heard for _, c in entry.changes)
    ]


def _at_once(before: Heard, heard: Heard) -> bool:
    if heard.start_s is None or before.end_s is None:
        return False
    return 0 <= heard.start_s - before.end_s < SAME_BREATH_S


def after_a_pass(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome | None:
    """Return the doubts that an utterance raises which follows a pass in the same breath.

    None where nothing passed just before, or where what followed is understood: then it speaks for
    itself. Each pass is withdrawn and logged again as a doubt, so that until a person has settled it
    its point is not covered.
    """
    passed = _passed_just_before(state, heard)
    denied = meant.act == "command" and meant.argument == "negative"
    if not passed or not (meant.act == "refused" or denied):
        return None
    reason = meant.reason or "it denies what was said before it"
    events: list[Event] = [NotUnderstood(reason=reason, heard=heard)]
    replies = list[Reply]()
    operator = operator_of(state)
    for place, entry in enumerate(passed):
        again = _in_doubt(entry, f"e{len(state.entries) + place + 1}", state)
        events += [EntryWithdrawn(entry_id=entry.entry_id, by=operator, reason=REASON, heard=heard), again]
        replies.append(Reply("doubt", again.doubts[0].question))
    return Outcome(tuple(events), tuple(replies))


def _passed_just_before(state: WalkState, heard: Heard) -> list[Entry]:
    """Return the standing sound entries of the utterance before, if it made any."""
    last = state.entries.get(state.last_entry or "")
    if last is None or not _at_once(_made_by(last), heard):
        return []
    return [
        entry
        for entry in state.entries.values()
        if entry.status == "standing"
        and entry.claim.polarity == "sound"
        and _made_by(entry) == _made_by(last)
        # A computed result follows its readings by itself.
        and not entry.logged.computed_from
    ]


def _made_by(entry: Entry) -> Heard:
    """Return the utterance by which an entry came to stand: the answer to its question, if it was asked."""
    answers = [c.heard for _, c in entry.changes if isinstance(c, DoubtSettled) and c.heard is not None]
    return answers[-1] if answers else entry.logged.heard


def _in_doubt(entry: Entry, entry_id: str, state: WalkState) -> EntryLogged:
    posterior = entry.logged.posterior.get("claim", 0.0)
    said = say_claim(entry.claim, state.sheet)
    candidate = Candidate(claim=entry.claim, posterior=posterior, said=said)
    doubt = make_doubt((candidate,), state.sheet, REASON)
    return entry.logged.model_copy(
        update={
            "entry_id": entry_id,
            "claim": entry.claim,
            "doubts": (doubt,),
            "corrects": None,
            "held_at": None,
        }
    )
