"""What a report says of a walk, from its state alone; pure.

Invariant: every entry, doubt, change, remark and refusal of the walk is in the contents, and a
point counts as sound only where the walk's state says so. Times carry their UTC offset.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from voicelog.errors import RecordError
from voicelog.reports.cautions import caution_lines
from voicelog.reports.covered import (
    completeness,
    missing_by_stop,
    missing_point,
    numbers_of,
    point_words,
    since_the_end,
)
from voicelog.reports.entries import Wording, full_time, zone
from voicelog.reports.parts import (
    Bar,
    Count,
    Fact,
    Integrity,
    PointPart,
    ReadingPart,
    RefusedPart,
    RemarkPart,
    ReportContents,
    StopPart,
)
from voicelog.reports.plain import all_plain
from voicelog.reports.series import Series
from voicelog.reports.si import show_si
from voicelog.reports.signing import latest_decision, signatures, unsigned
from voicelog.sheet.model import Point, Reading, Sheet
from voicelog.walk.carried import carried_line
from voicelog.walk.events import WalkStarted
from voicelog.walk.remarks import Remark, remarks_in, words_of
from voicelog.walk.said_back import walked_by
from voicelog.walk.sound import sound_lines
from voicelog.walk.state import Entry, PointStatus, WalkState
from voicelog.walk.timed_wording import without_result
from voicelog.walk.wording import show_judgement, show_limit, show_quantity, show_value

__all__ = ["DISCLAIMER", "ReportContents", "report_contents"]

DISCLAIMER = (
    "voicelog records what was said and compares readings with the limits written on the sheet. It "
    "does not declare a vehicle safe. The maker's manual, local rules and codes, and the judgement "
    "of people licensed or appointed to give it come first."
)
_SHORT = 12
"""Hex digits that a hash is shortened to."""


def report_contents(
    state: WalkState,
    *,
    walk_id: str,
    problems: tuple[str, ...],
    head: str,
    clock_set_back: bool = False,
    sound_removed: str = "",
    series: tuple[Series, ...] = (),
) -> ReportContents:
    """Return everything a report of the walk shows.

    ``problems`` are those of :meth:`Store.verify`, ``head`` is the hash of the walk's last event,
    ``series`` are its readings over this and earlier walks.
    Raises RecordError for a walk without a beginning.
    """
    started = state.started
    if started is None or state.started_at is None:
        raise RecordError(
            "There is nothing to report: this walk has no beginning.",
            where=f"walk {walk_id}",
            remedy="Check the name in the list of walks.",
        )
    wording = Wording(state)
    changes = [part for _, part in sorted(wording.changes(), key=lambda change: change[0])]
    missing = tuple(point.id for point in state.missing())
    at_end = state.finished.missing if state.finished else missing
    contents = ReportContents(
        title=f"Inspection record: {started.unit_name}",
        walk=walk_id,
        facts=_facts(state, started, walk_id),
        times=f"Times are {zone(state.started_at)} on {state.started_at:%Y-%m-%d}, unless written in full.",
        warnings=_warnings(state.sheet, started),
        decision=latest_decision(state),
        complete=state.finished is not None and not missing,
        completeness=completeness(state, len(missing)),
        missing=tuple(missing_point(state, point) for point in state.missing()),
        missing_by_stop=missing_by_stop(state),
        missing_at_end=() if set(at_end) == set(missing) else tuple(wording.point(p) for p in at_end),
        since_the_end=since_the_end(at_end, missing, wording),
        counts=_counts(state),
        signatures=signatures(state),
        unsigned=unsigned(state),
        disclaimer=DISCLAIMER,
        cautions=caution_lines(wording, ""),
        defects=tuple(wording.defect(entry) for entry in state.defects()),
        doubts=tuple(wording.doubt(entry) for entry in state.doubts()),
        settled=tuple(change for change in changes if change.questions),
        readings=_readings(state, wording),
        series=tuple(s for s in series if len(s.values) > 1),
        stops=_stops(state, wording),
        changes=tuple(change for change in changes if not change.questions),
        remarks=_remarks(state, wording),
        refused=tuple(RefusedPart(n.reason, wording.said(n.heard, at)) for at, n in state.not_understood),
        integrity=_integrity(state, problems, head, clock_set_back, sound_removed),
    )
    return all_plain(contents)


# the head --------------------------------------------------------------------------------------


def _facts(state: WalkState, started: WalkStarted, walk_id: str) -> tuple[Fact, ...]:
    sheet = state.sheet
    edition = f", edition {sheet.edition}" if sheet.sha256 == started.sheet_sha256 else ""
    begun = full_time(state.started_at) if state.started_at else ""
    ended = full_time(state.finished_at) if state.finished_at else "not finished"
    model = f", model {started.model_sha256[:_SHORT]}" if started.model_sha256 else ""
    return (
        Fact("Unit", started.unit_name),
        Fact("Station", started.station),
        Fact("Identification", started.identification),
        Fact("Sheet", f"{started.sheet_title}{edition} (SHA-256 {started.sheet_sha256[:_SHORT]})"),
        Fact("Operator", walked_by(state)),
        Fact("Started", begun),
        Fact("Finished", ended),
        Fact("Recogniser", f"{started.recogniser}{model}; voicelog {started.version}"),
        Fact("Walk", walk_id),
        *(Fact("From before", told) for told in _from_before(state)),
    )


def _from_before(state: WalkState) -> Iterator[str]:
    """Yield each defect that was carried into the walk, with who acknowledged it and when."""
    for defect in state.carried:
        acks = [(at, e) for at, e in state.acknowledged if e.defect_id == defect.defect_id]
        told = "; ".join(f"{e.by}, {full_time(at)}" for at, e in acks)
        yield f"{carried_line(defect)}; " + (f"acknowledged by {told}" if told else "not acknowledged")


def _warnings(sheet: Sheet, started: WalkStarted) -> tuple[str, ...]:
    found = []
    if sheet.sha256 != started.sheet_sha256:
        found.append(
            "The sheet has changed since this inspection. Names, limits and sources are shown as the "
            "sheet gives them now; judgements are those made at the time."
        )
    if sheet.lexicon.sha256 != started.lexicon_sha256:
        found.append(
            "The lexicon has changed since this inspection. Condition words and what the classes mean "
            "are shown as it gives them now."
        )
    return tuple(found)


def _counts(state: WalkState) -> tuple[Count, ...]:
    of_points = [state.status(point_id) for point_id in state.sheet.points]

    by_group = sum(state.by_group_mark(point_id) for point_id in state.sheet.points)
    marked = f", {by_group} of them by group mark" if by_group else ""

    def count(status: PointStatus, words: str) -> Count:
        number = of_points.count(status)
        return Count(status, f"{'point' if number == 1 else 'points'} {words}", number)

    return (
        count("defect", "with a defect"),
        count("doubt", "in doubt"),
        count("open", "not inspected or not complete"),
        count("sound", f"sound{marked}"),
    )


# readings --------------------------------------------------------------------------------------


def _readings(state: WalkState, wording: Wording) -> tuple[ReadingPart, ...]:
    """Return every reading that stands and every required one that was not given, in walking order."""
    parts = []
    for point in state.sheet.points.values():
        entries = [e for e in state.standing() if e.claim.point_id == point.id]
        for reading in point.measured:
            given = [e for e in entries if e.claim.reading_id == reading.id]
            parts += [_reading(state, wording, point, reading, entry) for entry in given]
            if not given and reading.required:
                parts.append(_reading(state, wording, point, reading, None))
    return tuple(parts)


def _reading(
    state: WalkState, wording: Wording, point: Point, reading: Reading, entry: Entry | None
) -> ReadingPart:
    limit, lexicon = reading.limit, state.sheet.lexicon
    in_doubt = any(
        (c.claim.point_id, c.claim.reading_id) == (point.id, reading.id)
        for e in state.doubts()
        for doubt in e.logged.doubts
        for c in doubt.candidates
    )
    value = entry.claim.value if entry else None
    bounds = [b for b in (limit.minimum, limit.maximum) if b is not None] if limit else []
    unit = (entry.claim.unit if entry else None) or reading.unit
    return ReadingPart(
        point=point.full_name,
        stop=state.sheet.stop(point.stop_id).name,
        name=reading.name,
        value=show_value(entry.claim, state.sheet) if entry else "",
        si=show_si(value, unit, bounds) if value is not None else "",
        limit=show_limit(reading, lexicon),
        source=_source_of(point, reading) if limit else "",
        basis=limit.basis if limit else "",
        judgement=show_judgement(entry.claim) if entry else "in doubt" if in_doubt else "not given",
        outside=entry is not None and entry.claim.judgement in ("below", "above"),
        said=wording.said(entry.logged.heard, entry.at) if entry else None,
        bar=_bar(state, reading, value) if value is not None else None,
    )


def _source_of(point: Point, reading: Reading) -> str:
    """Return where a reading's limit comes from, and the curve that it was computed by, if any."""
    limit = reading.limit.source if reading.limit else ""
    curves = (c.basis for c in point.computed if c.reading.id == reading.id and c.basis)
    return "; ".join((limit, *(f"computed by: {basis}" for basis in curves)))


