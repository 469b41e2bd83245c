"""The walk as plain lines, for a pipe or a screen reader: one fact a line, no control characters.

A line is the time of the last event, a word for the kind of fact in a column of 14, and the fact:
``07:12:03  taken           left lift cylinder dry``. Only what has changed is printed; the same
updates always give the same lines.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TextIO

from voicelog.screens.outside_text import in_ascii, visible
from voicelog.screens.walk_facts import (
    claim_line,
    clock,
    count,
    doubt_line,
    next_point,
    point_facts,
    questions,
    recorder,
    stop_cautions,
    stop_place,
    trouble,
)
from voicelog.walk.carried import carried_line
from voicelog.walk.replies import Update
from voicelog.walk.state import Entry, WalkState
from voicelog.walk.timed_wording import show_measured

_WORD_CELLS = 14
Line = tuple[str, str]


class PlainView:
    """Prints what is new in each update to a text stream, and flushes it."""

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._last: Update | None = None
        encoding = (getattr(out, "encoding", None) or "utf-8").lower().replace("-", "")
        self._ascii = encoding not in ("utf8", "utf8sig")

    def show(self, update: Update) -> None:
        """Print what this update adds to the one before."""
        for word, fact in _lines(self._last, update):
            self._print(clock(update.state.last_at), word, fact)
        self._last = update
        self._out.flush()

    def show_trouble(self, error: BaseException) -> None:
        """Print an error in plain words, at the time of the last event."""
        met = trouble(error)
        time = clock(self._last.state.last_at if self._last is not None else None)
        self._print(time, "trouble", f"{met.where}: {met.what}" if met.where else met.what)
        if met.remedy:
            self._print(time, "what to do", met.remedy)
        self._out.flush()

    def _print(self, time: str, word: str, fact: str) -> None:
        line = f"{time}  {word:<{_WORD_CELLS}}  {fact}".rstrip()
        self._out.write((in_ascii(line) if self._ascii else line) + "\n")


def _lines(before: Update | None, update: Update) -> Iterator[Line]:
    """Yield what is new, in the order a listener needs it; what a reply has said is not repeated."""
    if update.partial and (before is None or before.partial != update.partial):
        yield "hearing", f"{visible(update.partial)} ..."
    if update.heard is not None:
        how = "heard" if update.heard.how == "speech" else "typed"
        yield how, f'"{visible(update.heard.text)}"' if update.heard.text else "no words"
    said = {visible(reply.text) for reply in update.replies}
    for reply in update.replies:
        yield reply.kind, visible(reply.text)
    for word, fact in _changes(before, update):
        if word not in ("caution", "question") or fact not in said:
            yield word, fact


def _changes(before: Update | None, update: Update) -> Iterator[Line]:
    new = update.state
    old = before.state if before is not None else WalkState(new.sheet)
    if new.started is not None and old.started is None:
        yield from _beginning(update)
    for entry in new.entries.values():
        if old.entries.get(entry.entry_id) != entry:
            yield from _entry(entry, new)
    yield from _points(old, new)
    if before is None or recorder(before) != recorder(update):
        yield "recorder", recorder(update)
    yield from _place(old, new)
    tally = _tally(new)
    if before is None or _tally(old) != tally:
        yield "progress", tally
    if new.finished is not None and old.finished is None:
        yield from _left(new)


def _beginning(update: Update) -> Iterator[Line]:
    started = update.state.started
    if started is None:
        return
    yield "walk", visible(update.walk_id)
    yield "unit", visible(f"{started.unit_name}, {started.station}")
    yield "sheet", visible(started.sheet_title)
    yield "operator", visible(started.operator)
    for caution in update.state.sheet.cautions:
        yield "caution", visible(caution)
    for defect in update.state.carried:
        yield "carried", visible(carried_line(defect))


def _entry(entry: Entry, state: WalkState) -> Iterator[Line]:
    measured = visible(show_measured(state, entry))
    if measured:
        yield "measured", measured
    if entry.status == "standing":
        yield "logged", claim_line(entry.claim, state.sheet)
    elif entry.status == "doubt":
        yield "in doubt", doubt_line(entry, state.sheet)
        for question in questions(entry):
            yield "question", question
    else:
        yield entry.status, claim_line(entry.claim, state.sheet)


def _points(old: WalkState, new: WalkState) -> Iterator[Line]:
    for point_id in new.sheet.points:
        if new.status(point_id) != old.status(point_id):
            facts = point_facts(new, point_id)
            marked = ", by group mark" if new.by_group_mark(point_id) else ""
            yield "point", f"{facts.name}: {facts.status}{marked}"


def _place(old: WalkState, new: WalkState) -> Iterator[Line]:
    if new.stop_id != old.stop_id:
        name, number, stops = stop_place(new)
        yield "stop", f"{name}, {number} of {stops}"
        for caution in stop_cautions(new):
            yield "caution", caution
    coming = next_point(new)
    if coming != next_point(old) or new.stop_id != old.stop_id:
        # A question ends as one: no colon after it.
        yield "next", f"{coming[0]}{'' if coming[0].endswith('?') else ':'} {coming[1]}".rstrip()


def _tally(state: WalkState) -> str:
    doubts, defects = count(len(state.doubts()), "open doubt"), count(len(state.defects()), "defect")
    return f"{state.covered} of {state.required} covered, {doubts}, {defects}"


def _left(state: WalkState) -> Iterator[Line]:
    missing = state.finished.missing if state.finished is not None else ()
    yield "finished", f"{count(len(missing), 'required point')} not covered"
    for point_id in missing:
        yield "not covered", visible(state.sheet.points[point_id].full_name)
