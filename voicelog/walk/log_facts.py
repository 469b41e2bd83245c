"""Facts and answers that were understood, as events and replies. Pure."""

from __future__ import annotations

from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import Draft, Interpretation
from voicelog.walk.contradiction import against_what_stands, of_a_point_not_named
from voicelog.walk.events import DoubtSettled, EntryLogged, Event, NotUnderstood
from voicelog.walk.gate import held, led_to
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.said_back import operator_of, taken
from voicelog.walk.state import WalkState, after


def log(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome:
    """Return the entries of the facts that were said, and the question of each that is in doubt."""
    events: list[Event] = []
    replies: list[Reply] = []
    waiting: EntryLogged | None = None
    for place, draft in enumerate(meant.drafts):
        corrects = meant.corrects if place == 0 else None
        draft = against_what_stands(state, draft, corrects, meant.drafts)
        if not meant.by_name and corrects is None and heard.how == "speech":
            draft = of_a_point_not_named(state, draft)
        draft, held_at = held(state, draft)
        entry = _entry(state, place, meant, draft, heard, corrects, held_at)
        events.append(entry)
        if held_at is None:
            replies.append(_reply(draft, state))
        elif waiting is None:
            waiting = entry
    if waiting is not None and waiting.held_at is not None:
        moved, more = led_to(after(state, *events), waiting.held_at, heard, waiting.claim)
        events.append(moved)
        replies += more
    return Outcome(tuple(events), tuple(replies))


def answer(state: WalkState, meant: Interpretation, heard: Heard) -> Outcome:
    """Return that a doubt was settled by its answer; a doubtful answer asks again."""
    draft = meant.drafts[0]
    entry = state.entries[meant.answers or ""]
    if draft.doubts:
        event = NotUnderstood(reason="the answer was not clear", heard=heard)
        return Outcome((event,), (Reply("doubt", f"say again: {entry.logged.doubts[0].question}"),))
    draft, held_at = held(state, draft)
    if held_at is not None:
        events: tuple[Event, ...] = ()
        if entry.logged.held_at is None or entry.claim != draft.claim:
            events = (_entry(state, 0, meant, draft, heard, entry.entry_id, held_at),)
        moved, replies = led_to(after(state, *events), held_at, heard, draft.claim)
        return Outcome((*events, moved), replies)
    settled = DoubtSettled(
        entry_id=entry.entry_id,
        claim=draft.claim,
        by=operator_of(state),
        reason="answered by voice",
        heard=heard,
    )
    return Outcome((settled,), (Reply("taken", taken(draft.claim, state)),))


def _entry(
    state: WalkState,
    place: int,
    meant: Interpretation,
    draft: Draft,
    heard: Heard,
    corrects: str | None,
    held_at: str | None,
) -> EntryLogged:
    return EntryLogged(
        entry_id=f"e{len(state.entries) + place + 1}",
        claim=draft.claim,
        heard=heard,
        posterior=draft.posterior,
        alternatives=meant.alternatives,
        doubts=draft.doubts,
        corrects=corrects,
        by_name=meant.by_name,
        held_at=held_at,
    )


def _reply(draft: Draft, state: WalkState) -> Reply:
    if draft.doubts:
        return Reply("doubt", draft.doubts[0].question)
    return Reply("taken", taken(draft.claim, state))
