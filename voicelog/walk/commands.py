"""What a control word does, as events and replies. Pure."""

from __future__ import annotations

from dataclasses import replace

from voicelog.meaning.facts import Heard
from voicelog.meaning.wording import say_claim
from voicelog.walk import carried, gate, group_mark, remark_part
from voicelog.walk.events import CommandHeard, EntryWithdrawn, QuestionAsked, WalkFinished
from voicelog.walk.gate import enter_stop
from voicelog.walk.handing_over import HANDING_OVER
from voicelog.walk.moments import Moment
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.said_back import last_said, operator_of, what_is_left, what_is_left_in_all, where_am_i
from voicelog.walk.state import WalkState, after
from voicelog.walk.timed import cancel, clock_command


def command(state: WalkState, name: str, heard: Heard, moment: Moment | None = None) -> Outcome:
    """Return what a control word does; ``moment`` is when it was said."""
    if (first := carried.answer(state, name, heard)) is not None:
        return first
    said = CommandHeard(command=name, heard=heard)
    pending = state.marks.asked
    if pending is not None and state.caution is None:
        match name:
            case "affirmative":
                return group_mark.affirm(state, pending, heard)
            case "negative" | "disregard" | "acknowledged":
                return group_mark.refuse(heard, name)
            case "say again":
                return group_mark.ask(state, heard)
            case group_mark.NAME:
                pass
            case _:
                ended = replace(state, marks=replace(state.marks, asked=None))
                done = command(ended, name, heard, moment)
                return Outcome(done.events, (group_mark.DROPPED, *done.replies))
    match name:
        case group_mark.NAME:
            return group_mark.ask(state, heard)
        case "disregard" if state.marks.last is not None:
            return group_mark.take_back(state, state.marks.last, heard)
        case "say again":
            return Outcome((said,), (Reply("answer", last_said(state)),))
        case "disregard":
            return _disregard(state, heard)
        case "negative" if state.caution is not None:
            return gate.refuse(state, heard)
        case "negative":
            return _negative(state, heard)
        case "affirmative":
            return gate.affirm(state, heard)
        case "acknowledged":
            # Never an answer to a caution: to be told of it is not to have seen to it.
            asked = gate.asked_now(state, briefly=True) or (Reply("answer", "nothing was read out"),)
            return Outcome((said,), asked)
        case "next stop" | "previous stop":
            return _step(state, 1 if name == "next stop" else -1, said)
        case "what is left":
            return Outcome((said,), (Reply("answer", what_is_left(state)),))
        case "what is left on the walk":
            return Outcome((said,), (Reply("answer", what_is_left_in_all(state)),))
        case "what is open":
            return _next_question(state, said)
        case "where am i":
            return Outcome((said,), (Reply("answer", where_am_i(state)),))
        case "walk complete":
            return finish(state, heard)
        case "stand by":
            return Outcome((said,), (Reply("answer", "standing by"),))
        case "hand over":
            return Outcome((said,), (Reply("answer", HANDING_OVER),))
        case "resume":
            listening = Reply("answer", f"listening; {where_am_i(state)}")
            return Outcome((said,), (listening, *gate.asked_now(after(state, said))))
        case "remark":
            return Outcome((said,), (Reply("answer", "remark; say end of remark when done"),))
        case remark_part.END if state.in_remark:
            return remark_part.end_of(state, heard)
        case remark_part.END:
            return Outcome((said,), (Reply("answer", "no remark was begun"),))
        case "start the clock" | "stop the clock" | "cancel test" | "read the clock":
            step = clock_command(state, name, heard, moment)
            return Outcome(step.events, step.replies)
        case _:
            raise ValueError(f"no such command: {name}")


def _disregard(state: WalkState, heard: Heard) -> Outcome:
    entry = state.entries.get(state.last_entry or "")
    if entry is None or entry.status not in ("standing", "doubt"):
        said = CommandHeard(command="disregard", heard=heard)
        return Outcome((said,), (Reply("answer", "there is nothing to disregard"),))
    event = EntryWithdrawn(
        entry_id=entry.entry_id, by=operator_of(state), reason="disregarded by voice", heard=heard
    )
    return Outcome((event,), (Reply("taken", f"disregarded: {say_claim(entry.claim, state.sheet)}"),))


def _negative(state: WalkState, heard: Heard) -> Outcome:
    """A "negative" to a yes-or-no question withdraws the entry; otherwise it answers nothing."""
    asked = state.entries.get(state.asked or "")
    if asked is None or not asked.in_doubt:
        said = CommandHeard(command="negative", heard=heard)
        return Outcome((said,), (Reply("answer", "nothing was asked; say correction and what it is"),))
    candidates = {c.claim for doubt in asked.logged.doubts for c in doubt.candidates}
    if len(candidates) > 1:
        # It stays open: none of the candidates is right, and what is cannot be guessed.
        said = CommandHeard(command="negative", heard=heard)
        points = {state.sheet.points[claim.point_id].full_name for claim in candidates}
        what = points.pop() if len(points) == 1 else "it"
        return Outcome((said,), (Reply("doubt", f"still open: say {what} again, or disregard"),))
    event = EntryWithdrawn(
        entry_id=asked.entry_id, by=operator_of(state), reason="answered negative", heard=heard
    )
    name = state.sheet.points[asked.claim.point_id].full_name
    return Outcome((event,), (Reply("taken", f"not logged; say {name} again"),))


def _next_question(state: WalkState, said: CommandHeard) -> Outcome:
    """Return the question of the open doubt after the one asked last, in the order they were logged."""
    doubts = state.doubts()
    if not doubts:
        return Outcome((said,), (Reply("answer", "nothing is open"),))
    ids = [entry.entry_id for entry in doubts]
    entry = doubts[(ids.index(state.asked) + 1) % len(ids) if state.asked in ids else 0]
    asked = QuestionAsked(entry_id=entry.entry_id, heard=said.heard)
    more = f" {len(ids) - 1} more open" if len(ids) > 1 else ""
    return Outcome((said, asked), (Reply("doubt", f"{entry.logged.doubts[0].question}{more}"),))


def _step(state: WalkState, step: int, said: CommandHeard) -> Outcome:
    ids = [stop.id for stop in state.sheet.stops]
    place = ids.index(state.stop_id) + step
    if not 0 <= place < len(ids):
        edge = "last" if step > 0 else "first"
        return Outcome((said,), (Reply("answer", f"this is the {edge} stop"),))
    return enter_stop(state, ids[place], said.heard)


def finish(state: WalkState, heard: Heard | None) -> Outcome:
    """Return the end of the walk; points not covered are named in the record, not hidden."""
    missing = state.missing()
    event = WalkFinished(missing=tuple(p.id for p in missing), heard=heard)
    parts = ["walk complete"]
    if unread := len(state.unacknowledged()):
        parts.append(f"{_count(unread, 'defect')} from before not acknowledged")
    if missing:
        parts.append(f"{_count(len(missing), 'point')} not covered")
    if state.doubts():
        parts.append(f"{_count(len(state.doubts()), 'doubt')} for the officer")
    if state.running is not None:
        parts.append(f"{state.running.test(state.sheet).name} was still running and has no result")
        ended = cancel(state.running, "the walk was completed while it ran", heard)
        return Outcome((*ended, event), (Reply("answer", "; ".join(parts)),))
    return Outcome((event,), (Reply("answer", "; ".join(parts)),))


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
