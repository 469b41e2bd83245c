"""What a view shows of a walk, as plain words and numbers.

Pure functions of :class:`~voicelog.walk.state.WalkState` and of
:class:`~voicelog.walk.replies.Update`, shared by the screen and the plain lines. Nothing is
decided here. All text has been through :func:`~voicelog.screens.outside_text.visible`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Literal

from voicelog.errors import VoicelogError
from voicelog.screens.outside_text import visible
from voicelog.sheet.model import Reading, Sheet
from voicelog.walk.carried import carried_line, waiting
from voicelog.walk.events import CarriedDefect, Claim
from voicelog.walk.replies import Reply, ReplyKind, Update
from voicelog.walk.said_back import caution_question
from voicelog.walk.state import Entry, PointStatus, WalkState
from voicelog.walk.timed_wording import without_result
from voicelog.walk.wording import show_claim, show_judgement, show_limit, show_value, show_what

Recorder = Literal["recording", "keyboard", "no microphone", "standing by", "stopped"]

SIGN: dict[PointStatus, str] = {"open": ".", "sound": "+", "defect": "X", "doubt": "?"}
"""Beside the word, for those who do not see the colour."""

_URGENCY: tuple[ReplyKind, ...] = ("trouble", "doubt", "not understood", "caution", "answer", "taken")


@dataclass(frozen=True, slots=True)
class ReadingFacts:
    """A reading that was given, against its limit."""

    name: str
    value: str
    """As the trade writes it: ``1/4 in``."""
    verdict: str
    """``within the limit, at most 1/2 in``."""
    outside: bool
    share: Fraction
    """Where the value lies in the plausible range, 0 to 1."""
    limit_shares: tuple[Fraction, ...]
    """Where the limit's bounds lie in the plausible range, 0 to 1."""

    @property
    def line(self) -> str:
        """The reading in one line."""
        return f"{self.name} {self.value}, {self.verdict}"


@dataclass(frozen=True, slots=True)
class PointFacts:
    """One point of the stop and how it stands."""

    point_id: str
    name: str
    status: PointStatus
    said: str
    """Everything that stands or is in doubt, the last said last; empty when nothing was said."""
    readings: tuple[ReadingFacts, ...]
    is_next: bool
    carried: str = ""
    """Its open or repaired defects of earlier walks; empty when there is none."""


@dataclass(frozen=True, slots=True)
class StopFacts:
    """How far a stop is."""

    number: int
    name: str
    covered: int
    required: int
    here: bool


@dataclass(frozen=True, slots=True)
class Trouble:
    """An error in plain words."""

    what: str
    where: str = ""
    remedy: str = ""


def point_facts(state: WalkState, point_id: str) -> PointFacts:
    """Return how a point stands and what was said of it."""
    point = state.sheet.points[point_id]
    said: list[str] = []
    readings: dict[str, ReadingFacts] = {}
    for entry in state.of_point(point_id):
        if entry.in_doubt:
            said.append(f"in doubt: {doubt_short(entry, state.sheet)}")
        elif entry.claim.reading_id is not None:
            reading = point.reading(entry.claim.reading_id)
            readings[reading.id] = reading_facts(entry.claim, reading, state.sheet)
        else:
            said.append(claim_short(entry.claim, state.sheet))
    said += [visible(text) for text in without_result(state, point_id)]
    if state.by_group_mark(point_id):
        said.append("by group mark")
    missing = state.readings_missing(point_id)
    if missing and state.of_point(point_id):
        said.append("still to read: " + ", ".join(visible(point.reading(r).name) for r in missing))
    return PointFacts(
        point_id,
        visible(point.full_name),
        state.status(point_id),
        "; ".join(dict.fromkeys(said)),
        tuple(readings.values()),
        point_id == state.prompted,
        "; ".join(visible(carried_short(defect)) for defect in state.carried_at(point_id)),
    )


