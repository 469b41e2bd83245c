"""The safety gate: cautions are affirmed one by one before anything is logged at a stop. Pure.

The sheet's own cautions come before the first stop, a stop's before that stop. What was said of a
closed stop from elsewhere is held: it is on record as a doubt, and counts once the cautions are
affirmed. If they never are, the officer finds it among the doubts.
"""

from __future__ import annotations

from dataclasses import replace

from voicelog.meaning.facts import Candidate, Claim, Heard
from voicelog.meaning.interpret import Draft, make_doubt
from voicelog.meaning.wording import say_claim
from voicelog.walk.contradiction import against_what_stands
from voicelog.walk.entries import points_meant
from voicelog.walk.events import (
    CautionAffirmed,
    CautionRefused,
    CommandHeard,
    DoubtSettled,
    Event,
    QuestionAsked,
    StopEntered,
)
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.said_back import caution_question, operator_of, read_out, taken
from voicelog.walk.state import AskedCaution, WalkState, after


def enter_stop(state: WalkState, stop_id: str, heard: Heard | None) -> Outcome:
    """Return the move to a stop, and the caution that is to be affirmed there first."""
    entered = StopEntered(stop_id=stop_id, heard=heard)
    return Outcome((entered,), arrival(after(state, entered)))


def arrival(state: WalkState) -> tuple[Reply, ...]:
    """Return what is said on coming to a stop, with the caution that is asked there."""
    name = state.sheet.stop(state.stop_id).name
    if state.caution is None:
        return (Reply("answer", f"{name}; {len(state.left_at(state.stop_id))} points open"),)
    return (Reply("answer", f"{name}; cautions first"), *asked_now(state))


def asked_now(state: WalkState, *, briefly: bool = False) -> tuple[Reply, ...]:
    """Return the caution that is asked now, read out, or its question alone.

    Nothing when the stop is open, and nothing to one who does not want to be spoken to.
    """
    if state.caution is None or state.standing_by or state.in_remark:
        return ()
    caution = state.caution.caution
    return (Reply("caution", caution_question(caution) if briefly else read_out(caution)),)


def affirm(state: WalkState, heard: Heard) -> Outcome:
    """Return that the caution that is asked was affirmed, and what is asked or open then."""
    asked = state.caution
    if asked is None:
        said = CommandHeard(command="affirmative", heard=heard)
        return Outcome((said,), (Reply("answer", "nothing was asked"),))
    event = CautionAffirmed(
        stop_id=asked.stop_id,
        number=asked.number,
        caution=asked.caution.text,
        by=operator_of(state),
        heard=heard,
    )
    acknowledged = Reply("taken", asked.caution.say[0] if asked.caution.say else "affirmed")
    then = after(state, event)
    if then.caution is not None:
        return Outcome((event,), (acknowledged, *asked_now(then)))
    released, replies = _released(then, heard)
    return Outcome((event, *released), (acknowledged, *arrival(then), *replies))


def refuse(state: WalkState, heard: Heard) -> Outcome:
    """Return that the caution that is asked was refused: the stop stays closed."""
    asked = state.caution
    if asked is None:
        said = CommandHeard(command="negative", heard=heard)
        return Outcome((said,), (Reply("answer", "nothing was asked"),))
    event = CautionRefused(
        stop_id=asked.stop_id,
        number=asked.number,
        caution=asked.caution.text,
        by=operator_of(state),
        heard=heard,
    )
    return Outcome((event,), (stays_closed(state, asked),))


def stays_closed(state: WalkState, asked: AskedCaution) -> Reply:
    """Return that a stop, or the walk, stays closed, and the caution that is asked for it again."""
    place = state.sheet.stop(asked.stop_id).name if asked.stop_id else "the walk"
    return Reply("caution", f"{place} stays closed: {caution_question(asked.caution)}")


def held(state: WalkState, draft: Draft) -> tuple[Draft, str | None]:
    """Return a draft as it may be logged now, and the stop it is held at.

    A clear one about a closed stop becomes a doubt until the cautions there are affirmed.
    """
    stop_id = state.sheet.points[draft.claim.point_id].stop_id
    if draft.doubts or state.is_open(stop_id):
        return draft, None
    candidate = Candidate(
        claim=draft.claim, posterior=draft.posterior["claim"], said=say_claim(draft.claim, state.sheet)
    )
    reason = f"the cautions of {state.sheet.stop(stop_id).name} were not affirmed"
    return replace(draft, doubts=(make_doubt((candidate,), state.sheet, reason),)), stop_id


def led_to(state: WalkState, stop_id: str, heard: Heard, claim: Claim) -> tuple[Event, tuple[Reply, ...]]:
    """Return the move to the closed stop that something was said of, and what is asked there."""
    moved = enter_stop(state, stop_id, heard)
    kept = f"{say_claim(claim, state.sheet)} is kept until the cautions are affirmed"
    return moved.events[0], (Reply("answer", kept), *moved.replies)


def _released(state: WalkState, heard: Heard) -> tuple[tuple[Event, ...], tuple[Reply, ...]]:
    """Return what was held and counts now that its stop is open, and the next question there."""
    events: list[Event] = []
    replies: list[Reply] = []
    for entry in state.doubts():
        stop_id = entry.logged.held_at
        if stop_id is None or not state.is_open(stop_id):
            continue
        draft = Draft(entry.claim, entry.logged.posterior)
        if against_what_stands(state, draft, entry.logged.corrects).doubts:
            continue
        settled = DoubtSettled(
            entry_id=entry.entry_id,
            claim=entry.claim,
            by=operator_of(state),
            reason="the cautions were affirmed",
            heard=heard,
        )
        events.append(settled)
        replies.append(Reply("taken", taken(entry.claim, state)))
        state = after(state, settled)
    for entry in state.doubts():
        if any(state.sheet.points[p].stop_id == state.stop_id for p in points_meant(entry)):
            events.append(QuestionAsked(entry_id=entry.entry_id, heard=heard))
            replies.append(Reply("doubt", entry.logged.doubts[0].question))
            break
    return tuple(events), tuple(replies)
