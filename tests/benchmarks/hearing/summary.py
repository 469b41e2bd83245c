"""The figures of a run: pure functions from rows to what is shown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from tests.benchmarks.hearing.dataset import half
from tests.benchmarks.hearing.results import Results, Row
from tests.benchmarks.hearing.scoring import Outcome, added, agree, outcome, slot_words
from tests.benchmarks.hearing.statistics import (
    Calibration,
    Interval,
    Percentiles,
    calibrate,
    percentiles,
    resampled,
    wilson,
    word_error_rate,
)

SHORT_S = 4.0
"""Utterances up to this long are short commands."""


@dataclass(frozen=True, slots=True)
class Cell:
    """What came of some utterances through one system."""

    count: int
    right: Interval
    refused: Interval
    wrong: Interval
    counts: dict[Outcome, int]
    added: int
    """Right by the publisher's rule, with a slot that nobody labelled."""
    wer: float | None
    """Over the words of the slots: the labels have no transcript."""


@dataclass(frozen=True, slots=True)
class Condition:
    """One ratio."""

    name: str
    ratio_db: float | None
    averaged: bool
    cell: Cell


@dataclass(frozen=True, slots=True)
class Latency:
    """Decoding times in seconds."""

    every: Percentiles | None
    short: Percentiles | None
    long: Percentiles | None


@dataclass(frozen=True, slots=True)
class Certainty:
    """Calibration over one group of rows."""

    group: str
    utterances: Calibration | None
    slots: Calibration | None


@dataclass(frozen=True, slots=True)
class SystemSummary:
    """All figures of one system."""

    name: str
    title: str
    version: str
    note: str
    conditions: tuple[Condition, ...]
    average: Cell | None
    """All rows of the averaged ratios together; the interval takes them as independent."""
    average_resampled: Interval | None
    """The same share with an interval over whole utterances."""
    latency: Latency
    decode_s: tuple[float, ...]
    """Every decoding time, sorted."""
    real_time: float
    """Seconds of decoding for a second of sound."""
    cpu_factor: float
    """Seconds of the processors for a second of sound, all threads together."""
    match_ms: float
    """Median, outside of the decoding times."""
    ready_s: float | None
    first_answer_s: float | None
    starts: int
    peak_mb: float | None
    comparable: bool
    certainty: tuple[Certainty, ...]
    """Empty where the system gives no posterior."""


@dataclass(frozen=True, slots=True)
class Ratios:
    """Ours over another system's; below 1 ours is the smaller."""

    title: str
    figures: dict[str, float]


@dataclass(frozen=True, slots=True)
class Summary:
    """Of a run."""

    systems: tuple[SystemSummary, ...]
    ratios: tuple[Ratios, ...]


def condition_name(ratio: float | None) -> str:
    """Return how a ratio is called."""
    return "clean" if ratio is None else f"{ratio:g} dB"


def summarise(results: Results) -> Summary:
    """Return the figures of a run."""
    by_system = {name: [r for r in results.rows if r.system == name] for name in results.settings.systems}
    systems = tuple(_system(name, rows, results) for name, rows in by_system.items() if rows)
    ours = next((s for s in systems if s.name == "voicelog"), None)
    others = [s for s in systems if s is not ours] if ours else []
    return Summary(systems, tuple(_ratios(ours, other) for other in others) if ours else ())


def cell(rows: list[Row], labels: dict[str, dict[str, str]]) -> Cell:
    """Return what came of some rows, at least one."""
    names = slot_names(labels)
    outcomes = [outcome(row.answer.slots, labels[row.utterance]) for row in rows]
    counts = Counter(outcomes)
    extra = sum(
        found is Outcome.RIGHT and added(row.answer.slots, labels[row.utterance], names)
        for row, found in zip(rows, outcomes, strict=True)
    )
    wer = word_error_rate(
        [slot_words(labels[row.utterance], names) for row in rows],
        [slot_words(row.answer.slots, names) for row in rows],
    )
    right, refused, wrong = (wilson(counts[o], len(rows)) for o in Outcome)
    return Cell(len(rows), right, refused, wrong, {o: counts[o] for o in Outcome}, extra, wer)


def slot_names(labels: dict[str, dict[str, str]]) -> frozenset[str]:
    """Return every slot that any label has: other named rules are not scored."""
    return frozenset(name for label in labels.values() for name in label)


def utterance_calibration(rows: Iterable[Row], labels: dict[str, dict[str, str]]) -> Calibration | None:
    """Compare the posterior of each best phrase, refused or not, with whether its slots are right.

    Every utterance counts; without any phrase the posterior is 0 and it is not right.
    """
    posteriors, right = [], []
    for row in rows:
        if row.answer.posterior is None:
            continue
        posteriors.append(row.answer.posterior)
        best = row.answer.best_slots
        right.append(best is not None and agree(best, labels[row.utterance]))
    return calibrate(posteriors, right)


