"""How entries, their sound and what happened to them are put into words.

Nothing is decided here: polarity, judgement, class and status are those of the walk's state.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from voicelog.reports.parts import (
    CandidatePart,
    ChangePart,
    DefectPart,
    DoubtPart,
    EntryPart,
    QuestionPart,
    Said,
)
from voicelog.sheet.model import Sheet
from voicelog.walk.events import (
    Claim,
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryWithdrawn,
    Heard,
)
from voicelog.walk.state import Change, Entry, WalkState
from voicelog.walk.timed_wording import show_measured
from voicelog.walk.wording import grade, show_chance, show_what

NO_REASON = "no reason given"

_HOW = {"speech": "heard", "keyboard": "typed", "screen": "on the screen"}


def zone(at: datetime) -> str:
    """Return the offset of a time: ``UTC-05:00``."""
    return f"UTC{at.isoformat(timespec='seconds')[19:]}"


def full_time(at: datetime) -> str:
    """Return a time that stands alone: ``2026-11-25 07:10:04 UTC-05:00``."""
    return f"{at:%Y-%m-%d %H:%M:%S} {zone(at)}"


@dataclass(frozen=True, slots=True)
class Wording:
    """Words the facts of one walk, with times as they are read on its day."""

    state: WalkState

    @property
    def sheet(self) -> Sheet:
        """The sheet the walk was made with."""
        return self.state.sheet

    # times, sound ------------------------------------------------------------------------------

    def time(self, at: datetime) -> str:
        """Return the time of day, or the full time when it is of another day or offset."""
        start = self.state.started_at
        same = start is not None and (at.date(), at.utcoffset()) == (start.date(), start.utcoffset())
        return f"{at:%H:%M:%S}" if same else full_time(at)

    def said(self, heard: Heard, at: datetime) -> Said:
        """Return what was heard, with its sound."""
        freely = heard.free_text if heard.free_text.split() != heard.text.split() else ""
        seconds = max(0.0, heard.end_s - heard.start_s)
        return Said(heard.text, _HOW[heard.how], self.time(at), heard.clip, seconds, freely)

    # claims ------------------------------------------------------------------------------------

    def point(self, point_id: str) -> str:
        """Return a point's name with its side: ``left lift cylinder``."""
        return self.sheet.points[point_id].full_name

    def stop(self, point_id: str) -> str:
        """Return the name of the stop a point belongs to."""
        return self.sheet.stop(self.sheet.points[point_id].stop_id).name

    def claim(self, claim: Claim) -> str:
        """Return the whole claim: ``left lift cylinder: dripping (defect, class three leak)``."""
        sheet = self.sheet
        return f"{self.point(claim.point_id)}: {show_what(claim, sheet)} ({grade(claim, sheet)})"

    # entries -----------------------------------------------------------------------------------

    def entry(self, entry: Entry) -> EntryPart:
        """Return an entry as it now stands, with what happened to it."""
        return EntryPart(
            point=self.point(entry.claim.point_id),
            what=self._what(entry),
            words=self._standing(entry),
            status=entry.status,
            said=self.said(entry.logged.heard, entry.at),
            history=(*self._measured(entry), *(self._event(at, change) for at, change in entry.changes)),
        )

    def _measured(self, entry: Entry) -> tuple[str, ...]:
        measured = show_measured(self.state, entry)
        return (f"measured: {measured}",) if measured else ()

    def _what(self, entry: Entry) -> str:
        if not entry.in_doubt:
            return show_what(entry.claim, self.sheet)
        # Never the likeliest alone: at a glance it would read as if it had been said.
        likely = dict.fromkeys(c.said for doubt in entry.logged.doubts for c in doubt.candidates)
        return f"{' or '.join(likely) or show_what(entry.claim, self.sheet)}?"

    def _standing(self, entry: Entry) -> str:
        match entry.status:
            case "standing":
                return grade(entry.claim, self.sheet)
            case "doubt":
                return "in doubt, counts for nothing until it is settled"
            case "replaced":
                return "replaced, no longer counts"
            case "withdrawn":
                return "withdrawn, no longer counts"

    def _event(self, at: datetime, change: Change) -> str:
        when = self.time(at)
        match change:
            case DoubtSettled():
                return f"{when} doubt settled by {change.by}: {self.claim(change.claim)}"
            case EntryCorrected():
                return f"{when} corrected by {change.by}: {self.claim(change.claim)}"
            case EntryConfirmed():
                reason = f": {change.reason}" if change.reason else ""
                return f"{when} confirmed by {change.by}{reason}"
            case EntryWithdrawn():
                return f"{when} withdrawn by {change.by}: {change.reason or NO_REASON}"

    def defect(self, entry: Entry) -> DefectPart:
        """Return a defect that stands, with its class and where that comes from."""
        claim = entry.claim
        known = self.sheet.lexicon.classes.get(claim.class_id or "")
        if known:
            name, meaning, source = known.name, known.meaning, known.source
        elif claim.judgement in ("below", "above"):
            name, meaning, source = "outside its limit", "See readings against limits.", ""
        else:
            name, meaning, source = "no class", "The lexicon gives no class for this.", ""
        return DefectPart(self.stop(claim.point_id), self.entry(entry), name, meaning, source)

    def doubt(self, entry: Entry) -> DoubtPart:
        """Return an entry that nobody has settled, with what it may have meant."""
        ids = [entry.claim.point_id]
        ids += [c.claim.point_id for doubt in entry.logged.doubts for c in doubt.candidates]
        points = " or ".join(dict.fromkeys(self.point(point_id) for point_id in ids))
        questions = tuple(
            QuestionPart(
                doubt.question,
                "; ".join((doubt.reason, *self._measured(entry))),
                tuple(
                    CandidatePart(f"{c.said}: {grade(c.claim, self.sheet)}", show_chance(c.posterior))
                    for c in doubt.candidates
                ),
            )
            for doubt in entry.logged.doubts
        )
        return DoubtPart(points, questions, self.said(entry.logged.heard, entry.at))

    # what happened to them -----------------------------------------------------------------------

    def changes(self) -> Iterator[tuple[datetime, ChangePart]]:
        """Yield every doubt settled, correction, replacement and withdrawal, entry by entry."""
        for entry in self.state.entries.values():
            yield from self._changes_of(entry)

    def _changes_of(self, entry: Entry) -> Iterator[tuple[datetime, ChangePart]]:
        original = self.said(entry.logged.heard, entry.at)
        questions = tuple(doubt.question for doubt in entry.logged.doubts)
        before = self.claim(entry.logged.claim)
        if questions:
            before = f"in doubt, likeliest {before}"
        for at, change in entry.changes:
            if isinstance(change, EntryConfirmed):
                continue
            heard = None if isinstance(change, EntryCorrected) else change.heard
            kind, after, open_questions = "withdrawn", "nothing: it no longer counts", questions
            if isinstance(change, DoubtSettled):
                kind, after = "settled", self.claim(change.claim)
            elif isinstance(change, EntryCorrected):
                kind, after = "corrected", self.claim(change.claim)
            yield (
                at,
                ChangePart(
                    kind=kind,
                    before=before,
                    after=after,
                    by=change.by,
                    at=self.time(at),
                    why=change.reason or NO_REASON,
                    original=original,
                    answer=self.said(heard, at) if heard else None,
                    questions=open_questions,
                ),
            )
            before, questions = after, ()
        if entry.status == "replaced":
            yield from self._replacement(entry, before, original, questions)

    def _replacement(
        self, entry: Entry, before: str, original: Said, questions: tuple[str, ...]
    ) -> Iterator[tuple[datetime, ChangePart]]:
        """Yield how an entry was replaced by a later one that named it."""
        for new in self.state.entries.values():
            if new.logged.corrects != entry.entry_id or new.in_doubt:
                continue
            yield (
                new.at,
                ChangePart(
                    kind="replaced",
                    before=before,
                    after=self.claim(new.claim),
                    by=new.by,
                    at=self.time(new.at),
                    why="the operator said it again, as a correction",
                    original=original,
                    answer=self.said(new.logged.heard, new.at),
                    questions=questions,
                ),
            )
            return