def carried_short(defect: CarriedDefect) -> str:
    """Return a defect of an earlier walk as it stands beside its point."""
    again = ", look at it again" if defect.look_again else ""
    return f"since {defect.since} {defect.what}: {defect.stood}{again}"


def reading_facts(claim: Claim, reading: Reading, sheet: Sheet) -> ReadingFacts:
    """Return a reading's value against its limit."""
    limit = reading.limit
    bounds = () if limit is None else tuple(b for b in (limit.minimum, limit.maximum) if b is not None)
    words = visible(show_limit(reading, sheet.lexicon))
    verdict = words if limit is None else f"{show_judgement(claim)}, {words}"
    return ReadingFacts(
        visible(reading.name),
        visible(show_value(claim, sheet)),
        verdict,
        claim.judgement in ("above", "below"),
        _share(claim.value or Fraction(0), reading),
        tuple(_share(bound, reading) for bound in bounds),
    )


def _share(value: Fraction, reading: Reading) -> Fraction:
    span = reading.high - reading.low
    if not span:
        return Fraction(0)
    return min(max((value - reading.low) / span, Fraction(0)), Fraction(1))


def bar(facts: ReadingFacts, width: int) -> str:
    """Return the reading as a bar of ``width`` cells over the plausible range; ``|`` is the limit."""
    filled = max(round(facts.share * width), 1 if facts.share else 0)
    marks = [min(round(share * width), width - 2) for share in facts.limit_shares]
    for share, mark in zip(facts.limit_shares, marks, strict=True):
        # Rounding to cells must not put a value on the other side of its limit.
        filled = max(filled, mark + 2) if facts.share > share else min(filled, mark)
    cells = ["█"] * filled + ["·"] * (width - filled)
    for mark in marks:
        cells[mark] = "|"
    return "".join(cells)


def claim_short(claim: Claim, sheet: Sheet) -> str:
    """Return what is said of the point, with its class: ``dripping (class three leak)``."""
    return visible(show_what(claim, sheet)) + _class_tail(claim, sheet)


def claim_line(claim: Claim, sheet: Sheet) -> str:
    """Return a claim in full: its point, what is said, and its class or its limit."""
    if claim.reading_id is not None:
        point = sheet.points[claim.point_id]
        facts = reading_facts(claim, point.reading(claim.reading_id), sheet)
        return f"{visible(point.full_name)} {facts.line}"
    return visible(show_claim(claim, sheet)) + _class_tail(claim, sheet)


def _class_tail(claim: Claim, sheet: Sheet) -> str:
    known = sheet.lexicon.classes.get(claim.class_id or "")
    return f" ({visible(known.name)})" if known else ""


def doubt_short(entry: Entry, sheet: Sheet) -> str:
    """Return what an entry in doubt may mean: ``dry or dripping``; with the points if they differ."""
    claims = [c.claim for doubt in entry.logged.doubts for c in doubt.candidates] or [entry.claim]
    of_one_point = len({claim.point_id for claim in claims}) == 1
    said = (show_what(claim, sheet) if of_one_point else show_claim(claim, sheet) for claim in claims)
    return " or ".join(dict.fromkeys(visible(text) for text in said))


def doubt_line(entry: Entry, sheet: Sheet) -> str:
    """Return what an entry in doubt may mean, always with its point: ``fan belt: good or frayed``."""
    points = {c.claim.point_id for doubt in entry.logged.doubts for c in doubt.candidates}
    short = doubt_short(entry, sheet)
    if len(points) > 1:
        return short
    return f"{visible(sheet.points[entry.claim.point_id].full_name)}: {short}"


def questions(entry: Entry) -> tuple[str, ...]:
    """Return the questions that settle an entry in doubt."""
    return tuple(visible(doubt.question) for doubt in entry.logged.doubts)


