"""Before a walk opens: open and repaired defects of earlier walks, acknowledged one by one. Pure.

Acknowledging says that the operator was told, not that anything is in order. Until who walks has
acknowledged every defect that was carried over nothing is logged; what is said meanwhile makes no
entry, save a remark, and its sound is kept.
"""

from __future__ import annotations

import calendar
import re

from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import Interpretation
from voicelog.walk.events import CarriedDefect, CommandHeard, DefectAcknowledged, NotUnderstood
from voicelog.walk.remark_part import begin_on
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.said_back import operator_of
from voicelog.walk.state import WalkState

BEFORE_OPENING = (
    "acknowledged",
    "affirmative",
    "negative",
    "say again",
    "stand by",
    "hand over",
    "remark",
    "walk complete",
)
"""The control words that are heard while a defect is read out; a remark may also name its point."""
ACKNOWLEDGED = "acknowledged"
"""What is answered to an acknowledgement; the next defect follows at once."""
_AS_ALWAYS = ("stand by", "resume", "hand over", "end of remark", "walk complete")
_DAY = re.compile(r"\b(\d{4})-(\d{2})-(\d{2})\b")


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


def read_out(state: WalkState, *, following: bool = False) -> tuple[Reply, ...]:
    """Return the defect that is to be acknowledged now, read out; nothing when there is none.

    Of fifteen defects each word is said fifteen times: who has just acknowledged one knows how it goes
    on, so one that is ``following`` has its number alone before it, and no question after it. The class
    is shown and not read out, since the condition says it; how a reading stands to its limit is.
    """
    defect = waiting(state)
    if defect is None:
        return ()
    place = state.carried.index(defect) + 1
    judged = f", {defect.class_name}" if defect.matter.startswith("reading:") and defect.class_name else ""
    text = f"{defect.point} {defect.what}{judged}, since {defect.since}, {defect.stood}."
    if defect.look_again:
        text += " Look again."
    if not defect.here:
        text += " Not on this sheet."
    if following:
        return (Reply("caution", _days_named(f"{place}: {text}", state)),)
    text = f"defect {place} of {len(state.carried)}: {text} Acknowledged?"
    return (Reply("caution", _days_named(text, state)),)


def asked_again(state: WalkState) -> tuple[Reply, ...]:
    """Return the question of the defect that is to be acknowledged now, without all that was read out."""
    defect = waiting(state)
    return () if defect is None else (Reply("caution", f"{defect.point} {defect.what}. Acknowledged?"),)


def before_opening(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome | None:
    """Return what comes of something said while defects are read out; None when the walk is open."""
    if waiting(state) is None:
        return None
    if meant.act == "command":
        return answer(state, meant.argument, heard)
    if meant.act == "remark":
        return begin_on(state, meant.points, heard)
    reason = meant.reason if meant.act == "refused" else "the defects carried over come first"
    event = NotUnderstood(reason=reason, heard=heard)
    return Outcome((event,), (Reply("not understood", f"not logged: {reason}"), *asked_again(state)))


def answer(state: WalkState, name: str, heard: Heard) -> Outcome | None:
    """Return what a control word does while a defect is read out; None where it does as always."""
    defect = waiting(state)
    if defect is None or name in _AS_ALWAYS:
        return None
    if name == "remark":
        # About what is read out, and not about the point that comes next.
        return begin_on(state, (defect.point_id if defect.here else None,), heard)
    if name not in ("acknowledged", "affirmative"):
        said = CommandHeard(command=name, heard=heard)
        if name == "negative":
            told = Reply("answer", "acknowledging says that you were told, not that it is in order")
            return Outcome((said,), (told, *asked_again(state)))
        return Outcome((said,), read_out(state))
    by = operator_of(state)
    event = DefectAcknowledged(defect_id=defect.defect_id, by=by, heard=heard, state=defect.state)
    return Outcome((event,), (Reply("taken", ACKNOWLEDGED),))


def left_to_acknowledge(state: WalkState) -> str:
    """Return how many carried defects come first: ``3 defects to acknowledge first``."""
    return f"{_number(len(state.unacknowledged()))} to acknowledge first"


def _number(defects: int) -> str:
    return f"{defects} {'defect' if defects == 1 else 'defects'}"


def _days_named(text: str, state: WalkState) -> str:
    """Return a text with its days as people say them: ``November 23``, with the year where it is another.

    In another language than English they are left as they are.
    """
    if state.sheet.lexicon.language is not None:
        return text
    this_year = state.started_at.year if state.started_at else 0

    def named(day: re.Match[str]) -> str:
        year, month, number = (int(part) for part in day.groups())
        if not 1 <= month <= 12:
            return day[0]
        of_year = "" if year == this_year else f", {year}"
        return f"{calendar.month_name[month]} {number}{of_year}"

    return _DAY.sub(named, text)
