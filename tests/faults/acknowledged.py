"""What a walk's plain lines acknowledge, held against what the record says happened.

The lines are read as text and the events are read back from the store; what each event had to be
answered with is worked out here anew, so that a line that was printed for something not kept
cannot agree with itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from voicelog.errors import RecordError
from voicelog.meaning.wording import say_claim
from voicelog.records.chain import Stored
from voicelog.records.clips import decode
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet
from voicelog.walk.events import (
    CautionAffirmed,
    CommandHeard,
    DoubtSettled,
    EntryLogged,
    EntryWithdrawn,
    Event,
    GroupMarkAsked,
    GroupMarked,
    GroupMarkReopened,
    NotUnderstood,
    PointNamed,
    QuestionAsked,
    RemarkLogged,
    RemarkPointAsked,
    StopEntered,
    WalkFinished,
    WalkResumed,
)
from voicelog.walk.group_mark import DROPPED, NAME
from voicelog.walk.state import WalkState, apply, fold

_WORDS = ("taken", "doubt", "not understood", "answer")


@dataclass(frozen=True, slots=True)
class Told:
    """One acknowledgement: the time of its event, its kind, and how it begins."""

    time: str
    word: str
    begins: str = ""

    def is_told_by(self, line: Told) -> bool:
        """Return whether a printed line is this acknowledgement."""
        return (self.time, self.word) == (line.time, line.word) and line.begins.startswith(self.begins)


def told_by(lines: Iterable[str]) -> list[Told]:
    """Return the acknowledgements among plain lines such as ``07:12:03  taken  fan belt frayed``."""
    found = []
    for line in lines:
        time, _, rest = line.partition("  ")
        word = next((w for w in _WORDS if rest.startswith(f"{w} ")), None)
        if word is not None:
            found.append(Told(time, word, rest.removeprefix(word).strip()))
    return found


def owed_for(events: Sequence[Stored], sheet: Sheet) -> list[Told]:
    """Return the acknowledgements that the events of a walk call for, in order."""
    state, owed = WalkState(sheet), list[Told]()
    for stored in events:
        time = f"{stored.at:%H:%M:%S}"
        if _drops_a_mark(stored.event, state):
            owed.append(Told(time, "answer", DROPPED.text))
        if not _answers_a_mark(stored.event, state) and (due := _due(stored.event, state, sheet)) is not None:
            owed.append(Told(time, *due))
        state = apply(state, stored.event, stored.at)
    return owed


def _drops_a_mark(event: Event, state: WalkState) -> bool:
    """Return whether something else than its affirmation came after a group mark was read back."""
    if state.marks.asked is None or isinstance(
        event, (GroupMarkAsked, GroupMarked, WalkResumed, RemarkLogged)
    ):
        return False
    return not (isinstance(event, CommandHeard) and event.command == NAME)


def _answers_a_mark(event: Event, state: WalkState) -> bool:
    """Return whether an event is nothing but another answer to the read-back of a group mark."""
    answers = ("affirmative", "negative", "disregard", "acknowledged")
    asked = state.marks.asked is not None
    return asked and isinstance(event, CommandHeard) and event.command in answers


def _due(event: Event, state: WalkState, sheet: Sheet) -> tuple[str, str] | None:
    match event:
        case EntryLogged(doubts=()) | DoubtSettled():
            return "taken", say_claim(event.claim, sheet)
        case CautionAffirmed():
            return "taken", ""
        case GroupMarked(point_ids=ids):
            return "taken", f"{len(ids)} point"
        case GroupMarkReopened():
            return "taken", "disregarded: "
        case EntryLogged(held_at=str()):
            return "answer", f"{say_claim(event.claim, sheet)} is kept"
        case EntryLogged():
            return "doubt", event.doubts[0].question
        case EntryWithdrawn(reason="answered negative"):
            return "taken", "not logged"
        case EntryWithdrawn():
            return "taken", "disregarded: "
        case RemarkPointAsked():
            return "doubt", "remark on "
        case RemarkLogged():
            point = sheet.points.get(event.point_id or "")
            return "taken", f"remark on {point.full_name if point else 'the walk'}"
        case NotUnderstood(reason="the answer was not clear"):
            return "doubt", "say again: "
        case NotUnderstood():
            return "not understood", f"say again: {event.reason}"
        case CommandHeard(command="negative") if state.asked and state.entries[state.asked].in_doubt:
            return "doubt", ""
        case CommandHeard(command="what is open") if state.doubts():
            return None
        case QuestionAsked():
            return "doubt", state.entries[event.entry_id].logged.doubts[0].question
        case WalkResumed():
            return "answer", "walk resumed: "
        case StopEntered(stop_id=stop_id):
            return "answer", sheet.stop(stop_id).name
        case CommandHeard() | PointNamed() | WalkFinished():
            return "answer", ""
        case _:
            return None


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a walk's acknowledgements."""

    acknowledged: int
    lost: tuple[str, ...]
    """Acknowledged, and not in the record: must be empty."""
    silent: int
    """In the record at its end, and not acknowledged: what the kill came between."""
    problems: tuple[str, ...]
    """What the record's proof and its sound files have to say."""


