"""What can come of something said, as a short text that a script can write and a log can give.

Invariant: the same outcome has the same text whether it is read from a script or from an event,
so the two are compared as text. Values are exact fractions in the reading's own unit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from voicelog.sheet.model import Limit, Sheet
from voicelog.walk.events import (
    CautionAffirmed,
    CautionRefused,
    Claim,
    CommandHeard,
    DoubtSettled,
    EntryLogged,
    EntryPolarity,
    EntryWithdrawn,
    Event,
    Heard,
    PointNamed,
    RemarkLogged,
    StopEntered,
    WalkFinished,
)

OutcomeKind = Literal[
    "claim",
    "question",
    "command",
    "stop",
    "affirmed",
    "closed",
    "named",
    "remark",
    "withdrawn",
    "finished",
]
_PLAIN: dict[str, OutcomeKind] = {
    "affirmed": "affirmed",
    "closed": "closed",
    "question": "question",
    "remark": "remark",
    "withdrawn": "withdrawn",
    "finished": "finished",
}
_NAMING: dict[str, OutcomeKind] = {"command": "command", "stop": "stop", "named": "named"}


@dataclass(frozen=True, slots=True)
class Outcome:
    """One thing that came, or must come, of what was said."""

    kind: OutcomeKind
    text: str
    """As a script writes it: ``lift_cylinder_left: dry``, ``stop: left_front``, ``question``."""
    point_id: str = ""
    """For claims and named points."""
    polarity: EntryPolarity | None = None
    """For claims."""


def read_outcome(text: str, sheet: Sheet) -> Outcome:
    """Return the outcome that ``text`` writes. ValueError, with the reason, when it writes none."""
    if text in _PLAIN:
        return Outcome(_PLAIN[text], text)
    head, colon, tail = (part.strip() for part in text.partition(":"))
    if not colon or not head or not tail:
        raise ValueError(f"{text!r} is not an outcome; write for example 'fan_belt: cracked' or 'question'")
    if head in _NAMING:
        return _read_naming(_NAMING[head], tail, sheet)
    point_id, _, reading_id = head.partition(" ")
    if point_id not in sheet.points:
        raise ValueError(f"{point_id!r} is not a point of the sheet {sheet.id!r}")
    if not reading_id:
        condition = sheet.lexicon.conditions.get(tail)
        if condition is None:
            raise ValueError(f"{tail!r} is not a condition of the lexicon")
        return Outcome("claim", f"{point_id}: {tail}", point_id, condition.polarity)
    try:
        reading = sheet.points[point_id].reading(reading_id)
    except KeyError:
        raise ValueError(f"the point {point_id!r} has no reading {reading_id!r}") from None
    value = _read_value(tail)
    return Outcome("claim", f"{point_id} {reading_id}: {value}", point_id, _polarity(value, reading.limit))


def _read_naming(kind: OutcomeKind, name: str, sheet: Sheet) -> Outcome:
    if kind == "stop" and all(stop.id != name for stop in sheet.stops):
        raise ValueError(f"{name!r} is not a stop of the sheet {sheet.id!r}")
    if kind == "named":
        if name not in sheet.points:
            raise ValueError(f"{name!r} is not a point of the sheet {sheet.id!r}")
        return Outcome(kind, f"named: {name}", name)
    return Outcome(kind, f"{kind}: {name}")


def _read_value(text: str) -> Fraction:
    """Return ``12.6``, ``3/4`` or ``1 1/2`` exactly."""
    try:
        return sum((Fraction(part) for part in text.split()), Fraction(0))
    except (ValueError, ZeroDivisionError):
        raise ValueError(f"{text!r} is not a value; write 12.6, 3/4 or 1 1/2") from None


def _polarity(value: Fraction, limit: Limit | None) -> EntryPolarity:
    if limit is None:
        return "sound"
    low = limit.minimum is not None and value < limit.minimum
    high = limit.maximum is not None and value > limit.maximum
    return "defect" if low or high else "sound"


def claim_outcome(claim: Claim) -> Outcome:
    """Return a logged claim as an outcome. Its polarity is the one that was logged."""
    if claim.reading_id is None:
        text = f"{claim.point_id}: {claim.condition_id}"
    else:
        text = f"{claim.point_id} {claim.reading_id}: {claim.value}"
    return Outcome("claim", text, claim.point_id, claim.polarity)


@dataclass(frozen=True, slots=True)
class Happening:
    """What one event gave, and where in the sound it came from."""

    heard: Heard
    outcome: Outcome | None
    """None for what was heard and makes no entry."""
    detail: str = ""
    """For questions: what was asked."""


def outcomes_of(events: Iterable[Event]) -> tuple[Happening, ...]:
    """Return what came of what was heard, in order; events that no sound made are left out."""
    found: list[Happening] = []
    for event in events:
        heard: Heard | None = getattr(event, "heard", None)
        if heard is None or heard.how != "speech" or heard.end_s <= heard.start_s:
            continue
        outcome, detail = _of_event(event)
        found.append(Happening(heard, outcome, detail))
    return tuple(found)


def _of_event(event: Event) -> tuple[Outcome | None, str]:
    match event:
        case EntryLogged(doubts=doubts) if doubts:
            return Outcome("question", "question"), doubts[0].question
        case EntryLogged(claim=claim) | DoubtSettled(claim=claim):
            return claim_outcome(claim), ""
        case EntryWithdrawn():
            return Outcome("withdrawn", "withdrawn"), ""
        case CommandHeard(command=command):
            return Outcome("command", f"command: {command}"), ""
        case StopEntered(stop_id=stop_id):
            return Outcome("stop", f"stop: {stop_id}"), ""
        case CautionAffirmed():
            return Outcome("affirmed", "affirmed"), ""
        case CautionRefused():
            return Outcome("closed", "closed"), ""
        case PointNamed(point_id=point_id):
            return Outcome("named", f"named: {point_id}", point_id), ""
        case RemarkLogged():
            return Outcome("remark", "remark"), ""
        case WalkFinished():
            return Outcome("finished", "finished"), ""
        case _:
            return None, ""


_COMES_WITH: Mapping[OutcomeKind, tuple[str, ...]] = {
    "stop": ("command: next stop", "command: previous stop"),
    "withdrawn": ("command: disregard",),
    "finished": ("command: walk complete",),
    "claim": ("command: affirmative", "command: negative"),
}


def comes_with(outcome: Outcome, sheet: Sheet) -> frozenset[str]:
    """Return the outcomes that may come along with one that is expected.

    A command is obeyed by doing what it says; a point that is spoken of becomes the point at
    hand, and its stop the stop.
    """
    along = set(_COMES_WITH.get(outcome.kind, ()))
    if outcome.point_id:
        along |= {f"named: {outcome.point_id}", f"stop: {sheet.points[outcome.point_id].stop_id}"}
    return frozenset(along)
