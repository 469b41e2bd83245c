"""What came of a case against what is true: pure functions of rows.

Invariant: a defect counts as passed when a person who reads the record would take it for sound,
unasked: its fact was logged as sound, or it is missing beside a sound entry for the same point.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy.optimize import linear_sum_assignment

from tests.benchmarks.bay.said import Fact, Logged, Row
from voicelog.sheet.model import Sheet

Outcome = Literal["right", "wrong", "asked", "refused", "acted"]
"""``right`` all of it taken and nothing else; ``wrong`` something false taken, or a part lost;
``asked`` a doubt, and nothing false; ``acted`` taken for a command, a naming or a remark."""
Slip = Literal["point", "side", "condition", "value", "lost", "extra"]
SLIPS: tuple[Slip, ...] = ("point", "side", "condition", "value", "lost", "extra")


@dataclass(frozen=True, slots=True)
class Scored:
    """One row's outcome."""

    row: Row
    outcome: Outcome
    slips: tuple[Slip, ...] = ()
    """Of what was taken without asking."""
    asked: tuple[str, ...] = ()
    """Slots in doubt."""
    asked_truth: bool = False
    """Whether what is true was among the candidates of every doubt."""
    passed: tuple[Fact, ...] = ()
    """Defects spoken and logged as sound without a doubt. There must be none."""
    crossed: tuple[Fact, ...] = ()
    """Readings out of limit, logged within it without a doubt. There must be none."""
    unspoken: tuple[Logged, ...] = ()
    """Sound entries without a doubt, of a point or matter that was not spoken of."""
    mistaken: tuple[tuple[Fact, Fact], ...] = ()
    """What was true, and what was taken for it without asking."""
    false_alarms: int = 0
    """Sound facts taken as defects."""


@dataclass(slots=True)
class _Tally:
    slips: list[Slip] = field(default_factory=list)
    passed: list[Fact] = field(default_factory=list)
    crossed: list[Fact] = field(default_factory=list)
    unspoken: list[Logged] = field(default_factory=list)
    mistaken: list[tuple[Fact, Fact]] = field(default_factory=list)
    false_alarms: int = 0


def score(row: Row, sheet: Sheet) -> Scored:
    """Return what came of a case of the grammar."""
    truth, logged = row.case.said.facts, row.logged
    if not logged:
        acted = [act for act in row.acts if act]
        return Scored(row, "acted" if acted else "refused")
    pairs = aligned(truth, logged, sheet)
    tally = _Tally()
    for fact, entry in pairs:
        if not entry.doubts:
            _compare(fact, entry, tally, sheet)
    taken = [entry for entry in logged if not entry.doubts]
    doubted = [entry for entry in logged if entry.doubts]
    matched = {id(fact) for fact, _ in pairs}
    for fact in truth:
        if id(fact) not in matched:
            if taken:
                tally.slips.append("lost")
            _lost(fact, logged, tally)
    entries = {id(entry) for _, entry in pairs}
    for entry in taken:
        if id(entry) not in entries:
            tally.slips.append("extra")
            if entry.fact.sound:
                tally.unspoken.append(entry)
    asked_truth = bool(doubted) and all(fact in entry.candidates for fact, entry in pairs if entry.doubts)
    outcome: Outcome = "wrong" if tally.slips else "asked" if doubted else "right"
    return Scored(
        row,
        outcome,
        tuple(tally.slips),
        tuple(slot for entry in doubted for slot in entry.doubts),
        asked_truth,
        tuple(tally.passed),
        tuple(tally.crossed),
        tuple(tally.unspoken),
        tuple(tally.mistaken),
        tally.false_alarms,
    )


def _compare(fact: Fact, entry: Logged, tally: _Tally, sheet: Sheet) -> None:
    """Count what an entry that was taken got wrong of the fact it is for."""
    got = entry.fact
    if got == fact:
        return
    tally.mistaken.append((fact, got))
    said, logged = sheet.points[fact.point_id], sheet.points[got.point_id]
    if said.name != logged.name:
        tally.slips.append("point")
    elif said.side != logged.side:
        tally.slips.append("side")
    if (fact.reading_id is None) != (got.reading_id is None) or fact.condition_id != got.condition_id:
        tally.slips.append("condition")
    elif fact.reading_id is not None and (fact.reading_id, fact.value) != (got.reading_id, got.value):
        tally.slips.append("value")
    if not fact.sound and got.sound:
        (tally.crossed if fact.reading_id is not None else tally.passed).append(fact)
    if fact.sound and not got.sound:
        tally.false_alarms += 1
    same_matter = fact.point_id == got.point_id and _matter(fact, sheet) == _matter(got, sheet)
    if got.sound and not same_matter:
        tally.unspoken.append(entry)


def _lost(fact: Fact, logged: tuple[Logged, ...], tally: _Tally) -> None:
    """Count a defect that nothing was logged for, where its point is logged as sound unasked."""
    of_point = [entry for entry in logged if entry.fact.point_id == fact.point_id]
    looks_sound = bool(of_point) and all(entry.fact.sound and not entry.doubts for entry in of_point)
    if not fact.sound and looks_sound:
        (tally.crossed if fact.reading_id is not None else tally.passed).append(fact)


def aligned(truth: tuple[Fact, ...], logged: tuple[Logged, ...], sheet: Sheet) -> list[tuple[Fact, Logged]]:
    """Return each fact with the entry that is for it: the pairing that agrees best."""
    if not truth or not logged:
        return []
    agreement = np.array([[_agreement(fact, entry.fact, sheet) for entry in logged] for fact in truth])
    # Of equal pairings the one in the order said.
    order = np.array([[abs(i - j) for j in range(len(logged))] for i in range(len(truth))])
    rows, columns = linear_sum_assignment(agreement - 0.01 * order, maximize=True)
    return [(truth[i], logged[j]) for i, j in zip(rows, columns, strict=True)]


def _agreement(fact: Fact, got: Fact, sheet: Sheet) -> float:
    said, logged = sheet.points[fact.point_id], sheet.points[got.point_id]
    agreement = 4.0 * (said.name == logged.name) + 1.0 * (said.side == logged.side)
    agreement += 3.0 * (_matter(fact, sheet) == _matter(got, sheet))
    agreement += 2.0 * (fact.condition_id == got.condition_id and fact.value == got.value)
    return agreement


def _matter(fact: Fact, sheet: Sheet) -> str:
    """Return what a fact speaks of: the aspect of its condition, or its reading."""
    if fact.condition_id is not None:
        return sheet.lexicon.conditions[fact.condition_id].aspect
    return f"reading {fact.reading_id}"


# what is not in the grammar -------------------------------------------------------------------

Refusal = Literal["refused", "asked", "named", "acted", "taken as a defect", "passed"]
REFUSALS: tuple[Refusal, ...] = ("refused", "asked", "named", "acted", "taken as a defect", "passed")


def refusal(row: Row) -> Refusal:
    """Return what came of words, or noise, that must make no entry: the worst of it.

    ``named`` only made a point the one at hand; ``acted`` is any other command, or a remark.
    """
    taken = [entry.fact for entry in row.logged if not entry.doubts]
    if any(fact.sound for fact in taken) or "doubt settled" in row.acts:
        return "passed"
    if taken:
        return "taken as a defect"
    if any(not act.startswith("named ") for act in row.acts):
        return "acted"
    if row.logged:
        return "asked"
    return "named" if row.acts else "refused"
