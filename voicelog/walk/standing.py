"""The state of a walk, and all that can be asked of it.

Everything a screen or a report shows of a walk is read from :class:`WalkState`. What makes it is in
:mod:`voicelog.walk.state`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from voicelog.meaning.claims import aspect_of
from voicelog.sheet.model import Caution, Point, Sheet
from voicelog.walk.entries import Entry, PointStatus, points_meant
from voicelog.walk.events import (
    CarriedDefect,
    CautionAffirmed,
    CautionRefused,
    Claim,
    DefectAcknowledged,
    NotUnderstood,
    RecheckAsked,
    RemarkLogged,
    SignedOff,
    SoundBack,
    SoundLost,
    SoundMissed,
    StreamEnded,
    WalkFinished,
    WalkStarted,
)
from voicelog.walk.marked import NO_MARKS, Marks
from voicelog.walk.persons import same_person
from voicelog.walk.runs import TimedRun

SoundEvent = SoundLost | SoundBack | SoundMissed | StreamEnded


@dataclass(frozen=True, slots=True)
class AskedCaution:
    """A caution that has to be affirmed before anything can be logged where the operator stands."""

    stop_id: str
    """Empty for a caution of the sheet itself."""
    number: int
    """Its place among the cautions of its stop, or of the sheet, from 1."""
    caution: Caution


@dataclass(frozen=True, slots=True)
class LookAgain:
    """What must be said of a point again before it counts as covered."""

    matters: tuple[str, ...]
    """Each must be spoken of; where there is none, anything said of the point will do."""
    after: int
    """How many entries the walk had when this was asked."""


@dataclass(frozen=True, slots=True)
class WalkState:
    """One inspection of one unit with one sheet, up to its last event."""

    sheet: Sheet
    started: WalkStarted | None = None
    started_at: datetime | None = None
    operators: tuple[str, ...] = ()
    """Whoever began the walk, and then each who took it up or over; the last one walks now."""
    last_at: datetime | None = None
    clock_set_back: bool = False
    """Whether an event has a time before that of the event ahead of it. The order is the events'."""
    stop_id: str = ""
    affirmed: frozenset[tuple[str, int]] = frozenset()
    """Stop ("" for the sheet) and number of each caution that is affirmed. All lapse when a walk is
    resumed or handed over: nobody knows what was started, moved or lowered meanwhile."""
    gate_events: tuple[tuple[datetime, CautionAffirmed | CautionRefused], ...] = ()
    """Every answer to a caution, in order."""
    named: str | None = None
    """The point last named by the operator at this stop."""
    prompted: str | None = None
    """The point that comes next in walking order and is shown as such."""
    standing_by: bool = False
    remark_point: str | None = None
    in_remark: bool = False
    remark_on: tuple[str, ...] = ()
    """The points of which it was asked which one a remark is to be on."""
    remark_id: str | None = None
    """The first part of the remark that is taken; None before it."""
    asked: str | None = None
    """The entry whose question was asked last and is not answered."""
    last_entry: str | None = None
    entries: dict[str, Entry] = field(default_factory=dict)
    """In the order they were logged."""
    remarks: tuple[tuple[datetime, RemarkLogged], ...] = ()
    not_understood: tuple[tuple[datetime, NotUnderstood], ...] = ()
    sound_lost: bool = False
    """Whether the microphone has dropped out and is not back."""
    sound: tuple[tuple[datetime, SoundEvent], ...] = ()
    """What befell the microphone."""
    finished: WalkFinished | None = None
    finished_at: datetime | None = None
    signatures: tuple[tuple[datetime, SignedOff], ...] = ()
    signature_numbers: tuple[int, ...] = ()
    """For each signature, its place among the walk's events, from 1."""
    events: int = 0
    carried: tuple[CarriedDefect, ...] = ()
    """Defects of earlier walks, in the order they are read out."""
    acknowledged: tuple[tuple[datetime, DefectAcknowledged], ...] = ()
    read_from: dict[str, int] = field(default_factory=dict)
    """By carried defect: how many acknowledgements there were when it was carried in as it stands."""
    look_again: dict[str, LookAgain] = field(default_factory=dict)
    """By point: what must be looked at again in this walk."""
    rechecks: tuple[tuple[datetime, RecheckAsked], ...] = ()
    runs: dict[str, TimedRun] = field(default_factory=dict)
    """Runs of timed tests, by id, in the order they were started."""
    marks: Marks = NO_MARKS
    """What was marked sound by group."""
    _by_point: dict[str, tuple[Entry, ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    """What :meth:`of_point` has found: with hundreds of points it is asked for all of them, often."""

    @property
    def running(self) -> TimedRun | None:
        """The timed test whose clock is running; at most one is."""
        return next((run for run in self.runs.values() if run.status == "running"), None)

    # the safety gate ------------------------------------------------------------------------

    @property
    def caution(self) -> AskedCaution | None:
        """The caution that is asked now: the sheet's own first, then those of the stop; None when open."""
        if self.started is None or self.finished is not None:
            return None
        return self.closed_by("") or self.closed_by(self.stop_id)

    def closed_by(self, stop_id: str) -> AskedCaution | None:
        """Return the first caution of a stop (of the sheet: "") that is not affirmed; None when open."""
        gate = self.sheet.stop(stop_id).gate if stop_id else self.sheet.gate
        for number, caution in enumerate(gate, 1):
            if (stop_id, number) not in self.affirmed:
                return AskedCaution(stop_id, number, caution)
        return None

    def is_open(self, stop_id: str) -> bool:
        """Return whether the cautions of the sheet and of a stop are affirmed."""
        return self.started is None or (self.closed_by("") is None and self.closed_by(stop_id) is None)

    # what stands ----------------------------------------------------------------------------

    def of_point(self, point_id: str) -> tuple[Entry, ...]:
        """Return the entries of a point that stand or are in doubt, in order."""
        if not self._by_point:
            by_point: dict[str, list[Entry]] = {}
            for entry in self.entries.values():
                if entry.status == "standing":
                    by_point.setdefault(entry.claim.point_id, []).append(entry)
                elif entry.status == "doubt":
                    for point in points_meant(entry):
                        by_point.setdefault(point, []).append(entry)
            self._by_point.update((point, tuple(found)) for point, found in by_point.items())
        return self._by_point.get(point_id, ())

    def standing(self) -> tuple[Entry, ...]:
        """Return the entries that count, in order."""
        return tuple(e for e in self.entries.values() if e.status == "standing")

    def doubts(self) -> tuple[Entry, ...]:
        """Return the entries that a person has yet to settle, in order."""
        return tuple(e for e in self.entries.values() if e.status == "doubt")

    def defects(self) -> tuple[Entry, ...]:
        """Return the standing entries that report a defect, worst class first."""
        classes = self.sheet.lexicon.classes

        worst = max((known.rank for known in classes.values()), default=0)

        def rank(entry: Entry) -> int:
            # A value outside its limit has no class; it is not less than the worst that has.
            known = classes.get(entry.claim.class_id or "")
            return -known.rank if known else -worst

        return tuple(sorted((e for e in self.standing() if e.claim.polarity == "defect"), key=rank))

    def status(self, point_id: str) -> PointStatus:
        """Return how a point stands. One doubt outweighs any number of sound entries.

        A point is sound only when something sound was said of it, nothing else is open, and every
        reading that the sheet requires of it was given.
        """
        entries = self.of_point(point_id)
        if any(e.status == "standing" and e.claim.polarity == "defect" for e in entries):
            return "defect"
        if any(e.in_doubt for e in entries):
            return "doubt"
        if point_id in self.marks.points and not entries and not self.readings_missing(point_id):
            return "open" if self.not_looked_at(point_id) else "sound"
        if not entries or self.readings_missing(point_id) or self.not_looked_at(point_id):
            return "open"
        return "sound"

    def by_group_mark(self, point_id: str) -> bool:
        """Return whether a point is sound by group mark alone."""
        return point_id in self.marks.points and self.status(point_id) == "sound"

    def not_looked_at(self, point_id: str) -> bool:
        """Return whether a point is to be looked at again, and something asked of it was not said since."""
        asked = self.look_again.get(point_id)
        if asked is None:
            return False
        said = [
            entry.claim
            for entry in tuple(self.entries.values())[asked.after :]
            if entry.status == "standing" and entry.claim.point_id == point_id
        ]
        return not said or any(
            not any(speaks_of(self.sheet, claim, matter) for claim in said) for matter in asked.matters
        )

    def carried_at(self, point_id: str) -> tuple[CarriedDefect, ...]:
        """Return the carried defects of a point of this sheet."""
        return tuple(d for d in self.carried if d.here and d.point_id == point_id)

    @property
    def to_acknowledge(self) -> CarriedDefect | None:
        """The carried defect that is to be acknowledged next, in the order they are read out."""
        return next((d for d in self.carried if not self.was_told(d.defect_id)), None)

    def was_told(self, defect_id: str) -> bool:
        """Return whether who walks now has acknowledged a carried defect as it stands."""
        walks = self.operators[-1] if self.operators else ""
        since = self.acknowledged[self.read_from.get(defect_id, 0) :]
        return any(e.defect_id == defect_id and same_person(e.by, walks) for _, e in since)

    def unacknowledged(self) -> tuple[CarriedDefect, ...]:
        """Return the carried defects that who walks has not acknowledged as they stand, in order."""
        return tuple(defect for defect in self.carried if not self.was_told(defect.defect_id))

    def unrepaired(self) -> tuple[CarriedDefect, ...]:
        """Return the carried defects without a certificate that this walk has not heard again, in order."""
        heard = {
            (e.claim.point_id, matter_of(self.sheet, e.claim))
            for e in self.standing()
            if e.claim.polarity == "defect"
        }
        return tuple(
            d
            for d in self.carried
            if d.state != "certified" and not (d.here and (d.point_id, d.matter) in heard)
        )

    def readings_missing(self, point_id: str) -> tuple[str, ...]:
        """Return the ids of the required readings that were not given for a point."""
        given = {e.claim.reading_id for e in self.of_point(point_id) if e.status == "standing"}
        point = self.sheet.points[point_id]
        computed = {c.reading.id: c for c in point.computed}
        return tuple(
            r.id
            for r in point.measured
            if r.required
            and r.id not in given
            # A result is missing only where it could be computed: otherwise its readings are.
            and (r.id not in computed or all(i in given for i in computed[r.id].needed))
        )

    def missing(self) -> tuple[Point, ...]:
        """Return the required points that are not covered, in walking order.

        A defect covers its point: it has been looked at. A doubt does not.
        """
        return tuple(
            p
            for p in self.sheet.points.values()
            if self._wanted(p) and self.status(p.id) in ("open", "doubt")
        )

    def _wanted(self, point: Point) -> bool:
        """Return whether a point must be covered: the sheet says so, or it must be looked at again."""
        return point.required or point.id in self.look_again

    def left_at(self, stop_id: str) -> tuple[Point, ...]:
        """Return the points of a stop that nothing has been said of yet, in walking order."""
        return tuple(p for p in self.sheet.stop(stop_id).points if self.status(p.id) == "open")

    @property
    def covered(self) -> int:
        """How many required points are covered."""
        return self.required - len(self.missing())

    @property
    def required(self) -> int:
        """How many points must be covered."""
        return sum(1 for p in self.sheet.points.values() if self._wanted(p))


def speaks_of(sheet: Sheet, claim: Claim, matter: str) -> bool:
    """Return whether a claim answers for a matter: the same aspect or reading, or "good" for all."""
    if claim.reading_id is not None:
        return matter == f"reading:{claim.reading_id}"
    return not matter.startswith("reading:") and aspect_of(sheet, claim) in (matter, "general")


def matter_of(sheet: Sheet, claim: Claim) -> str:
    """Return what of its point a claim is about: the aspect, or ``reading:`` and the reading's id."""
    return f"reading:{claim.reading_id}" if claim.reading_id is not None else aspect_of(sheet, claim) or ""