def _bar(state: WalkState, reading: Reading, value: Fraction) -> Bar:
    span = reading.high - reading.low

    def place(quantity: Fraction | None) -> float | None:
        if quantity is None or not span:
            return None
        return float(min(max((quantity - reading.low) / span, Fraction(0)), Fraction(1)))

    return Bar(
        low=show_quantity(reading.low, reading, state.sheet.lexicon),
        high=show_quantity(reading.high, reading, state.sheet.lexicon),
        value_at=place(value) or 0.0,
        minimum_at=place(reading.limit.minimum) if reading.limit else None,
        maximum_at=place(reading.limit.maximum) if reading.limit else None,
    )


# points ----------------------------------------------------------------------------------------


def _stops(state: WalkState, wording: Wording) -> tuple[StopPart, ...]:
    numbers = numbers_of(state.sheet)
    return tuple(
        StopPart(
            stop.name,
            caution_lines(wording, stop.id),
            tuple(_point(state, wording, point, numbers[point.id]) for point in stop.points),
            stop.side,
        )
        for stop in state.sheet.stops
    )


def _point(state: WalkState, wording: Wording, point: Point, number: int) -> PointPart:
    meant = {e.entry_id for e in state.of_point(point.id)}
    # Entries that no longer count are kept in sight where they were made.
    past = {
        e.entry_id
        for e in state.entries.values()
        if e.status in ("replaced", "withdrawn") and e.claim.point_id == point.id
    }
    return PointPart(
        name=point.full_name,
        state=state.status(point.id),
        words="; ".join((point_words(state, point), *without_result(state, point.id))),
        entries=tuple(wording.entry(e) for e in state.entries.values() if e.entry_id in meant | past),
        number=number,
        by_group=state.by_group_mark(point.id),
    )


