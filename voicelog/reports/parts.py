"""The parts of a report, worded and in order; both forms show exactly these.

Everything here is text that can be shown as it is, once escaped for its form. Numbers that are
not text are counts, seconds, and places on a bar from 0 to 1.
"""

from __future__ import annotations

from dataclasses import dataclass

from voicelog.reports.series import Series
from voicelog.sheet.model import Side
from voicelog.walk.state import EntryStatus, PointStatus


@dataclass(frozen=True, slots=True)
class Said:
    """What was heard or typed, when, and its sound."""

    words: str
    how: str
    """``heard``, ``typed`` or ``on the screen``."""
    at: str
    clip: str | None = None
    """SHA-256 of the clip's FLAC file; None when there is no sound."""
    seconds: float = 0.0
    freely: str = ""
    """What free speech recognition made of it, when that is another thing; else empty."""


@dataclass(frozen=True, slots=True)
class EntryPart:
    """One logged fact as it now stands."""

    point: str
    what: str
    """``dripping``, ``deflection 1/2 in``."""
    words: str
    """How it stands, such as ``defect, class three leak`` or ``in doubt, counts for nothing``."""
    status: EntryStatus
    said: Said
    history: tuple[str, ...] = ()
    """What happened to it since, oldest first."""


@dataclass(frozen=True, slots=True)
class DefectPart:
    """A defect that stands."""

    stop: str
    entry: EntryPart
    class_name: str
    class_meaning: str
    class_source: str


@dataclass(frozen=True, slots=True)
class CandidatePart:
    """One of the things that may have been meant."""

    said: str
    chance: str


@dataclass(frozen=True, slots=True)
class QuestionPart:
    """One slot in doubt."""

    question: str
    reason: str
    candidates: tuple[CandidatePart, ...]


@dataclass(frozen=True, slots=True)
class DoubtPart:
    """An entry that nobody has settled."""

    points: str
    questions: tuple[QuestionPart, ...]
    said: Said


@dataclass(frozen=True, slots=True)
class ChangePart:
    """What happened to an entry: a doubt settled, a correction or a withdrawal."""

    kind: str
    """``settled``, ``corrected``, ``replaced`` or ``withdrawn``."""
    before: str
    after: str
    by: str
    at: str
    why: str
    original: Said
    answer: Said | None
    questions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Bar:
    """A value against its plausible range and its limit; places run from 0 to 1."""

    low: str
    high: str
    value_at: float
    minimum_at: float | None
    maximum_at: float | None


@dataclass(frozen=True, slots=True)
class ReadingPart:
    """A reading against its limit."""

    point: str
    stop: str
    name: str
    value: str
    """Exact, in the reading's own unit; empty when it was not given."""
    si: str
    limit: str
    source: str
    basis: str
    judgement: str
    outside: bool
    said: Said | None
    bar: Bar | None


@dataclass(frozen=True, slots=True)
class PointPart:
    """One point of the sheet."""

    name: str
    state: PointStatus
    words: str
    entries: tuple[EntryPart, ...]
    number: int
    """Its place in walking order, from 1; the drawn walk bears it."""
    by_group: bool
    """Whether it is sound by group mark alone."""


@dataclass(frozen=True, slots=True)
class StopPart:
    """One stop of the walk with its points."""

    name: str
    cautions: tuple[str, ...]
    points: tuple[PointPart, ...]
    side: Side


@dataclass(frozen=True, slots=True)
class MissingPart:
    """The required points of one stop that are not covered."""

    stop: str
    points: tuple[str, ...]
    """Each with its number in walking order: ``12 left brake hose``."""


@dataclass(frozen=True, slots=True)
class RemarkPart:
    """A dictated remark; the words are a machine transcript unless they were typed."""

    about: str
    label: str
    said: tuple[Said, ...]
    """Each utterance of it, in order."""


@dataclass(frozen=True, slots=True)
class RefusedPart:
    """Something heard that made no entry."""

    reason: str
    said: Said


@dataclass(frozen=True, slots=True)
class SignaturePart:
    """One signature."""

    name: str
    role: str
    meaning: str
    decision: str
    date: str
    time: str
    zone: str
    reason: str
    over: str
    """The first digits of the hash of the last event that was signed for."""
    key: str
    """The key it is signed with; or that it is signed with none."""
    overridden: tuple[str, ...] = ()
    """What of the local policy the decision sets aside."""
    override_reason: str = ""


@dataclass(frozen=True, slots=True)
class DecisionPart:
    """The latest decision on service, at the head of the report."""

    state: PointStatus
    """As which state of a point it is marked."""
    words: str
    """``out of service``, ``no decision yet``."""
    told: str
    """Who and when, and whether it is against the local policy."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A name and its value, for the head of the report."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class Count:
    """One figure of the summary; ``state`` says which state of a point it counts."""

    state: PointStatus
    name: str
    number: int


@dataclass(frozen=True, slots=True)
class Integrity:
    """Whether the record is whole."""

    events: int
    head: str
    whole: bool
    verdict: str
    problems: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReportContents:
    """Everything a report shows, in the order it is shown."""

    title: str
    walk: str
    """The walk's id."""
    facts: tuple[Fact, ...]
    times: str
    """How to read the times that follow."""
    warnings: tuple[str, ...]
    decision: DecisionPart
    complete: bool
    completeness: str
    missing: tuple[str, ...]
    missing_by_stop: tuple[MissingPart, ...]
    """The points of ``missing``, shorter."""
    missing_at_end: tuple[str, ...]
    """Required points missing when the walk was ended, when those were others than now."""
    since_the_end: tuple[str, ...]
    """What is otherwise since: the points covered since, and those open again."""
    counts: tuple[Count, ...]
    signatures: tuple[SignaturePart, ...]
    unsigned: str
    """What no signature covers; empty when all is covered or nothing is signed."""
    disclaimer: str
    cautions: tuple[str, ...]
    defects: tuple[DefectPart, ...]
    doubts: tuple[DoubtPart, ...]
    settled: tuple[ChangePart, ...]
    readings: tuple[ReadingPart, ...]
    series: tuple[Series, ...]
    """The readings over this and earlier walks, those that were taken more than once."""
    stops: tuple[StopPart, ...]
    changes: tuple[ChangePart, ...]
    remarks: tuple[RemarkPart, ...]
    refused: tuple[RefusedPart, ...]
    integrity: Integrity