def slot_calibration(rows: Iterable[Row], labels: dict[str, dict[str, str]]) -> Calibration | None:
    """Compare the posterior of each slot that a best phrase fills, refused or not, with its label.

    A slot that the label lacks is not right.
    """
    names = slot_names(labels)
    posteriors, right = [], []
    for row in rows:
        for claim in row.answer.claims:
            if claim.slot in names:
                posteriors.append(claim.posterior)
                right.append(labels[row.utterance].get(claim.slot) == claim.value)
    return calibrate(posteriors, right)


def _system(name: str, rows: list[Row], results: Results) -> SystemSummary:
    settings, labels = results.settings, results.labels
    conditions = []
    for ratio in settings.conditions:
        here = [row for row in rows if row.ratio_db == ratio]
        if here:
            conditions.append(
                Condition(condition_name(ratio), ratio, ratio in settings.ratios, cell(here, labels))
            )
    averaged = [row for row in rows if row.ratio_db in settings.ratios]
    times = sorted(row.answer.decode_s for row in rows)
    sessions = [s for s in results.sessions if s.identity.system == name]
    starts = [start for session in sessions for start in session.starts]
    identity = sessions[-1].identity if sessions else None
    return SystemSummary(
        name=name,
        title=identity.title if identity else name,
        version=identity.version if identity else "",
        note=identity.note if identity else "",
        conditions=tuple(conditions),
        average=cell(averaged, labels) if averaged else None,
        average_resampled=resampled(_shares(averaged, labels)) if averaged else None,
        latency=Latency(
            percentiles(times),
            percentiles([row.answer.decode_s for row in rows if row.audio_s <= SHORT_S]),
            percentiles([row.answer.decode_s for row in rows if row.audio_s > SHORT_S]),
        ),
        decode_s=tuple(times),
        real_time=sum(times) / sum(row.audio_s for row in rows),
        cpu_factor=sum(row.answer.cpu_s for row in rows) / sum(row.audio_s for row in rows),
        match_ms=1000 * median(row.answer.match_s for row in rows),
        ready_s=median(s.ready_s for s in starts) if starts else None,
        first_answer_s=median(s.first_answer_s for s in starts) if starts else None,
        starts=len(starts),
        peak_mb=max((s.peak_mb for s in sessions), default=None),
        comparable=bool(sessions) and all(s.comparable for s in sessions),
        certainty=_certainty(rows, results),
    )


def _shares(rows: list[Row], labels: dict[str, dict[str, str]]) -> list[float]:
    found: dict[str, list[bool]] = {}
    for row in rows:
        is_right = outcome(row.answer.slots, labels[row.utterance]) is Outcome.RIGHT
        found.setdefault(row.utterance, []).append(is_right)
    return [sum(hits) / len(hits) for hits in found.values()]


def _certainty(rows: list[Row], results: Results) -> tuple[Certainty, ...]:
    if all(row.answer.posterior is None for row in rows):
        return ()
    groups = {
        "all": rows,
        "half A": [row for row in rows if half(row.utterance) == "A"],
        "half B": [row for row in rows if half(row.utterance) == "B"],
    }
    for ratio in results.settings.conditions:
        groups[condition_name(ratio)] = [row for row in rows if row.ratio_db == ratio]
    return tuple(
        Certainty(
            group, utterance_calibration(chosen, results.labels), slot_calibration(chosen, results.labels)
        )
        for group, chosen in groups.items()
        if chosen
    )


def _ratios(ours: SystemSummary, other: SystemSummary) -> Ratios:
    figures: dict[str, float] = {}

    def put(name: str, a: float | None, b: float | None) -> None:
        if a is not None and b:
            figures[name] = a / b

    a, b = ours.latency.every, other.latency.every
    if ours.comparable and other.comparable:
        if a and b:
            put("p50", a.p50, b.p50)
            put("p95", a.p95, b.p95)
            put("p99", a.p99, b.p99)
            put("max", a.most, b.most)
        put("real-time factor", ours.real_time, other.real_time)
        put("ready", ours.ready_s, other.ready_s)
        put("first answer", ours.first_answer_s, other.first_answer_s)
    put("processor time", ours.cpu_factor, other.cpu_factor)
    put("peak memory", ours.peak_mb, other.peak_mb)
    if ours.average and other.average:
        put("right", ours.average.right.share, other.average.right.share)
        put("wrong", ours.average.wrong.share, other.average.wrong.share)
    return Ratios(other.title, figures)
