"""What a report says of a walk."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from voicelog.errors import RecordError
from voicelog.reports.contents import report_contents
from voicelog.reports.entries import full_time
from voicelog.reports.parts import PointPart, ReportContents
from voicelog.sheet.model import Sheet
from voicelog.walk.events import Claim, Event, WalkFinished
from voicelog.walk.state import WalkState

from .making import HEAD, WALK, Making, contents_of, signed, started, state_of, walk


def _point(contents: ReportContents, name: str) -> PointPart:
    return next(point for stop in contents.stops for point in stop.points if point.name == name)


def test_defects_worst_first(sheet: Sheet) -> None:
    """The worst class first, values outside their limit beside it, each with meaning and source."""
    defects = contents_of(sheet, walk(sheet)).defects
    assert [(d.entry.point, d.class_name) for d in defects][:2] == [
        ("left lift cylinder", "class three leak"),
        ("left slack adjuster", "outside its limit"),
    ]
    assert (defects[-1].entry.point, defects[-1].class_name) == ("left brake hose", "repair")
    assert defects[0].class_meaning == "Drops form and fall."
    assert defects[0].class_source == "invented for this test"


def test_a_doubt_is_never_shown_as_sound(sheet: Sheet) -> None:
    """A point in doubt between two sound words is in doubt, missing, and not among the sound."""
    contents = contents_of(sheet, walk(sheet))
    coolant = _point(contents, "coolant")
    assert coolant.state == "doubt"
    assert [entry.what for entry in coolant.entries] == ["good or dry?"]
    assert contents.missing == ("coolant (engine front): in doubt",)
    assert not contents.complete
    assert [doubt.points for doubt in contents.doubts] == ["coolant"]


def test_a_reading_in_doubt_has_no_value(sheet: Sheet) -> None:
    """A value that may be another one is not in the table of readings."""
    make = Making(sheet)
    one, other = make.reading("fan_belt", "1/2"), make.reading("fan_belt", "1")
    doubt = make.doubt("One half or one inch?", ("one half", one, 0.6), ("one inch", other, 0.4))
    contents = contents_of(sheet, [started(sheet), make.entry("fan belt", one, doubts=(doubt,))])
    (reading,) = (r for r in contents.readings if r.point == "fan belt")
    assert (reading.value, reading.judgement, reading.bar) == ("", "in doubt", None)


def test_doubt_about_the_point_shows_at_each_point_it_may_mean(sheet: Sheet) -> None:
    """An entry that may be about either of two points leaves both in doubt."""
    make = Making(sheet)
    hose = make.condition("brake_hose_left", "intact")
    adjuster = make.condition("slack_adjuster_left", "intact")
    doubt = make.doubt("Hose or adjuster?", ("brake hose", hose, 0.5), ("slack adjuster", adjuster, 0.5))
    contents = contents_of(sheet, [started(sheet), make.entry("intact", hose, doubts=(doubt,))])
    assert _point(contents, "left brake hose").state == "doubt"
    assert _point(contents, "left slack adjuster").state == "doubt"
    assert contents.doubts[0].points == "left brake hose or left slack adjuster"


def test_points_in_walking_order_open_ones_included(sheet: Sheet) -> None:
    """Every point of the sheet is there, in its order, and those not spoken of say so."""
    contents = contents_of(sheet, [started(sheet)])
    names = [point.name for stop in contents.stops for point in stop.points]
    assert names == [point.full_name for point in sheet.points.values()]
    words = {point.words for stop in contents.stops for point in stop.points}
    assert words == {"not inspected", "not inspected (not required)"}


def test_sound_word_without_its_reading_is_not_complete(sheet: Sheet) -> None:
    """A point whose required reading is missing is not called sound."""
    make = Making(sheet)
    entry = make.entry("fan belt intact", make.condition("fan_belt", "intact"))
    contents = contents_of(sheet, [started(sheet), entry])
    belt = _point(contents, "fan belt")
    assert (belt.state, belt.words) == ("open", "not complete: deflection not given")


# Fractions as the trade writes them, decimals without loss: common practice, no published source.
@pytest.mark.parametrize(
    ("point_id", "value", "shown", "judgement"),
    [
        ("fan_belt", "1/2", "1/2 in", "within the limit"),
        ("fan_belt", "3/4", "3/4 in", "within the limit"),
        ("fan_belt", "7/8", "7/8 in", "above the limit"),
        ("fan_belt", "3/2", "1 1/2 in", "above the limit"),
        ("slack_adjuster_left", "9/8", "1 1/8 in", "above the limit"),
        ("battery", "12.60", "12.6 V", "within the limit"),
        ("battery", "12.40", "12.4 V", "within the limit"),
        ("battery", "12.39", "12.39 V", "below the limit"),
        ("battery", "13", "13 V", "within the limit"),
        ("air_tank", "59", "59 psi", "below the limit"),
    ],
)
def test_values_exact(sheet: Sheet, point_id: str, value: str, shown: str, judgement: str) -> None:
    """A value is shown exactly, with the judgement that was made of it."""
    make = Making(sheet)
    contents = contents_of(sheet, [started(sheet), make.entry("said", make.reading(point_id, value))])
    (reading,) = (r for r in contents.readings if r.value)
    assert (reading.value, reading.judgement) == (shown, judgement)
    assert reading.outside == (judgement != "within the limit")


def test_bar_places(sheet: Sheet) -> None:
    """110 psi on 0 to 200 psi stands at 0.55, and the limit of 60 psi at 0.3."""
    contents = contents_of(sheet, walk(sheet))
    (bar,) = (r.bar for r in contents.readings if r.point == "air tank")
    assert bar is not None
    assert (bar.value_at, bar.minimum_at, bar.maximum_at) == (0.55, 0.3, None)


def test_the_original_stays_readable(sheet: Sheet) -> None:
    """Corrections, replacements and withdrawals say what stood before, who changed it and why."""
    changes = contents_of(sheet, walk(sheet)).changes
    assert [(c.kind, c.by, c.why) for c in changes] == [
        ("replaced", "R. Alder", "the operator said it again, as a correction"),
        ("withdrawn", "R. Alder", "disregard"),
        ("corrected", "M. Ruiz", "meter shows 12.06 on the photograph"),
    ]
    assert [c.before for c in changes] == [
        "left brake hose: intact (sound)",
        "fan shroud: chafed (defect, repair)",
        "front battery: voltage 12.6 V (sound, within the limit)",
    ]
    assert [c.original.words for c in changes][2] == "front battery voltage twelve point six zero volts"


def test_doubts_settled_say_how(sheet: Sheet) -> None:
    """A settled doubt keeps its question, the likeliest guess of then, the answer and its sound."""
    (settled,) = contents_of(sheet, walk(sheet)).settled
    assert settled.questions == ("Weeping or dripping?",)
    assert settled.before.startswith("in doubt, likeliest left lift cylinder: weeping")
    assert settled.after == "left lift cylinder: dripping (defect, class three leak)"
    assert settled.answer is not None and settled.answer.words == "dripping"


def test_every_entry_is_at_its_point(sheet: Sheet) -> None:
    """What was withdrawn or replaced stays in sight where it was said."""
    contents = contents_of(sheet, walk(sheet))
    shroud = _point(contents, "fan shroud")
    assert [(e.what, e.status) for e in shroud.entries] == [("chafed", "withdrawn")]
    hose = _point(contents, "left brake hose")
    assert [(e.what, e.status) for e in hose.entries] == [("intact", "replaced"), ("chafed", "standing")]


def test_signatures(sheet: Sheet) -> None:
    """A signature says who, as what, meaning what, deciding what, when and why."""
    events = [*walk(sheet), signed(HEAD)]
    (signature,) = contents_of(sheet, events).signatures
    assert (signature.name, signature.role, signature.meaning) == ("M. Ruiz", "officer", "confirmed by")
    assert (signature.decision, signature.reason) == ("out of service", "lift cylinder drips")
    assert (signature.date, signature.zone) == ("2026-11-25", "UTC-05:00")
    assert contents_of(sheet, events).unsigned == ""


def test_events_after_the_last_signature_are_told(sheet: Sheet) -> None:
    """What was recorded after the last signature is not taken as signed."""
    make = Making(sheet)
    late = make.entry("coolant dry", make.condition("coolant", "dry"))
    contents = contents_of(sheet, [*walk(sheet), signed(HEAD), late.model_copy(update={"entry_id": "e99"})])
    assert contents.unsigned == "1 event was recorded after the last signature; no signature covers them."


def test_complete_only_when_finished_and_nothing_is_missing(sheet: Sheet) -> None:
    """All points said is not complete until the walk is ended."""
    make = Making(sheet)
    claims: list[Claim] = []
    for point in sheet.points.values():
        claims.append(make.condition(point.id, "good"))
        values = {"inch": "1/2", "psi": "110", "volt": "12.6"}
        claims += [make.reading(point.id, values[reading.unit]) for reading in point.readings]
    events: list[Event] = [started(sheet), *(make.entry("said", claim) for claim in claims)]
    unfinished = contents_of(sheet, events)
    assert not unfinished.complete and unfinished.completeness.startswith("Not finished: 7 of 7")
    finished = contents_of(sheet, [*events, WalkFinished(missing=())])
    assert finished.complete and finished.completeness == "Complete: 7 of 7 required points are covered."
    assert finished.since_the_end == ()
    # What was missing at the end is named once, by what has changed since.
    settled = contents_of(sheet, [*events, WalkFinished(missing=("coolant",))])
    assert settled.since_the_end == ("Missing when the inspection was ended, covered since: coolant.",)
    cut = [event for event in events if getattr(event, "claim", claims[-1]).point_id != "coolant"]
    reopened = contents_of(sheet, [*cut, WalkFinished(missing=())])
    assert reopened.since_the_end == ("Covered when the inspection was ended, open again since: coolant.",)


def test_another_edition_of_the_sheet_is_told(sheet: Sheet) -> None:
    """A report made with another sheet or lexicon than the walk says so, and gives no edition."""
    contents = contents_of(sheet, [started(sheet, sheet_sha256="0" * 64, lexicon_sha256="1" * 64)])
    assert [warning.split()[1] for warning in contents.warnings] == ["sheet", "lexicon"]
    (fact,) = (fact.value for fact in contents.facts if fact.name == "Sheet")
    assert fact == "Engine bay, short (SHA-256 000000000000)"


def test_integrity_in_words(sheet: Sheet) -> None:
    """What the proof of wholeness finds is in the report, and never called whole."""
    state = state_of(sheet, walk(sheet))
    whole = report_contents(state, walk_id=WALK, problems=(), head=HEAD).integrity
    assert (whole.whole, whole.events, whole.head) == (True, len(walk(sheet)), HEAD)
    broken = report_contents(
        state, walk_id=WALK, problems=("Event 3 was altered.",), head=HEAD, clock_set_back=True
    ).integrity
    assert not broken.whole
    assert broken.verdict == f"The record is NOT whole: 1 problem found in {len(walk(sheet))} events."
    assert broken.problems == ("Event 3 was altered.",)
    assert len(broken.notes) == 1


def test_nothing_to_report_without_a_beginning(sheet: Sheet) -> None:
    """A walk that was never started has no report."""
    with pytest.raises(RecordError, match="no beginning"):
        report_contents(WalkState(sheet), walk_id=WALK, problems=(), head=HEAD)


@pytest.mark.parametrize(
    ("hours", "zone"), [(0.0, "UTC+00:00"), (-5.0, "UTC-05:00"), (5.75, "UTC+05:45"), (-3.5, "UTC-03:30")]
)
def test_times_carry_their_offset(hours: float, zone: str) -> None:
    """A full time names its offset, also where that is not whole hours."""
    at = datetime(2026, 11, 25, 7, 10, 4, 999, tzinfo=timezone(timedelta(hours=hours)))
    assert full_time(at) == f"2026-11-25 07:10:04 {zone}"


def test_a_time_of_another_day_is_written_in_full(sheet: Sheet) -> None:
    """An officer's change of the next day, or of another offset, is not mistaken for one of the walk."""
    state = state_of(sheet, walk(sheet))
    (entry,) = (e for e in state.entries.values() if e.entry_id == "e10")
    moved = tuple((at + timedelta(days=1), change) for at, change in entry.changes)
    entries = {**state.entries, "e10": replace(entry, changes=moved, at=entry.at.astimezone(UTC))}
    contents = report_contents(replace(state, entries=entries), walk_id=WALK, problems=(), head=HEAD)
    change = contents.changes[-1]
    assert change.at == "2026-11-26 07:12:34 UTC-05:00"
    assert change.original.at == "2026-11-25 12:12:13 UTC+00:00"
