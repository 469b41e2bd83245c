"""What a chief has to see first of a station: out of service, overdue, open, drifting; pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from voicelog.records.decisions import Decided
from voicelog.walk.state import PointStatus

_NAMED = 3
"""Units that are named; of the others only how many."""


@dataclass(frozen=True, slots=True)
class DecisionRow:
    """The latest decision on service of a unit. The fields are the columns, in order."""

    unit: str
    unit_name: str
    decision: str
    """``in service``, ``in service with restrictions`` or ``out of service``; empty where there is none."""
    at: str
    by: str
    reason: str
    against_policy: str
    """What of the local policy was set aside, and why; empty where nothing was."""
    walk: str
    """In whose signature it stands."""


@dataclass(frozen=True, slots=True)
class Glance:
    """One figure at the head of the overview."""

    state: PointStatus
    number: int
    words: str
    told: str
    """Which they are, or the worst of them; empty where there is none."""


_ORDER = ("out of service", "in service with restrictions", "", "in service")


def decision_rows(decisions: Sequence[Decided], names: dict[str, str]) -> tuple[DecisionRow, ...]:
    """Return a row for each unit, those that are out of service first."""
    by_unit = {decided.unit_id: decided for decided in decisions}
    rows = [_row(unit_id, name, by_unit.get(unit_id)) for unit_id, name in names.items()]
    return tuple(sorted(rows, key=lambda row: (_ORDER.index(row.decision), row.unit_name, row.unit)))


def _row(unit_id: str, name: str, decided: Decided | None) -> DecisionRow:
    if decided is None:
        return DecisionRow(unit_id, name, "", "", "", "", "", "")
    against = "; ".join(decided.overridden)
    return DecisionRow(
        unit=unit_id,
        unit_name=name,
        decision=decided.decision,
        at=decided.at.isoformat(timespec="seconds"),
        by=decided.by,
        reason=decided.reason,
        against_policy=f"{against}. Reason for overriding it: {decided.override_reason}" if against else "",
        walk=decided.walk,
    )


def glances(
    decisions: Sequence[DecisionRow],
    *,
    overdue: Sequence[str],
    never: int,
    open_defects: Sequence[tuple[int, str]],
    drifting: Sequence[str],
) -> tuple[Glance, ...]:
    """Return the figures; ``overdue`` and ``drifting`` in words, the worst first.

    ``open_defects`` are whole days and words, the worst class first.
    """

    def units(decision: str) -> list[str]:
        return [row.unit_name for row in decisions if row.decision == decision]

    out, restricted, undecided = units("out of service"), units("in service with restrictions"), units("")
    longest = max(open_defects, key=lambda defect: defect[0], default=(0, ""))
    worst = f"Worst: {open_defects[0][1]}. Oldest: {longest[1]}." if open_defects else ""
    if open_defects and open_defects[0] == longest:
        worst = f"Worst and oldest: {longest[1]}."
    return (
        _glance("defect", len(out), "unit", "out of service", _named(out)),
        _glance("doubt", len(restricted), "unit", "in service with restrictions", _named(restricted)),
        _glance("open", len(undecided), "unit", "without a decision", _named(undecided)),
        _glance("defect", len(overdue), "check", "overdue", f"Longest: {overdue[0]}." if overdue else ""),
        _glance("open", never, "check", "never walked", ""),
        _glance("defect", len(open_defects), "open defect", "", worst),
        _glance(
            "doubt", len(drifting), "reading", "toward a limit", f"Next: {drifting[0]}." if drifting else ""
        ),
    )


def _glance(state: PointStatus, number: int, one: str, words: str, told: str) -> Glance:
    what = f"{one if number == 1 else f'{one}s'} {words}".strip()
    return Glance(state if number else "sound", number, what, told if number else "")


def _named(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
