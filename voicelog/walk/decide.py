"""What the walk does about what it understood: pure, state and interpretation to events and replies.

Events are to be committed before the replies are given; nothing here is an effect.
"""

from __future__ import annotations

from voicelog.meaning.claims import aspect_of
from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import Interpretation
from voicelog.meaning.understand import Context, Question
from voicelog.walk import carried, gate, group_mark, log_facts, remark_part
from voicelog.walk.commands import command, finish
from voicelog.walk.events import NotUnderstood, PointNamed
from voicelog.walk.gate import enter_stop
from voicelog.walk.log_result import log_result
from voicelog.walk.moments import Moment, spoken_moment
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.said_back import last_said, taken, what_is_left, where_am_i
from voicelog.walk.state import WalkState, after
from voicelog.walk.timed import question_about, take, timed_context

__all__ = [
    "Outcome",
    "command",
    "context_of",
    "decide",
    "enter_stop",
    "finish",
    "last_said",
    "taken",
    "what_is_left",
    "where_am_i",
]


def context_of(state: WalkState) -> Context:
    """Return what interpretation needs to know of the walk."""
    sheet = state.sheet
    at_hand = tuple(p for p in (state.named, state.prompted) if p is not None)
    spoken_of = frozenset(
        (e.claim.point_id, aspect_of(sheet, e.claim) or e.claim.reading_id or "")
        for e in state.entries.values()
        if e.status in ("standing", "doubt")
    )
    last = state.entries.get(state.last_entry or "")
    at_gate = (state.caution is not None or state.marks.asked is not None) and not state.in_remark
    question = None
    asked = state.entries.get(state.asked or "")
    if asked is not None and asked.in_doubt and not at_gate:
        claims = tuple(c.claim for doubt in asked.logged.doubts for c in doubt.candidates)
        question = Question(asked.entry_id, claims)
        if asked.logged.run_id is not None:
            question = question_about(state, asked)
    return Context(
        sheet,
        state.stop_id,
        tuple(dict.fromkeys(at_hand)),
        spoken_of,
        (last.entry_id, last.claim) if last is not None else None,
        question,
        at_gate,
        state.standing_by,
        timed_context(state),
        () if at_gate else state.remark_on,
        carried.waiting(state) is not None,
    )


def decide(state: WalkState, meant: Interpretation, heard: Heard, moment: Moment | None = None) -> Outcome:
    """Return what to record and reply for an interpretation.

    ``heard`` says where it came from, ``moment`` when it was said; without it, the utterance's times.
    """
    moment = moment or spoken_moment("sound", heard.start_s, heard.end_s)
    if state.finished is not None:
        return Outcome((), (Reply("trouble", "the walk is complete; start a new one"),))
    if (first := carried.before_opening(state, meant, heard)) is not None:
        return first
    asked = state.marks.asked
    if asked is not None and state.caution is None:
        if meant.act == "affirm":
            return group_mark.affirm(state, asked, heard)
        if meant.act == "deny":
            return group_mark.refuse(heard)
        if meant.act != "command":
            done = _done(state, meant, heard, moment)
            return Outcome(done.events, (group_mark.DROPPED, *done.replies))
    return _done(state, meant, heard, moment)


def _done(state: WalkState, meant: Interpretation, heard: Heard, moment: Moment) -> Outcome:
    match meant.act:
        case "refused":
            event = NotUnderstood(reason=meant.reason, heard=heard)
            again = Reply("not understood", f"say again: {meant.reason}")
            return Outcome((event,), (again, *gate.asked_now(state, briefly=True)))
        case "affirm":
            return gate.affirm(state, heard)
        case "deny":
            return gate.refuse(state, heard)
        case "facts":
            return log_facts.log(state, meant, heard)
        case "answer":
            return log_facts.answer(state, meant, heard)
        case "remark":
            return remark_part.begin_on(state, meant.points, heard)
        case "timed" if meant.timed is not None:
            return log_result(state, take(state, meant.timed, heard, moment), heard)
        case "naming":
            named = PointNamed(point_id=meant.argument, heard=heard)
            then = after(state, named)
            name = Reply("answer", state.sheet.points[meant.argument].full_name)
            return Outcome((named,), (name, *gate.asked_now(then)))
        case "goto":
            return enter_stop(state, meant.argument, heard)
        case _:
            done = command(state, meant.argument, heard, moment)
            # The graph holds little else while a caution is asked, so it must not be forgotten.
            asked = gate.asked_now(after(state, *done.events)) if meant.argument == "disregard" else ()
            return Outcome(done.events, (*done.replies, *asked))