def stop_facts(state: WalkState) -> tuple[StopFacts, ...]:
    """Return how far each stop is, in walking order."""
    missing = {point.id for point in state.missing()}
    facts = []
    for number, stop in enumerate(state.sheet.stops, 1):
        required = [point.id for point in stop.points if point.required]
        covered = sum(point_id not in missing for point_id in required)
        here = stop.id == state.stop_id
        facts.append(StopFacts(number, visible(stop.name), covered, len(required), here))
    return tuple(facts)


def stop_place(state: WalkState) -> tuple[str, int, int]:
    """Return the name of the stop, its number from 1, and how many stops there are."""
    for facts in stop_facts(state):
        if facts.here:
            return facts.name, facts.number, len(state.sheet.stops)
    return "not started", 0, len(state.sheet.stops)


def stop_cautions(state: WalkState) -> tuple[str, ...]:
    """Return the cautions of the stop, in full; the one that is asked stands first."""
    stops = [stop for stop in state.sheet.stops if stop.id == state.stop_id]
    asked = () if state.caution is None else (state.caution.caution.text,)
    found = dict.fromkeys((*asked, *(caution for stop in stops for caution in stop.cautions)))
    return tuple(visible(caution) for caution in found)


def short_caution(caution: str, width: int) -> str:
    """Return a caution in at most ``width`` cells, ending after a whole clause when it is cut."""
    if len(caution) <= width:
        return caution
    room = caution[: max(width - 4, 1)]
    cut = max(room.rfind(mark) for mark in (":", ";", ",", "."))
    if cut < width // 3:
        cut = room.rfind(" ")
    return f"{room[:cut].rstrip() if cut > 0 else room} ..."


def next_point(state: WalkState) -> tuple[str, str]:
    """Return the point that comes next and what to look for, or what else can be done."""
    if state.finished is not None:
        return "nothing", "The walk is finished."
    if state.caution is not None:
        question, text = visible(caution_question(state.caution.caution)), visible(state.caution.caution.text)
        return question, "" if question.startswith(text.rstrip(".")) else text
    if (told := waiting(state)) is not None:
        return "acknowledged?", visible(carried_line(told))
    if state.prompted is not None:
        point = state.sheet.points[state.prompted]
        return visible(point.full_name), visible(point.look_for)
    if state.missing():
        return "next stop", "Every point of this stop has been spoken of."
    return "walk complete", "Every required point is covered."


def recorder(update: Update) -> Recorder:
    """Return whether sound is being taken down."""
    if update.state.finished is not None or update.ear == "stopped":
        return "stopped"
    if update.state.sound_lost:
        return "no microphone"
    return "standing by" if update.ear == "standing by" or update.state.standing_by else "recording"


def most_urgent(replies: tuple[Reply, ...]) -> Reply | None:
    """Return the reply that matters most; the first of those that matter alike."""
    return min(replies, key=lambda reply: _URGENCY.index(reply.kind), default=None)


def clock(moment: datetime | None) -> str:
    """Return the time of day, ``07:12:03``."""
    return "--:--:--" if moment is None else f"{moment:%H:%M:%S}"


def elapsed(state: WalkState, now: datetime | None) -> str:
    """Return the time since the walk began, in minutes and seconds."""
    now = now or state.last_at
    if state.started_at is None or now is None:
        return "0 min 00 s"
    seconds = max(int((now - state.started_at).total_seconds()), 0)
    return f"{seconds // 60} min {seconds % 60:02d} s"


def count(number: int, word: str) -> str:
    """Return the number with its word: ``1 doubt``, ``2 doubts``, ``no doubts``."""
    return f"{number or 'no'} {word}{'' if number == 1 else 's'}"


def trouble(error: BaseException) -> Trouble:
    """Return an error in plain words."""
    if isinstance(error, VoicelogError):
        return Trouble(visible(error.what), visible(error.where), visible(error.remedy))
    return Trouble(
        f"voicelog itself failed: {type(error).__name__}: {visible(str(error)) or 'no more is known'}.",
        remedy="What was acknowledged is in the record. Finish or leave, then resume the walk.",
    )
