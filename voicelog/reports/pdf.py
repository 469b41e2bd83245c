"""A walk's report as an archival PDF.

The same parts in the same order as the HTML page, without the sound: a clip is named by the first
digits of its SHA-256, as it is named in the record.
"""

from __future__ import annotations

from collections.abc import Sequence

from voicelog.reports.drawn_walk import KEY as DRAWN_KEY
from voicelog.reports.drawn_walk import drawn_walk, noted
from voicelog.reports.parts import ChangePart, EntryPart, ReportContents, Said
from voicelog.reports.pdf_page import Document, over_time
from voicelog.reports.write import Paper

_SHOWN = 12
"""Hex digits that a hash is shortened to."""


def pdf_report(contents: ReportContents, paper: Paper = "Letter") -> bytes:
    """Return the report as PDF. The same contents give the same pages; the file tells when it was made."""
    page = Document(contents.title, paper)
    _head(page, contents)
    _drawn(page, contents)
    _found(page, contents)
    _readings(page, contents)
    over_time(page, [("", series) for series in contents.series])
    _points(page, contents)
    _changes(page, "Doubts settled", contents.settled)
    _changes(page, "Corrections and withdrawals", contents.changes)
    page.heading("Remarks")
    said = ("; ".join(_said(part) for part in r.said) for r in contents.remarks)
    lines = (f"{r.about} ({r.label}): {s}" for r, s in zip(contents.remarks, said, strict=True))
    page.lines(lines, nothing="None.")
    page.heading("Heard and not logged")
    page.lines((f"{r.reason}: {_said(r.said)}" for r in contents.refused), nothing="None.")
    page.heading("Integrity of the record")
    whole = contents.integrity
    page.text_line(whole.verdict, style="B")
    page.lines((*whole.problems, *whole.notes))
    page.text_line(f"{whole.events} events; last event's hash {whole.head}")
    return bytes(page.output())


def _head(page: Document, contents: ReportContents) -> None:
    page.title_line(contents.title)
    page.rows((), [(fact.name, fact.value) for fact in contents.facts], (22, 78))
    page.text_line(contents.times)
    for warning in contents.warnings:
        page.text_line(f"Warning: {warning}", style="B")
    page.heading("Completeness")
    page.text_line(contents.completeness, style="" if contents.complete else "B")
    page.lines(contents.missing)
    for since in contents.since_the_end:
        page.text_line(since)
    page.rows((), [(str(count.number), count.name) for count in contents.counts], (10, 90))
    page.heading("Signatures")
    page.rows(
        ("Name, role", "Meaning", "Decision", "When", "Reason"),
        [
            (
                f"{s.name}, {s.role}",
                f"{s.meaning} {s.name}; for all up to event hash {s.over}",
                s.decision,
                f"{s.date} {s.time} {s.zone}",
                s.reason,
            )
            for s in contents.signatures
        ],
        (20, 28, 16, 18, 18),
    )
    if not contents.signatures:
        page.text_line("Not signed.", style="B")
    page.text_line(contents.unsigned)
    page.heading("What this record is")
    page.text_line(contents.disclaimer)
    page.lines(contents.cautions)


def _drawn(page: Document, contents: ReportContents) -> None:
    drawn = drawn_walk(contents.stops)
    if drawn is None:
        return
    page.heading("The walk, drawn", 14 + page.epw * drawn.height / drawn.width)
    page.picture(drawn, page.epw)
    page.text_line(DRAWN_KEY)
    rows = [
        (str(point.number), f"{point.name} ({stop})", point.words)
        for point, stop in noted(contents.stops)
        if point.state != "open"
    ]
    page.rows(("No.", "Point", "State"), rows, (8, 42, 50))
    left = [f"{point.number} {point.name}" for point, _ in noted(contents.stops) if point.state == "open"]
    page.text_line(f"Not covered in the picture: {', '.join(left)}." if left else "")


def _found(page: Document, contents: ReportContents) -> None:
    page.heading("Defects")
    for number, defect in enumerate(contents.defects, 1):
        entry = defect.entry
        page.text_line(f"{number}. {entry.point}: {entry.what} (at {defect.stop})", style="B")
        page.text_line(f"{defect.class_name}. {defect.class_meaning}", indent=5)
        page.text_line(defect.class_source and f"Source: {defect.class_source}", indent=5)
        page.text_line(_said(entry.said), indent=5)
        for line in entry.history:
            page.text_line(line, indent=5)
    if not contents.defects:
        page.text_line("No defect stands.")
    page.heading("In doubt")
    for number, doubt in enumerate(contents.doubts, 1):
        page.text_line(f"{number}. {doubt.points}", style="B")
        for asked in doubt.questions:
            page.text_line(f"{asked.question} ({asked.reason})", indent=5)
            for candidate in asked.candidates:
                page.text_line(f"{candidate.said} ({candidate.chance})", indent=10)
        page.text_line(_said(doubt.said), indent=5)
    if not contents.doubts:
        page.text_line("No doubt is open.")


def _readings(page: Document, contents: ReportContents) -> None:
    page.heading("Readings")
    rows = [
        (
            f"{r.point}: {r.name}",
            f"{r.value or 'not given'}{f' ({r.si})' if r.si else ''}",
            r.judgement.upper() if r.outside else r.judgement,
            r.limit,
            f"{r.source} ({r.basis})" if r.source else r.basis,
        )
        for r in contents.readings
    ]
    page.rows(("Reading", "Value", "Judgement", "Limit", "Source"), rows, (26, 18, 16, 16, 24))
    if not rows:
        page.text_line("None.")


def _points(page: Document, contents: ReportContents) -> None:
    for stop in contents.stops:
        page.heading(stop.name)
        rows = [
            (
                str(point.number),
                point.name,
                point.words,
                "; ".join(_entry(e) for e in point.entries) or "nothing was said",
            )
            for point in stop.points
        ]
        page.rows(("No.", "Point", "State", "What was said"), rows, (7, 24, 22, 47))


def _changes(page: Document, title: str, changes: Sequence[ChangePart]) -> None:
    page.heading(title)
    rows = [
        (f"{change.kind} {change.at} by {change.by}", change.before, change.after, change.why)
        for change in changes
    ]
    page.rows(("What", "Before", "After", "Why"), rows, (22, 28, 28, 22))
    if not rows:
        page.text_line("None.")


def _entry(entry: EntryPart) -> str:
    return f"{entry.what} ({entry.words}; {_said(entry.said)})"


def _said(said: Said) -> str:
    words = f'"{said.words}"' if said.words else "no phrase of the sheet"
    sound = f", sound {said.clip[:_SHOWN]}" if said.clip else ", no sound"
    return f"{said.how} {said.at}: {words}{sound}"
