"""Before a walk opens: open and repaired defects of earlier walks, acknowledged one by one. Pure.

Acknowledging says that the operator was told, not that anything is in order. Until every defect
that was carried over is acknowledged nothing is logged; what is said meanwhile makes no entry, and
its sound is kept.
"""

from __future__ import annotations

from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import Interpretation
from voicelog.walk.events import CarriedDefect, CommandHeard, DefectAcknowledged, NotUnderstood
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.said_back import operator_of
from voicelog.walk.state import WalkState

BEFORE_OPENING = (
    "acknowledged",
    "affirmative",
    "negative",
    "say again",
    "stand by",
    "remark",
    "walk complete",
)
"""The control words that are heard while a defect is read out."""
_AS_ALWAYS = ("stand by", "resume", "hand over", "remark", "end of remark", "walk complete")


def carried_line(defect: CarriedDefect) -> str:
    """Return a carried defect in one line: what it is, since when, and how it stands."""
    graded = f", {defect.class_name}" if defect.class_name else ""
    return f"{defect.point} {defect.what}{graded}, since {defect.since}: {defect.stood}"


def waiting(state: WalkState) -> CarriedDefect | None:
    """Return the defect that is to be acknowledged now; None while something else comes first.

    The cautions come before it: the operator stands safely, then listens.
    """
    if state.standing_by or state.in_remark or state.caution is not None or state.finished is not None:
        return None
    return state.to_acknowledge


def read_out(state: WalkState) -> tuple[Reply, ...]:
    """Return the defect that is to be acknowledged now, read out; nothing when there is none."""
    defect = waiting(state)
    if defect is None:
        return ()
    place = state.carried.index(defect) + 1
    again = " Look at it again in this walk." if defect.look_again else ""
    text = f"defect {place} of {len(state.carried)}: {carried_line(defect)}.{again} Acknowledged?"
    return (Reply("caution", text),)


def before_opening(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome | None:
    """Return what comes of something said while defects are read out; None when the walk is open."""
    if waiting(state) is None:
        return None
    if meant.act == "command":
        return answer(state, meant.argument, heard)
    reason = meant.reason if meant.act == "refused" else "the defects carried over come first"
    event = NotUnderstood(reason=reason, heard=heard)
    return Outcome((event,), (Reply("not understood", f"not logged: {reason}"), *read_out(state)))


def answer(state: WalkState, name: str, heard: Heard) -> Outcome | None:
    """Return what a control word does while a defect is read out; None where it does as always."""
    defect = waiting(state)
    if defect is None or name in _AS_ALWAYS:
        return None
    if name not in ("acknowledged", "affirmative"):
        said = CommandHeard(command=name, heard=heard)
        told = Reply("answer", "acknowledging says that you were told, not that it is in order")
        return Outcome((said,), ((told,) if name == "negative" else ()) + read_out(state))
    by = operator_of(state)
    event = DefectAcknowledged(defect_id=defect.defect_id, by=by, heard=heard, state=defect.state)
    return Outcome((event,), (Reply("taken", f"acknowledged: {defect.point} {defect.what}"),))


def left_to_acknowledge(state: WalkState) -> str:
    """Return how many carried defects come first: ``3 defects to acknowledge first``."""
    left = sum(not state.was_told(defect.defect_id) for defect in state.carried)
    return f"{left} {'defect' if left == 1 else 'defects'} to acknowledge first"
