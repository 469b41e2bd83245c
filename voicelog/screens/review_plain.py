"""The review as numbered plain lines, for a pipe or a screen reader; pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from voicelog.screens.outside_text import visible
from voicelog.screens.review_text import KIND_WORD, signatures, summary, top_line
from voicelog.screens.walk_facts import clock
from voicelog.sheet.policy import Policy
from voicelog.walk.agenda import Item, agenda
from voicelog.walk.fitness import OpenBefore, breaches, overdue_doubts
from voicelog.walk.review import settle_by_number, settling_needs_reason
from voicelog.walk.sound import sound_lines
from voicelog.walk.state import WalkState
from voicelog.walk.wording import grade, show_chance, show_claim

__all__ = ["review_lines", "settle_by_number"]


def review_lines(
    state: WalkState,
    policy: Policy | None = None,
    now: datetime | None = None,
    open_before: Sequence[OpenBefore] = (),
) -> list[str]:
    """Return the agenda as lines: first the walk, then numbered items, what needs a person first.

    Lines that go on about an item are indented. Entry ids, and the numbers of the candidates, are
    those that ``voicelog settle`` takes. ``open_before`` are the unit's defects of other walks that
    are open still. With ``policy`` also what it asks, and which doubts are overdue at ``now``.
    """
    lines = [top_line(state), summary(state), *_clock(state), *map(visible, sound_lines(state))]
    for number, item in enumerate(agenda(state), 1):
        lines.extend(_item(state, number, item))
    for defect in open_before:
        late = "overdue, " if defect.overdue else ""
        lines.append(visible(f"{late}open from before: {defect.words} ({defect.defect_id})"))
    if policy is not None:
        lines.extend(_policy(state, policy, now, open_before))
    lines.extend(signatures(state))
    return lines


def _policy(
    state: WalkState, policy: Policy, now: datetime | None, open_before: Sequence[OpenBefore]
) -> Iterator[str]:
    for breach in breaches(state, policy, open_before):
        yield f"local policy: {visible(breach.words)}"
    if now is not None and (late := overdue_doubts(state, policy, now)):
        ids = ", ".join(visible(entry.entry_id) for entry in late)
        yield f"local policy: open for more than {policy.doubt_hours} hours, overdue: entry {ids}"


def _clock(state: WalkState) -> tuple[str, ...]:
    told = "The clock was set back during this walk: go by the order of the events, not by their times."
    return (told,) if state.clock_set_back else ()


def _item(state: WalkState, number: int, item: Item) -> list[str]:
    entry = f" (entry {visible(item.entry_id)})" if item.entry_id else ""
    seen = f"; {visible(item.seen)}" if item.seen and item.seen not in item.detail else ""
    said = f"{visible(item.title)}{entry}: {visible(item.detail)}{seen}"
    lines = [f"{number}. {KIND_WORD[item.kind].lower()}: {said}"]
    for place, candidate in enumerate(item.candidates, 1):
        claim = candidate.claim
        asked = settling_needs_reason(state.entries[item.entry_id or ""], claim)
        reason = ", needs a reason" if asked else ""
        said = f"{visible(show_claim(claim, state.sheet))}, {visible(grade(claim, state.sheet))}"
        lines.append(f"   choice {place}: {said}; {show_chance(candidate.posterior)}{reason}")
    if item.heard is not None and item.kind != "sound":
        said = f'"{visible(item.heard.text)}"' if item.heard.text else "no phrase of the sheet"
        freely = f', freely "{visible(item.heard.free_text)}"' if item.heard.free_text else ""
        clip = f", sound {item.clip[:12]}" if item.clip else ", no sound kept"
        when = f" at {clock(item.at)}" if item.at is not None else ""
        lines.append(f"   heard {said}{freely}{when}{clip}")
    return lines