# the rest --------------------------------------------------------------------------------------


def _remarks(state: WalkState, wording: Wording) -> tuple[RemarkPart, ...]:
    return tuple(
        RemarkPart(
            about=wording.point(remark.point_id) if remark.point_id else "the unit as a whole",
            label=_source(remark),
            said=tuple(replace(wording.said(p.heard, at), words=words_of(p)) for at, p in remark.parts),
        )
        for remark in remarks_in(state.remarks)
    )


def _source(remark: Remark) -> str:
    if not remark.transcribed:
        return "Not transcribed in full yet; the sound is the original"
    return "Machine transcript; the sound is the original" if remark.clips else "As typed"


def _integrity(
    state: WalkState, problems: tuple[str, ...], head: str, clock_set_back: bool, sound_removed: str
) -> Integrity:
    events = "1 event" if state.events == 1 else f"{state.events} events"
    if problems:
        count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
        verdict = f"The record is NOT whole: {count} found in {events}."
    else:
        verdict = (
            f"The record is whole: {events}{'' if sound_removed else ' and their sound'} match their hashes."
        )
    note = "The clock was set back during this walk: go by the order of the events, not by their times."
    return Integrity(
        events=state.events,
        head=head,
        whole=not problems,
        verdict=verdict,
        problems=problems,
        notes=(
            *((note,) if clock_set_back else ()),
            *((sound_removed,) if sound_removed else ()),
            *sound_lines(state),
        ),
    )
