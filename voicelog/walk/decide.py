"""What the walk does about what it understood: pure, state and interpretation to events and replies.

Events are to be committed before the replies are given; nothing here is an effect.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from voicelog.meaning.claims import aspect_of, same_matter
from voicelog.meaning.facts import Candidate, Claim, Heard
from voicelog.meaning.interpret import Draft, Interpretation, make_doubt
from voicelog.meaning.understand import Context, Question
from voicelog.meaning.wording import say_claim, show_limit
from voicelog.walk.events import (
    CommandHeard,
    DoubtSettled,
    EntryLogged,
    EntryWithdrawn,
    Event,
    NotUnderstood,
    PointNamed,
    StopEntered,
    WalkFinished,
)
from voicelog.walk.replies import Reply
from voicelog.walk.state import Entry, WalkState


@dataclass(frozen=True, slots=True)
class Outcome:
    """Events to commit, then replies to give."""

    events: tuple[Event, ...] = ()
    replies: tuple[Reply, ...] = ()


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
    question = None
    asked = state.entries.get(state.asked or "")
    if asked is not None and asked.in_doubt:
        claims = tuple(c.claim for doubt in asked.logged.doubts for c in doubt.candidates)
        question = Question(asked.entry_id, claims)
    return Context(
        sheet,
        state.stop_id,
        tuple(dict.fromkeys(at_hand)),
        spoken_of,
        (last.entry_id, last.claim) if last is not None else None,
        question,
    )


def decide(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome:
    """Return what to record and reply for an interpretation. ``heard`` says where it came from."""
    if state.finished is not None:
        return Outcome((), (Reply("trouble", "the walk is complete; start a new one"),))
    if meant.act == "refused":
        event = NotUnderstood(reason=meant.reason, heard=heard)
        return Outcome((event,), (Reply("not understood", f"say again: {meant.reason}"),))
    if meant.act == "facts":
        return _log(state, meant, heard)
    if meant.act == "answer":
        return _answer(state, meant, heard)
    if meant.act == "naming":
        named = PointNamed(point_id=meant.argument, heard=heard)
        full_name = state.sheet.points[meant.argument].full_name
        return Outcome((named,), (Reply("answer", full_name), *_moved(state, meant.argument)))
    if meant.act == "goto":
        return enter_stop(state, meant.argument, heard)
    return command(state, meant.argument, heard)


# facts --------------------------------------------------------------------------------------


def _log(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome:
    events: list[Event] = []
    replies: list[Reply] = []
    said = tuple(draft.claim for draft in meant.drafts)
    for place, draft in enumerate(meant.drafts):
        corrects = meant.corrects if place == 0 else None
        draft = _against_what_stands(state, draft, corrects, said)
        if not meant.by_name and corrects is None and heard.how == "speech":
            draft = _of_a_point_not_named(state, draft)
        entry = EntryLogged(
            entry_id=f"e{len(state.entries) + place + 1}",
            claim=draft.claim,
            heard=heard,
            posterior=draft.posterior,
            alternatives=meant.alternatives,
            doubts=draft.doubts,
            corrects=corrects,
            by_name=meant.by_name,
        )
        events.append(entry)
        replies.append(_reply(draft, state))
        if not draft.doubts:
            replies += _moved(state, draft.claim.point_id)
    return Outcome(tuple(events), tuple(replies))


def _moved(state: WalkState, point_id: str) -> list[Reply]:
    """Return the cautions of another stop, when naming one of its points has led there."""
    stop = state.sheet.stop(state.sheet.points[point_id].stop_id)
    return [] if stop.id == state.stop_id else [Reply("caution", caution) for caution in stop.cautions]


def _against_what_stands(
    state: WalkState, draft: Draft, corrects: str | None, said: tuple[Claim, ...]
) -> Draft:
    """Turn a sound draft into a doubt where something that was said says the opposite.

    "Left lift cylinder dry" after "left lift cylinder dripping" is either a slip or a repair;
    only a person can tell which. Correcting what is, or may be, a defect to a sound condition by
    voice asks too: a misheard "correction" must not clear a defect. ``said`` is everything that
    the same breath claims.
    """
    if draft.doubts or draft.claim.polarity != "sound":
        return draft
    sheet = state.sheet
    earlier = [
        claim
        for entry in state.entries.values()
        for claim in _may_say(entry)
        if same_matter(sheet, claim, draft.claim) or entry.entry_id == corrects
    ]
    in_this_breath = [claim for claim in said if same_matter(sheet, claim, draft.claim)]
    opposed = [claim for claim in (*earlier, *in_this_breath) if claim.polarity == "defect"]
    if not opposed:
        return draft
    candidates = tuple(
        Candidate(claim=claim, posterior=0.5, said=say_claim(claim, sheet))
        for claim in (opposed[-1], draft.claim)
    )
    reason = f"{say_claim(opposed[-1], sheet)} was said too"
    return replace(draft, doubts=(make_doubt(candidates, sheet, reason),))


def _of_a_point_not_named(state: WalkState, draft: Draft) -> Draft:
    """Turn a draft into a doubt where its point was neither heard nor named before.

    That it comes next in walking order is no sign that it is meant: of "fuel lines chafed" in
    noise no more may be heard than "chafed", and talk and noise are heard as a word or two.
    """
    claim = draft.claim
    if draft.doubts or claim.point_id == state.named:
        return draft
    said = say_claim(claim, state.sheet)
    candidate = Candidate(claim=claim, posterior=draft.posterior["claim"], said=said)
    doubt = make_doubt((candidate,), state.sheet, "no point was heard")
    return replace(draft, doubts=(doubt.model_copy(update={"slot": "point"}),))


def _may_say(entry: Entry) -> tuple[Claim, ...]:
    """Return what an entry says; for one that is being corrected, also what it may have said."""
    if entry.status == "standing":
        return (entry.claim,)
    if entry.in_doubt:
        return tuple(c.claim for doubt in entry.logged.doubts for c in doubt.candidates)
    return ()


def _reply(draft: Draft, state: WalkState) -> Reply:
    if draft.doubts:
        return Reply("doubt", draft.doubts[0].question)
    return Reply("taken", taken(draft.claim, state))


def taken(claim: Claim, state: WalkState) -> str:
    """Return the read-back of a claim, with the limit where a value is outside it."""
    text = say_claim(claim, state.sheet)
    if claim.judgement in ("above", "below"):
        reading = state.sheet.points[claim.point_id].reading(claim.reading_id or "")
        return f"{text}, {claim.judgement} the limit, {show_limit(reading, state.sheet.lexicon)}"
    return text


def _answer(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome:
    draft = meant.drafts[0]
    entry_id = meant.answers or ""
    if draft.doubts:
        event = NotUnderstood(reason="the answer was not clear", heard=heard)
        question = state.entries[entry_id].logged.doubts[0].question
        return Outcome((event,), (Reply("doubt", f"say again: {question}"),))
    settled = DoubtSettled(
        entry_id=entry_id, claim=draft.claim, by=_operator(state), reason="answered by voice", heard=heard
    )
    return Outcome((settled,), (Reply("taken", taken(draft.claim, state)),))


# commands -----------------------------------------------------------------------------------


def command(state: WalkState, name: str, heard: Heard) -> Outcome:
    """Return what a control word does."""
    said = CommandHeard(command=name, heard=heard)
    match name:
        case "say again":
            return Outcome((said,), (Reply("answer", last_said(state)),))
        case "disregard":
            return _disregard(state, heard)
        case "negative":
            return _negative(state, heard)
        case "affirmative":
            return Outcome((said,), (Reply("answer", "nothing was asked"),))
        case "next stop" | "previous stop":
            return _step(state, 1 if name == "next stop" else -1, said)
        case "what is left":
            return Outcome((said,), (Reply("answer", what_is_left(state)),))
        case "where am i":
            return Outcome((said,), (Reply("answer", where_am_i(state)),))
        case "walk complete":
            return finish(state, heard)
        case "stand by":
            return Outcome((said,), (Reply("answer", "standing by"),))
        case "resume":
            return Outcome((said,), (Reply("answer", f"listening; {where_am_i(state)}"),))
        case "remark":
            return Outcome((said,), (Reply("answer", "remark; say end of remark when done"),))
        case "end of remark":
            text = "end of remark" if state.in_remark else "no remark was begun"
            return Outcome((said,), (Reply("answer", text),))
        case _:
            raise ValueError(f"no such command: {name}")


def _disregard(state: WalkState, heard: Heard) -> Outcome:
    entry = state.entries.get(state.last_entry or "")
    if entry is None or entry.status not in ("standing", "doubt"):
        said = CommandHeard(command="disregard", heard=heard)
        return Outcome((said,), (Reply("answer", "there is nothing to disregard"),))
    event = EntryWithdrawn(
        entry_id=entry.entry_id, by=_operator(state), reason="disregarded by voice", heard=heard
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
        said = CommandHeard(command="negative", heard=heard)
        return Outcome((said,), (Reply("doubt", asked.logged.doubts[0].question),))
    event = EntryWithdrawn(
        entry_id=asked.entry_id, by=_operator(state), reason="answered negative", heard=heard
    )
    name = state.sheet.points[asked.claim.point_id].full_name
    return Outcome((event,), (Reply("taken", f"not logged; say {name} again"),))


def enter_stop(state: WalkState, stop_id: str, heard: Heard | None) -> Outcome:
    """Return the move to a stop, with its cautions."""
    stop = state.sheet.stop(stop_id)
    replies = [Reply("answer", f"{stop.name}; {len(state.left_at(stop_id))} points open")]
    replies += [Reply("caution", caution) for caution in stop.cautions]
    return Outcome((StopEntered(stop_id=stop_id, heard=heard),), tuple(replies))


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
    if missing:
        parts.append(f"{len(missing)} points not covered")
    if state.doubts():
        parts.append(f"{len(state.doubts())} doubts for the officer")
    return Outcome((event,), (Reply("answer", "; ".join(parts)),))


# what is said back --------------------------------------------------------------------------


def last_said(state: WalkState) -> str:
    """Return the open question, or the last entry read back."""
    asked = state.entries.get(state.asked or "")
    if asked is not None and asked.in_doubt:
        return asked.logged.doubts[0].question
    last = state.entries.get(state.last_entry or "")
    return say_claim(last.claim, state.sheet) if last is not None else "nothing was logged yet"


def what_is_left(state: WalkState) -> str:
    """Return the points of this stop that nothing was said of, and readings still missing."""
    left = [p.full_name for p in state.left_at(state.stop_id)]
    return ", ".join(left) if left else "nothing is left here"


def where_am_i(state: WalkState) -> str:
    """Return the stop, the point that comes next, and how far the walk is."""
    stop = state.sheet.stop(state.stop_id)
    following = state.sheet.points[state.prompted].full_name if state.prompted else "nothing left here"
    return f"{stop.name}; next {following}; {state.covered} of {state.required} covered"


def _operator(state: WalkState) -> str:
    return state.operators[-1] if state.operators else "operator"
