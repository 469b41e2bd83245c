"""A walk's report as an archival PDF.

The same parts in the same order as the HTML page, without the sound: a clip is named by the first
digits of its SHA-256, as it is named in the record.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from voicelog.clock import now
from voicelog.reports.drawn_walk import KEY as DRAWN_KEY
from voicelog.reports.drawn_walk import drawn_walk, noted
from voicelog.reports.parts import ChangePart, EntryPart, ReadingPart, ReportContents, Said, SignaturePart
from voicelog.reports.pdf_page import EPW_MM, Cell, Document, over_time, state_cell
from voicelog.reports.write import Paper
from voicelog.walk.state import PointStatus

_SHOWN = 12
"""Hex digits that a hash is shortened to."""


def pdf_report(contents: ReportContents, paper: Paper = "Letter", made: datetime | None = None) -> bytes:
    """Return the report as PDF, ``made`` then (now, if none); the same then gives the same bytes."""
    page = Document(contents.title, paper, f"walk {contents.walk}")
    _head(page, contents)
    _drawn(page, contents)
    _found(page, contents)
    _changes(page, "Doubts settled", contents.settled, "No doubt was settled.")
    _readings(page, contents)
    over_time(page, [("", series) for series in contents.series])
    _points(page, contents)
    _changes(page, "Corrections and withdrawals", contents.changes, "Nothing was changed.")
    _remarks(page, contents)
    page.heading("Not understood")
    refused = (f"{r.reason}: {_said(r.said)}" for r in contents.refused)
    page.lines(refused, nothing="Nothing heard was refused.")
    _integrity(page, contents)
    return page.output(made or now())


def _head(page: Document, contents: ReportContents) -> None:
    page.facts((fact.name, fact.value) for fact in contents.facts)
    page.text_line(contents.times, quiet=True)
    for warning in contents.warnings:
        page.text_line(f"Warning: {warning}", bold=True)
    page.heading("Decision")
    page.text_line(f"{contents.decision.words.upper()}: {contents.decision.told}", bold=True)
    page.heading("Completeness")
    page.text_line(contents.completeness, bold=not contents.complete)
    page.facts((missing.stop, "; ".join(missing.points)) for missing in contents.missing_by_stop)
    for since in contents.since_the_end:
        page.text_line(since)
    page.rows(
        ("Points", "Number"),
        [(state_cell(count.state, count.name), str(count.number)) for count in contents.counts],
        (80, 20),
    )
    page.heading("Signatures")
    page.rows(
        ("Name and role", "Meaning", "Decision", "Date, time and zone", "Reason", "Over"),
        [
            (
                f"{s.name}, {s.role}",
                s.meaning,
                s.decision,
                (s.date, s.time, s.zone),
                _reasons(s),
                (s.over, s.key),
            )
            for s in contents.signatures
        ],
        (17, 14, 15, 13, 25, 16),
    )
    if not contents.signatures:
        page.text_line("Not signed.", bold=True)
    page.text_line(contents.unsigned, bold=True)
    page.heading("What this record is")
    page.text_line(contents.disclaimer)
    page.heading("Cautions")
    page.lines(contents.cautions, nothing="None.")


def _reasons(signed: SignaturePart) -> Cell:
    if not signed.overridden:
        return signed.reason
    against = f"AGAINST THE LOCAL POLICY: {'; '.join(signed.overridden)}."
    return signed.reason, against, f"Reason for overriding it: {signed.override_reason}"


def _drawn(page: Document, contents: ReportContents) -> None:
    drawn = drawn_walk(contents.stops)
    if drawn is None:
        return
    page.heading("The walk, drawn")
    page.picture(drawn, EPW_MM)
    page.text_line(DRAWN_KEY, quiet=True)
    rows = [
        (str(point.number), (point.name, stop), state_cell(point.state, point.words))
        for point, stop in noted(contents.stops)
        if point.state != "open"
    ]
    page.rows(("No.", "Point and stop", "State"), rows, (8, 42, 50))


def _found(page: Document, contents: ReportContents) -> None:
    page.heading("Defects")
    for number, defect in enumerate(contents.defects, 1):
        entry = defect.entry
        page.heading(f"{number}. {entry.point}: {entry.what}", level=3)
        page.lines(
            (
                f"{defect.class_name}. {defect.class_meaning}",
                f"At stop: {defect.stop}",
                defect.class_source and f"Class from: {defect.class_source}",
                _said(entry.said),
                *entry.history,
            )
        )
    if not contents.defects:
        page.text_line("No defect stands.")
    page.heading("Open doubts")
    for number, doubt in enumerate(contents.doubts, 1):
        page.heading(f"{number}. {doubt.points}: in doubt", level=3)
        for asked in doubt.questions:
            page.text_line(f"{asked.question} ({asked.reason})", stays=True)
            page.lines(f"{c.said} ({c.chance})" for c in asked.candidates)
        page.text_line(_said(doubt.said))
    if not contents.doubts:
        page.text_line("No doubt is open.")


def _readings(page: Document, contents: ReportContents) -> None:
    page.heading("Readings against limits")
    rows = [_reading(reading) for reading in contents.readings]
    page.rows(
        ("Point and reading", "Value", "Judgement", "Limit, basis and source", "What was said"),
        rows,
        (22, 12, 17, 25, 24),
    )
    if not rows:
        page.text_line("The sheet asks for no reading, and none was given.")


def _reading(reading: ReadingPart) -> tuple[Cell, ...]:
    si = reading.si if reading.si != reading.value else ""
    kind: PointStatus = "defect" if reading.outside else "sound" if reading.value else "open"
    source = f"{reading.basis}: {reading.source}" if reading.source else reading.basis
    return (
        (f"{reading.point}, {reading.name}", reading.stop),
        tuple(text for text in (reading.value or "none", si) if text),
        state_cell(kind, reading.judgement),
        tuple(text for text in (reading.limit, source) if text),
        _said(reading.said) if reading.said else "nothing",
    )


def _points(page: Document, contents: ReportContents) -> None:
    page.heading("Every point, in walking order")
    for place, stop in enumerate(contents.stops, 1):
        page.heading(f"Stop {place}: {stop.name}", level=3)
        if stop.cautions:
            page.text_line(f"Caution. {' '.join(stop.cautions)}", stays=True)
        rows = [
            (
                str(point.number),
                point.name,
                state_cell(point.state, point.words),
                tuple(line for entry in point.entries for line in _entry(entry, point.name)) or "no entry",
            )
            for point in stop.points
        ]
        page.rows(("No.", "Point", "State", "Entries"), rows, (7, 23, 22, 48))


def _entry(entry: EntryPart, point: str) -> tuple[str, ...]:
    of = f"{entry.point}: " if entry.point != point else ""
    return f"{of}{entry.what} ({entry.words}). {_said(entry.said)}", *entry.history


def _changes(page: Document, title: str, changes: Sequence[ChangePart], nothing: str) -> None:
    page.heading(title)
    rows = [
        (
            (f"{change.kind} {change.at} by {change.by}", *change.questions),
            (change.before, _said(change.original)),
            (change.after, _said(change.answer) if change.answer else "on the screen"),
            change.why,
        )
        for change in changes
    ]
    page.rows(("What", "Before", "After", "Why"), rows, (21, 31, 29, 19))
    if not rows:
        page.text_line(nothing)


def _remarks(page: Document, contents: ReportContents) -> None:
    page.heading("Remarks")
    for number, remark in enumerate(contents.remarks, 1):
        page.heading(f"{number}. About {remark.about}", level=3)
        page.text_line(f"{remark.label}.", quiet=True, stays=True)
        for said in remark.said:
            page.text_line(_said(said))
    if not contents.remarks:
        page.text_line("No remark was made.")


def _integrity(page: Document, contents: ReportContents) -> None:
    page.heading("Record integrity")
    whole = contents.integrity
    page.text_line(whole.verdict, bold=True)
    page.lines((*whole.problems, *whole.notes))
    page.text_line(f"Events: {whole.events}. Hash of the last event (SHA-256):", stays=True)
    page.text_line(whole.head)


def _said(said: Said) -> str:
    words = f'"{said.words}"' if said.words else "no phrase of the sheet"
    freely = f' (without the sheet\'s phrases: "{said.freely}")' if said.freely else ""
    sound = f", sound {said.clip[:_SHOWN]}, {said.seconds:.1f} s" if said.clip else ", no sound"
    return f"{said.how} {said.at}: {words}{freely}{sound}"
