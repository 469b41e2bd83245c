"""The figures as plain text."""

from __future__ import annotations

from tabulate import tabulate

from tests.benchmarks.hearing.results import Results
from tests.benchmarks.hearing.scoring import Outcome
from tests.benchmarks.hearing.statistics import BINS, Calibration, Interval, Percentiles
from tests.benchmarks.hearing.summary import SHORT_S, Cell, Summary, SystemSummary

Table = list[list[str]]


def share(interval: Interval) -> str:
    """Return a share with its interval."""
    return f"{interval.share:.3f} [{interval.low:.3f}, {interval.high:.3f}]"


def accuracy(summary: Summary) -> tuple[list[str], Table]:
    """Return header and rows: the average first, then one row per ratio and system."""
    header = ["ratio", "system", "n", "right", "refused", "wrong", "extra slot", "slot WER"]
    first = summary.systems[0].conditions if summary.systems else ()
    names = [(c.name, c.averaged) for c in first]
    rows: Table = []
    for system in summary.systems:
        if system.average:
            rows.append([f"average, {_averaged(system)}", system.title, *_cell(system.average)])
    for name, averaged in names:
        for system in summary.systems:
            for condition in system.conditions:
                if condition.name == name:
                    apart = "" if averaged else ", apart"
                    rows.append([name + apart, system.title, *_cell(condition.cell)])
    return header, rows


def _averaged(system: SystemSummary) -> str:
    values = [c.ratio_db for c in system.conditions if c.averaged and c.ratio_db is not None]
    return f"{max(values):g} to {min(values):g} dB"


def _cell(cell: Cell) -> list[str]:
    return [
        str(cell.count),
        share(cell.right),
        f"{cell.counts[Outcome.REFUSED]}: {share(cell.refused)}",
        f"{cell.counts[Outcome.WRONG]}: {share(cell.wrong)}",
        str(cell.added),
        "" if cell.wer is None else f"{cell.wer:.3f}",
    ]


def resampling(summary: Summary) -> tuple[list[str], Table]:
    """Return header and rows: the average with an interval over whole utterances."""
    return ["system", "right, resampled by utterance"], [
        [s.title, share(s.average_resampled)] for s in summary.systems if s.average_resampled
    ]


def speed(summary: Summary) -> tuple[list[str], Table]:
    """Return header and rows: decoding times in seconds."""
    header = [
        "system",
        "sound",
        "n",
        "p50 s",
        "p95 s",
        "p99 s",
        "max s",
        "real-time factor",
        "processor s per s",
    ]
    rows: Table = []
    for system in summary.systems:
        parts = (
            ("all", system.latency.every),
            (f"up to {SHORT_S:g} s", system.latency.short),
            (f"over {SHORT_S:g} s", system.latency.long),
        )
        for name, found in parts:
            if found:
                factor = f"{system.real_time:.3f}" if name == "all" else ""
                cpu = f"{system.cpu_factor:.3f}" if name == "all" else ""
                rows.append([system.title, name, *_percentiles(found), factor, cpu])
    return header, rows


def _percentiles(p: Percentiles) -> list[str]:
    return [str(p.count), *(f"{value:.3f}" for value in (p.p50, p.p95, p.p99, p.most))]


def cost(summary: Summary) -> tuple[list[str], Table]:
    """Return header and rows: start-up and memory."""
    header = ["system", "ready after s", "first answer after s", "starts", "peak memory MB", "matching ms"]
    return header, [
        [
            s.title,
            _number(s.ready_s, 2),
            _number(s.first_answer_s, 2),
            str(s.starts),
            _number(s.peak_mb, 0),
            _number(s.match_ms, 1),
        ]
        for s in summary.systems
    ]


def _number(value: float | None, places: int) -> str:
    return "" if value is None else f"{value:.{places}f}"


def compared(summary: Summary) -> tuple[list[str], Table]:
    """Return header and rows: ours over each other system's."""
    names = list(dict.fromkeys(name for r in summary.ratios for name in r.figures))
    rows = [
        [f"voicelog / {r.title}", *(_number(r.figures.get(name), 2) for name in names)]
        for r in summary.ratios
    ]
    return ["", *names], rows


def certainty(system: SystemSummary) -> tuple[list[str], Table]:
    """Return header and rows: calibration by group."""
    header = ["rows", "of", "n", "ECE", "Brier", "mean posterior", "right"]
    rows: Table = []
    for group in system.certainty:
        for name, found in (("utterances", group.utterances), ("slots", group.slots)):
            if found:
                rows.append([group.group, name, *_calibration(found)])
    return header, rows


def _calibration(c: Calibration) -> list[str]:
    return [str(c.count), *(f"{value:.4f}" for value in (c.ece, c.brier, c.posterior, c.right))]


def notes(results: Results, summary: Summary) -> list[str]:
    """Return what a reader must know to read the figures."""
    settings = results.settings
    said = [
        f"{len(settings.utterances)} utterances of {settings.data}; machine: {results.machine}.",
        "right: every labelled slot has exactly its labelled words; refused: no answer; wrong: an answer, "
        "and false. In brackets the 95 % Wilson score interval. The rows of one utterance at several "
        "ratios are not independent, so the interval of the average is given by resampling whole "
        "utterances too.",
        "extra slot: counted right by the publisher's rule, but a slot was filled that nobody said.",
        "slot WER: word error rate over the words of the labelled slots only, in the order of the slots' "
        "names; the labels have no transcript. A refusal deletes all of its words.",
        "Times are from samples to words, at all ratios. Matching words to slots is apart. "
        "Real-time factor: seconds of decoding for a second of sound; processor s per s: the same in time "
        "of the processors, all threads together. Ready: from the "
        "start of the process until it can take sound; first answer: to the end of a first utterance. "
        "Medians of the starts. Peak memory: VmHWM of the system's process, in 10^6 bytes.",
    ]
    if any(not s.comparable for s in summary.systems):
        said.append("Times are NOT COMPARABLE: several processes decoded at once, or a run did not finish.")
    said += [f"{s.title}: {s.version}; {s.note}." for s in summary.systems]
    return said


CERTAINTY_NOTE = (
    f"Expected calibration error in {BINS} equal-mass bins. Utterances: the posterior of the best phrase, "
    "refused or not, against its slots being right. Slots: the posterior of each slot that the best phrase "
    "fills, summed over the phrases that agree on it, against the label. Half A and half B part the "
    "utterances by a hash of their names: constants fitted on one are to be judged by the other."
)


def text_report(results: Results, summary: Summary) -> str:
    """Return all of it as text."""
    parts = [*notes(results, summary), ""]
    for title, (header, rows) in (
        ("Accuracy", accuracy(summary)),
        ("Average, by utterance", resampling(summary)),
        ("Speed", speed(summary)),
        ("Start and memory", cost(summary)),
        ("voicelog's figure over the other's", compared(summary)),
    ):
        if rows:
            parts += [title, tabulate(rows, header, tablefmt="simple", disable_numparse=True), ""]
    for system in summary.systems:
        if system.certainty:
            header, rows = certainty(system)
            parts += [f"Calibration of {system.title}", CERTAINTY_NOTE]
            parts += [tabulate(rows, header, tablefmt="simple", disable_numparse=True), ""]
    return "\n".join(parts)