def kept(store: Store, walk: str, sheet: Sheet, lines: Sequence[str], *, after: int = 0) -> Kept:
    """Hold the plain lines of one run against the events it added to the walk.

    ``after`` is how many events the walk had before that run.
    """
    events = store.events(walk) if walk else ()
    earlier, told = len(owed_for(events[:after], sheet)), told_by(lines)
    owed = owed_for(events, sheet)[earlier:]
    lost, place, passed_over = list[str](), 0, list[Told]()
    for line in told:
        found = next((n for n in range(place, len(owed)) if owed[n].is_told_by(line)), None)
        if found is None:
            lost.append(f"{line.time} {line.word}: {line.begins}")
        else:
            passed_over += owed[place:found]
            place = found + 1
    problems = [line for line in lines if "  trouble" in line or "Traceback" in line]
    problems += [f"kept and not acknowledged: {due.word}: {due.begins}" for due in passed_over]
    problems += store.verify(walk) if walk else ()
    problems += store.verify_all()
    problems += _sound_problems(store, events)
    return Kept(len(told), tuple(lost), len(owed) - place, tuple(problems))


def _sound_problems(store: Store, events: Sequence[Stored]) -> list[str]:
    """Return what is wrong with the sound that the events name: missing, altered or empty."""
    found = []
    for stored in events:
        heard = getattr(stored.event, "heard", None)
        if heard is None or heard.clip is None:
            continue
        try:
            samples, _ = decode(store.clip(heard.clip))
        except RecordError as error:
            found.append(f"event {stored.number}: {error}")
            continue
        if not len(samples):
            found.append(f"event {stored.number}: its sound is empty")
    return found


def taken_up(before: Sequence[Stored], after: Sequence[Stored], sheet: Sheet, lines: Sequence[str]) -> str:
    """Return how a second run failed to go on with a walk where it stood; empty when it did not fail."""
    if tuple(after[: len(before)]) != tuple(before):
        return "the events of before the kill are not those of after it"
    if len(after) == len(before) or not isinstance(after[len(before)].event, WalkResumed):
        return "no event says that the walk was resumed"
    stood = fold(sheet, ((s.at, s.event) for s in before))
    now = apply(stood, after[len(before)].event, after[len(before)].at)
    if (now.stop_id, now.entries, now.remarks, now.marks.of_points) != (
        stood.stop_id,
        stood.entries,
        stood.remarks,
        stood.marks.of_points,
    ):
        return "resuming changed where the walk stood"
    covered = f"{now.covered} of {now.required} covered"
    if not any(
        t.word == "answer" and t.begins.startswith("walk resumed: ") and t.begins.endswith(covered)
        for t in told_by(lines)
    ):
        return f"it does not say where the walk stood ({covered})"
    if not any(line.split()[1:] == ["walk", before[0].walk] for line in lines):
        return "it does not name the walk"
    return ""
