"""A walk goes on in another person's hands; pure.

From "hand over" on nothing is logged until somebody has taken it, or its operator says "resume".
"""

from __future__ import annotations

from voicelog.errors import WalkError
from voicelog.walk.carried import left_to_acknowledge, read_out, waiting
from voicelog.walk.events import WalkHandedOver
from voicelog.walk.gate import asked_now
from voicelog.walk.persons import same_person
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.said_back import operator_of, where_am_i
from voicelog.walk.state import WalkState, after

HANDING_OVER = "standing by: who takes over gives their name at the screen; say resume to go on yourself"


def handed_over(state: WalkState, operator: str) -> Outcome:
    """Return that ``operator`` has the walk now. Raises WalkError where it cannot be handed over."""
    before = operator_of(state)
    if state.finished is not None:
        raise WalkError("the walk is complete", remedy="begin a new walk under your own name")
    if state.in_remark:
        raise WalkError("a remark is being taken", remedy="say end of remark, then hand over")
    if same_person(operator, before):
        raise WalkError(f"{before} has the walk already", remedy="give the name of who takes over")
    event = WalkHandedOver(operator=operator, before=before)
    then = after(state, event)
    # What is asked is read out after this, by itself.
    if then.caution is not None:
        place = "cautions first"
    elif waiting(then) is not None:
        place = left_to_acknowledge(then)
    else:
        place = where_am_i(then)
    told = Reply("answer", f"handed over to {operator}; {place}")
    return Outcome((event,), (told, *asked_now(then), *read_out(then)))
