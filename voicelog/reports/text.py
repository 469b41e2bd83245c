"""A report as plain text, 78 columns wide, for a terminal, a printer or a mail.

Same contents, same order as the HTML form. What marks a state is a word, never a colour.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from voicelog.reports.drawn_walk import NAMES, Mark, mark_of
from voicelog.reports.parts import (
    ChangePart,
    EntryPart,
    PointPart,
    ReadingPart,
    ReportContents,
    Said,
    SignaturePart,
)

WIDTH = 78
_SIGNS: dict[Mark, str] = {"defect": "!", "doubt": "?", "open": "o", "group": "g", "sound": "x"}
_MARKS = {"defect": "[!]", "doubt": "[?]", "open": "[ ]", "sound": "[x]"}


def text_report(contents: ReportContents) -> str:
    """Return the report as text, lines of at most 78 columns, ended by a line feed."""
    lines = [
        *_head(contents),
        *_section("The walk, drawn", _drawn(contents)),
        *_section("Defects", _defects(contents)),
        *_section("Open doubts", _doubts(contents)),
        *_section("Doubts settled", _changes(contents.settled, "No doubt was settled.")),
        *_section("Readings against limits", _readings(contents)),
        *_section("Readings over time", _series(contents)),
        *_section("Every point, in walking order", _points(contents)),
        *_section("Corrections and withdrawals", _changes(contents.changes, "Nothing was changed.")),
        *_section("Remarks", _remarks(contents)),
        *_section("Not understood", _refused(contents)),
        *_section("Record integrity", _integrity(contents)),
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


# lines -----------------------------------------------------------------------------------------


def _wrap(text: str, indent: int = 0, hang: int = 0) -> list[str]:
    """Return ``text`` in lines, ``indent`` columns in, later lines ``hang`` columns further."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hang),
        break_on_hyphens=False,
    )


def _items(texts: tuple[str, ...], indent: int = 2) -> Iterator[str]:
    for text in texts:
        yield from _wrap(f"- {text}", indent, 2)


def _section(title: str, body: Iterator[str]) -> Iterator[str]:
    yield from ("", title.upper(), "-" * len(title))
    yield from body


def _said(said: Said, indent: int) -> list[str]:
    words = f'"{said.words}"' if said.words else "no phrase of the sheet"
    lines = _wrap(f"{said.how.capitalize()} {said.at}: {words}", indent, 2)
    if said.freely:
        lines += _wrap(f'Without the sheet\'s phrases: "{said.freely}"', indent, 2)
    sound = f"Sound {said.clip[:12]}, {said.seconds:.1f} s" if said.clip else "No sound"
    return lines + _wrap(sound, indent)


# sections --------------------------------------------------------------------------------------


def _head(contents: ReportContents) -> Iterator[str]:
    yield from _wrap(contents.title.upper())
    yield "=" * min(len(contents.title), WIDTH)
    yield ""
    for fact in contents.facts:
        yield from _wrap(f"{fact.name + ':':<16}{fact.value}", 0, 16)
    yield from _wrap(contents.times)
    for warning in contents.warnings:
        yield from ("", *_wrap(f"Warning: {warning}"))
    decision = contents.decision
    yield from _section("Decision", iter(_wrap(f"{decision.words.upper()}: {decision.told}")))
    yield from _section("Completeness", _completeness(contents))
    yield from _section("Signatures", _signatures(contents))
    yield from _section("What this record is", iter(_wrap(contents.disclaimer)))
    yield from _section("Cautions", _items(contents.cautions) if contents.cautions else iter(("None.",)))


def _completeness(contents: ReportContents) -> Iterator[str]:
    yield from _wrap(contents.completeness)
    yield from _items(tuple(f"{m.stop}: {'; '.join(m.points)}" for m in contents.missing_by_stop))
    for since in contents.since_the_end:
        yield from _wrap(since)
    for count in contents.counts:
        yield f"{count.number:>5}  {_MARKS[count.state]} {count.name}"


def _signatures(contents: ReportContents) -> Iterator[str]:
    if not contents.signatures:
        yield "Not signed."
    for signed in contents.signatures:
        yield from _signature(signed)
    yield from _wrap(contents.unsigned)


def _signature(signed: SignaturePart) -> Iterator[str]:
    yield from _wrap(f"{signed.meaning.capitalize()} {signed.name}, {signed.role}", 0, 2)
    yield from _wrap(f"Decision: {signed.decision}", 2, 2)
    yield from _wrap(f"Date: {signed.date}, time: {signed.time}, zone: {signed.zone}", 2, 2)
    yield from _wrap(f"Reason: {signed.reason}", 2, 2)
    for what in signed.overridden:
        yield from _wrap(f"AGAINST THE LOCAL POLICY: {what}", 2, 2)
    if signed.overridden:
        yield from _wrap(f"Reason for overriding the policy: {signed.override_reason}", 2, 2)
    yield from _wrap(f"{signed.key.capitalize()}", 2, 2)
    yield from _wrap(f"Signed for everything up to event hash {signed.over}", 2, 2)


