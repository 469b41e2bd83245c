"""The phrase graph of what can be said now, made when it is first needed."""

from __future__ import annotations

from voicelog.phrases.commands import language_of
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.expression import Grammar
from voicelog.phrases.gate_grammar import gate_grammar, told_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.question_grammar import Asked, question_grammar
from voicelog.phrases.sheet_grammar import listening_grammar, sheet_grammar
from voicelog.phrases.timed_grammar import Running
from voicelog.sheet.model import Sheet
from voicelog.walk.carried import BEFORE_OPENING, waiting
from voicelog.walk.decide import context_of
from voicelog.walk.state import WalkState

MOST_GRAPHS = 4
"""Graphs kept, of the stops last visited: each takes some 15 MB once it has been walked, and is
made again in less time than a step takes."""


class Graphs:
    """The graphs of one sheet.

    ``kept`` may be shared between walks of the same sheet; they are then all kept.
    """

    def __init__(self, sheet: Sheet, kept: dict[str, PhraseGraph] | None = None) -> None:
        """Make nothing yet."""
        self._sheet = sheet
        self._kept = {} if kept is None else kept
        self._most = MOST_GRAPHS if kept is None else None

    def now(self, state: WalkState) -> PhraseGraph:
        """Return the graph of what can be said where a walk stands."""
        key = _key(state)
        graph = self._kept.pop(key, None)
        if graph is None:
            while self._most is not None and len(self._kept) >= self._most:
                del self._kept[next(iter(self._kept))]
            graph = compile_grammar(self._grammar(state))
        self._kept[key] = graph  # the last one is the one used last
        return graph

    def _grammar(self, state: WalkState) -> Grammar:
        language = language_of(self._sheet.lexicon)
        if state.standing_by:
            return listening_grammar(("resume",), language)
        if state.in_remark:
            return listening_grammar(("end of remark",), language)
        if state.caution is not None:
            return gate_grammar(self._sheet, state.caution.caution)
        if (told := waiting(state)) is not None:
            return told_grammar(self._sheet, BEFORE_OPENING, told.point_id if told.here else None)
        asked = _asked(state)
        if asked is not None:
            return question_grammar(self._sheet, state.stop_id, asked, _running(state))
        return sheet_grammar(self._sheet, state.stop_id, _running(state))


def _asked(state: WalkState) -> Asked | None:
    """Return what the open question lets choose from; None where none is open."""
    question = context_of(state).question
    if question is None:
        return None
    claims = dict.fromkeys(question.candidates)
    # The result of a timed test is asked about by its reading, and said as its own test has it.
    points = state.sheet.points
    readings = [
        (claim.point_id, claim.reading_id)
        for claim in claims
        if claim.reading_id in {reading.id for reading in points[claim.point_id].readings}
    ]
    return Asked(
        points=tuple(dict.fromkeys(claim.point_id for claim in claims)),
        conditions=tuple(dict.fromkeys(c.condition_id for c in claims if c.condition_id)),
        readings=tuple(dict.fromkeys((p, r) for p, r in readings if r is not None)),
        choices=len(claims),
    )


def _key(state: WalkState) -> str:
    if state.standing_by:
        return "standing by"
    if state.in_remark:
        return "remark"
    if state.caution is not None:
        return f"caution {state.caution.number} {state.caution.stop_id}"
    if (told := waiting(state)) is not None:
        return f"defects carried {told.point_id if told.here else ''}"
    running, asked = _running(state), _asked(state)
    key = f"stop {state.stop_id}" + (f" {'/'.join(running)}" if running is not None else "")
    return f"{key} {asked}" if asked is not None else key


def _running(state: WalkState) -> Running | None:
    """Return the timed test whose clock runs: only it can be spoken of then."""
    run = state.running
    return (run.point_id, run.timed_id) if run is not None else None
