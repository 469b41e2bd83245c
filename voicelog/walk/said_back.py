"""What the walk says of itself, short enough to be spoken."""

from __future__ import annotations

from itertools import groupby

from voicelog.meaning.facts import Claim
from voicelog.meaning.wording import say_claim, show_limit
from voicelog.sheet.model import Caution
from voicelog.walk.state import WalkState


def taken(claim: Claim, state: WalkState) -> str:
    """Return the read-back of a claim, with the limit where a value is outside it."""
    text = say_claim(claim, state.sheet)
    if claim.judgement in ("above", "below"):
        reading = state.sheet.points[claim.point_id].reading(claim.reading_id or "")
        return f"{text}, {claim.judgement} the limit, {show_limit(reading, state.sheet.lexicon)}"
    return text


def caution_question(caution: Caution) -> str:
    """Return the question alone: ``wheels chocked?``; the whole sentence where it has none."""
    return caution.ask or f"{caution.text} Affirmative?"


def read_out(caution: Caution) -> str:
    """Return a caution as it is read out, with its question."""
    asked = caution.ask or "affirmative?"
    return f"{caution.text} {asked[:1].upper()}{asked[1:]}"


def last_said(state: WalkState) -> str:
    """Return the open question, or the last entry read back."""
    if state.caution is not None:
        return read_out(state.caution.caution)
    asked = state.entries.get(state.asked or "")
    if asked is not None and asked.in_doubt:
        return asked.logged.doubts[0].question
    last = state.entries.get(state.last_entry or "")
    return say_claim(last.claim, state.sheet) if last is not None else "nothing was logged yet"


def what_is_left(state: WalkState) -> str:
    """Return the points of this stop that nothing was said of, and readings still missing."""
    left = [p.full_name for p in state.left_at(state.stop_id)]
    return ", ".join(left) if left else "nothing is left here"


def what_is_left_in_all(state: WalkState) -> str:
    """Return how many points each stop has left, in walking order."""
    left = [(stop.name, len(state.left_at(stop.id))) for stop in state.sheet.stops]
    return ", ".join(f"{name} {number}" for name, number in left if number) or "nothing is left"


def where_am_i(state: WalkState) -> str:
    """Return the stop, the point that comes next or the caution to affirm, and how far the walk is."""
    stop = state.sheet.stop(state.stop_id)
    following = state.sheet.points[state.prompted].full_name if state.prompted else "nothing left here"
    coming = f"next {following}" if state.caution is None else caution_question(state.caution.caution)
    return f"{stop.name}; {coming}; {state.covered} of {state.required} covered"


def how_far(state: WalkState) -> str:
    """Return the stop, and how far the walk is."""
    return f"{state.sheet.stop(state.stop_id).name}; {state.covered} of {state.required} covered"


def operator_of(state: WalkState) -> str:
    """Return who walks."""
    return state.operators[-1] if state.operators else "operator"


def walked_by(state: WalkState) -> str:
    """Return who walked, one after the other: ``R. Alder, then J. Okafor``."""
    return ", then ".join(name for name, _ in groupby(state.operators))
