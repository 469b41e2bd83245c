"""The life of a defect as a table: from which state, by which act, of whom, to which state; pure.

A doubt never becomes a pass: no way leads from an open defect to a closed one but over a work
record, its certification, the acknowledgement of the next operator and a look at the point after
that. What a table does not allow is refused with what to do instead.
"""

from __future__ import annotations

from typing import Literal

from voicelog.defects.events import Role
from voicelog.errors import DefectError

State = Literal[
    "heard",
    "confirmed",
    "deferred",
    "in the shop",
    "repaired",
    "no repair needed",
    "certified",
    "closed",
    "taken back",
]
Act = Literal[
    "hear",
    "hear worse",
    "hear of before",
    "take back",
    "take back one",
    "say sound",
    "take back sound",
    "take back what closed",
    "confirm",
    "defer",
    "send",
    "repair",
    "need no repair",
    "certify",
    "acknowledge",
    "close",
    "reopen",
]

ENDED: frozenset[State] = frozenset({"closed", "taken back"})
"""A defect in one of these is no longer open; the same matter heard again is a new defect."""
AFTER_WORK: frozenset[State] = frozenset({"repaired", "no repair needed", "certified"})
"""A point whose defect is in one of these must be looked at again."""

WHO: dict[Act, frozenset[Role]] = {
    "hear": frozenset({"operator", "officer"}),
    "hear worse": frozenset({"operator", "officer"}),
    "hear of before": frozenset({"operator", "officer"}),
    "take back": frozenset({"operator", "officer"}),
    "take back one": frozenset({"operator", "officer"}),
    "say sound": frozenset({"operator", "officer"}),
    "take back sound": frozenset({"operator", "officer"}),
    "take back what closed": frozenset({"operator", "officer"}),
    "confirm": frozenset({"officer"}),
    "defer": frozenset({"officer"}),
    "send": frozenset({"officer", "mechanic"}),
    "repair": frozenset({"mechanic"}),
    "need no repair": frozenset({"mechanic"}),
    "certify": frozenset({"mechanic"}),
    "acknowledge": frozenset({"operator"}),
    "close": frozenset({"operator", "officer"}),
    "reopen": frozenset({"officer", "mechanic"}),
}
"""Who may do what. What walks and their review say comes of the walk, by whoever said it there."""

_STAYS: tuple[Act, ...] = ("take back one", "say sound", "take back sound", "acknowledge")
"""What changes no state. Finding sound what is held to be defective is noted, and closes nothing."""
_WORK: dict[Act, State] = {
    "repair": "repaired",
    "need no repair": "no repair needed",
    "take back": "taken back",
}
_AFTER_WORK: dict[Act, State] = {
    # Heard again: the repair did not hold.
    "hear": "heard",
    "hear worse": "heard",
    "take back": "taken back",
    "reopen": "heard",
}

# Heard of before: said before the work, entered after it; no sign that the repair did not hold.
_MOVES: dict[State, dict[Act, State]] = {
    "heard": {
        **_WORK,
        "hear": "heard",
        "hear worse": "heard",
        "confirm": "confirmed",
        "defer": "deferred",
        "send": "in the shop",
    },
    "confirmed": {
        **_WORK,
        "hear": "confirmed",
        # What was confirmed was less than this.
        "hear worse": "heard",
        "defer": "deferred",
        "send": "in the shop",
    },
    "deferred": {
        **_WORK,
        "hear": "deferred",
        # What was deferred was less than this: it needs a decision of its own.
        "hear worse": "heard",
        "defer": "deferred",
        "send": "in the shop",
    },
    "in the shop": {**_WORK, "hear": "in the shop", "hear worse": "in the shop", "defer": "deferred"},
    "repaired": {
        **_AFTER_WORK,
        "repair": "repaired",
        "certify": "certified",
        "hear of before": "repaired",
    },
    "no repair needed": {
        **_AFTER_WORK,
        "repair": "repaired",
        "certify": "certified",
        "hear of before": "no repair needed",
    },
    "certified": {**_AFTER_WORK, "close": "closed", "hear of before": "certified"},
}
LIFE: dict[State, dict[Act, State]] = {
    **{state: {act: state for act in _STAYS} | moves for state, moves in _MOVES.items()},
    "closed": {"take back what closed": "certified"},
    "taken back": {"hear": "heard", "hear worse": "heard"},
}
"""State, then act, to the state after it. What is not here is refused."""

SHOWN: dict[State, str] = {
    "heard": "heard",
    "confirmed": "confirmed",
    "deferred": "deferred",
    "in the shop": "in the shop",
    "repaired": "repaired, not certified",
    "no repair needed": "no repair needed, not certified",
    # Whether as repaired or as in no need of it is told where the certificate is at hand.
    "certified": "certified",
    "closed": "closed",
    "taken back": "taken back",
}
"""How a state is worded."""

_DONE: dict[Act, str] = {
    "hear": "heard again",
    "hear worse": "heard again",
    "hear of before": "heard again",
    "take back": "taken back",
    "take back one": "taken back",
    "say sound": "said to be sound",
    "take back sound": "taken back",
    "take back what closed": "opened again",
    "confirm": "confirmed",
    "defer": "deferred",
    "send": "sent to the shop",
    "repair": "repaired",
    "need no repair": "found not to need repair",
    "certify": "certified",
    "acknowledge": "acknowledged",
    "close": "closed",
    "reopen": "opened again",
}
_REMEDY: dict[State, str] = {
    "heard": "confirm it, defer it, send it to the shop, or record the repair",
    "confirmed": "defer it, send it to the shop, or record the repair",
    "deferred": "send it to the shop, give another date, or record the repair",
    "in the shop": "record the repair or that none is needed, or defer it",
    "repaired": "certify the repair, or reopen it",
    "no repair needed": "certify that no repair is needed, or reopen it",
    "certified": "the next operator acknowledges it and looks at the point; or reopen it",
    "closed": "if it is there again, a walk that finds it opens a new one",
    "taken back": "nothing is left to do; a walk that finds it opens it again",
}


def after(state: State, act: Act, role: Role, defect_id: str) -> State:
    """Return the state that an act leads to; :class:`DefectError` when it is refused."""
    if role not in WHO[act]:
        allowed = " or ".join(sorted(WHO[act]))
        raise DefectError(
            f"a defect is not {_DONE[act]} by the {role}",
            where=defect_id,
            remedy=f"this is for the {allowed}",
        )
    following = LIFE[state].get(act)
    if following is None:
        raise DefectError(
            f"this defect is {SHOWN[state]} and cannot be {_DONE[act]}",
            where=defect_id,
            remedy=_REMEDY[state],
        )
    return following