def _defects(contents: ReportContents) -> Iterator[str]:
    if not contents.defects:
        yield "No defect stands."
    for number, defect in enumerate(contents.defects, start=1):
        entry = defect.entry
        yield from _wrap(f"{number}. {entry.point}: {entry.what} (at {defect.stop})", 0, 3)
        yield from _wrap(f"Class: {defect.class_name}. {defect.class_meaning}", 3, 2)
        if defect.class_source:
            yield from _wrap(f"Source: {defect.class_source}", 3, 2)
        yield from _entry_tail(entry, 3)


def _doubts(contents: ReportContents) -> Iterator[str]:
    if not contents.doubts:
        yield "No doubt is open."
    for number, doubt in enumerate(contents.doubts, start=1):
        yield from _wrap(f"{number}. {doubt.points}", 0, 3)
        for asked in doubt.questions:
            yield from _wrap(f"Question: {asked.question}", 3, 2)
            yield from _wrap(f"Why: {asked.reason}", 3, 2)
            yield from _items(tuple(f"{c.said} ({c.chance})" for c in asked.candidates), 3)
        yield from _said(doubt.said, 3)


def _changes(changes: tuple[ChangePart, ...], none: str) -> Iterator[str]:
    if not changes:
        yield none
    for number, change in enumerate(changes, start=1):
        yield from _wrap(f"{number}. {change.kind.capitalize()} {change.at} by {change.by}", 0, 3)
        for question in change.questions:
            yield from _wrap(f"Question: {question}", 3, 2)
        yield from _wrap(f"Before: {change.before}", 3, 2)
        yield from _said(change.original, 5)
        yield from _wrap(f"After: {change.after}", 3, 2)
        yield from _said(change.answer, 5) if change.answer else ("     On the screen",)
        yield from _wrap(f"Why: {change.why}", 3, 2)


def _readings(contents: ReportContents) -> Iterator[str]:
    if not contents.readings:
        yield "The sheet asks for no reading, and none was given."
    for reading in contents.readings:
        yield from _reading(reading)


def _reading(reading: ReadingPart) -> Iterator[str]:
    mark = "[!]" if reading.outside else "   " if reading.value else "[ ]"
    yield from _wrap(f"{mark} {reading.point}, {reading.name} (at {reading.stop})", 0, 4)
    if reading.value:
        si = f" ({reading.si})" if reading.si and reading.si != reading.value else ""
        yield from _wrap(f"{reading.value}{si}: {reading.judgement}", 4, 2)
    else:
        yield f"    {reading.judgement}"
    source = f". Source ({reading.basis}): {reading.source}" if reading.source else ""
    yield from _wrap(f"Limit: {reading.limit}{source}", 4, 2)
    if reading.said:
        yield from _said(reading.said, 4)


def _drawn(contents: ReportContents) -> Iterator[str]:
    yield from _wrap("; ".join(f"{sign} {NAMES[mark]}" for mark, sign in _SIGNS.items()))
    for place, stop in enumerate(contents.stops, start=1):
        marks = " ".join(f"{point.number}{_SIGNS[mark_of(point)]}" for point in stop.points)
        yield from _wrap(f"{place} {stop.name}: {marks}", 0, 4)


def _series(contents: ReportContents) -> Iterator[str]:
    if not contents.series:
        yield "No reading was taken more than once."
    for series in contents.series:
        yield from _wrap(series.title, 0, 2)
        yield from _wrap(f"{series.words} {series.use_words}", 4)


def _points(contents: ReportContents) -> Iterator[str]:
    for place, stop in enumerate(contents.stops, start=1):
        if place > 1:
            yield ""
        yield from _wrap(f"Stop {place}: {stop.name}")
        yield from _items(tuple(f"Caution: {caution}" for caution in stop.cautions))
        for point in stop.points:
            yield from _point(point)


def _point(point: PointPart) -> Iterator[str]:
    yield from _wrap(f"{_MARKS[point.state]} {point.name}: {point.words}", 2, 4)
    for entry in point.entries:
        yield from _wrap(f"- {entry.point}: {entry.what} ({entry.words})", 6, 2)
        yield from _entry_tail(entry, 8)


def _entry_tail(entry: EntryPart, indent: int) -> Iterator[str]:
    yield from _said(entry.said, indent)
    for line in entry.history:
        yield from _wrap(line, indent, 2)


def _remarks(contents: ReportContents) -> Iterator[str]:
    if not contents.remarks:
        yield "No remark was made."
    for number, remark in enumerate(contents.remarks, start=1):
        yield from _wrap(f"{number}. About {remark.about}. {remark.label}:", 0, 3)
        for said in remark.said:
            yield from _said(said, 3)


def _refused(contents: ReportContents) -> Iterator[str]:
    if not contents.refused:
        yield "Nothing heard was refused."
    for number, refused in enumerate(contents.refused, start=1):
        yield from _wrap(f"{number}. {refused.reason}", 0, 3)
        yield from _said(refused.said, 3)


def _integrity(contents: ReportContents) -> Iterator[str]:
    integrity = contents.integrity
    yield from _wrap(integrity.verdict)
    yield from _items(integrity.problems)
    for note in integrity.notes:
        yield from _wrap(note)
    yield f"Events: {integrity.events}"
    yield from _wrap("Hash of the last event (SHA-256):")
    yield from _wrap(integrity.head)
