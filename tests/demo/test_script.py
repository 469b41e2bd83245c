"""The shipped script: whole, sayable, and what the walk makes of it when nothing is misheard."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from tests.benchmarks.voices import VOICES
from tests.demo.making import ROOT, script_of, walked_without_mishearing, write_script
from voicelog.demo import Line, Script, closing_table, load_script, read_outcome, score
from voicelog.errors import VoicelogError
from voicelog.sheet.model import Sheet
from voicelog.walk.events import Event
from voicelog.walk.state import WalkState

Walked = tuple[list[tuple[datetime, Event]], WalkState, list[tuple[Line, bool]]]


@pytest.fixture(scope="module")
def script() -> Script:
    return load_script(ROOT / "samples" / "engine_61_walk.toml")


@pytest.fixture(scope="module")
def walked(script: Script) -> Walked:
    return walked_without_mishearing(script)


def test_the_walk_is_complete(walked: Walked) -> None:
    """Heard as spoken, the script covers every required point and reading and leaves no doubt."""
    _, state, _ = walked
    assert state.finished is not None and state.finished.missing == ()
    assert state.doubts() == ()
    assert state.defects()


def test_every_line_is_right_when_heard_as_spoken(script: Script, walked: Walked) -> None:
    """The expectations are what interpretation and decision make of the very words."""
    events, _, _ = walked
    result = score(script, events)
    assert closing_table(result).count("\n") == 5, closing_table(result)
    assert result.not_right == () and result.strays == () and result.defects_passed == 0


def test_every_line_can_or_cannot_be_said_where_it_is_spoken(walked: Walked) -> None:
    """What is meant for us is a phrase there, and nothing else is; dictation is none."""
    for line, can_be_said in walked[2]:
        dictated = any(outcome.kind == "remark" for outcome in line.expected)
        assert can_be_said == (line.for_us and not dictated), line.say


def test_what_the_walk_shows(script: Script) -> None:
    """The script has each kind of thing that a walk can hold."""
    sheet = script.sheet
    claims = [outcome for line in script.lines for outcome in line.expected if outcome.kind == "claim"]
    conditions = {o.text.partition(": ")[2] for o in claims if " " not in o.text.partition(": ")[0]}
    classes = {sheet.lexicon.conditions[c].class_id for c in conditions}
    assert {"leak_1", "leak_2", "leak_3", "watch", "repair", "hold"} <= classes
    readings = {o.polarity for o in claims if " " in o.text.partition(": ")[0]}
    assert readings == {"sound", "defect"}
    kinds = {outcome.kind for line in script.lines for outcome in line.expected}
    assert kinds == {
        "claim",
        "question",
        "command",
        "stop",
        "affirmed",
        "closed",
        "named",
        "remark",
        "withdrawn",
        "finished",
    }
    assert max(len(line.expected) for line in script.lines) >= 3
    assert sum(not line.for_us for line in script.lines) >= 8
    stops = [o.text.removeprefix("stop: ") for n in script.lines for o in n.expected if o.kind == "stop"]
    assert stops == [stop.id for stop in sheet.stops[1:]]


def test_voices_exist(script: Script) -> None:
    """Every voice is one that the generator can call, and there are several."""
    voices = {line.voice for line in script.lines}
    assert voices <= set(VOICES) and len(voices) >= 5


@pytest.mark.parametrize(
    ("text", "written", "polarity"),
    [
        ("fan_belt: cracked", "fan_belt: cracked", "defect"),
        ("fan_belt: intact", "fan_belt: intact", "sound"),
        ("fan_belt deflection: 3/4", "fan_belt deflection: 3/4", "sound"),
        ("fan_belt deflection: 0.75", "fan_belt deflection: 3/4", "sound"),
        ("fan_belt deflection: 1 1/8", "fan_belt deflection: 9/8", "defect"),
        ("front_battery voltage: 12.45", "front_battery voltage: 249/20", "sound"),
        ("front_battery voltage: 12.4", "front_battery voltage: 62/5", "defect"),
        ("question", "question", None),
        ("stop: left_front", "stop: left_front", None),
        ("named: fan_belt", "named: fan_belt", None),
        ("command: stand by", "command: stand by", None),
    ],
)
def test_outcomes(engine_bay: Sheet, text: str, written: str, polarity: str | None) -> None:
    """An outcome has one text whichever way its value is written, and a value at its limit is sound."""
    outcome = read_outcome(text, engine_bay)
    assert (outcome.text, outcome.polarity) == (written, polarity)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("fan_belt", "is not an outcome"),
        ("fan_belts: cracked", "not a point"),
        ("fan_belt: crackled", "not a condition"),
        ("fan_belt slack: 1", "no reading"),
        ("fan_belt deflection: wide", "not a value"),
        ("fan_belt deflection: 1/0", "not a value"),
        ("stop: nowhere", "not a stop"),
        ("named: nobody", "not a point"),
    ],
)
def test_a_wrong_expectation_is_named_with_its_line(tmp_path: Path, text: str, says: str) -> None:
    """A script that expects what cannot be is refused, with the line and the reason."""
    with pytest.raises(VoicelogError, match=says) as caught:
        script_of(tmp_path, ("Fan belt cracked.", ("fan_belt: cracked",), 1, 2), ("Oh.", (text,), 3, 4))
    assert "Line 2" in caught.value.what and caught.value.remedy


def test_times_of_other_words_are_refused(tmp_path: Path) -> None:
    """Times made before the script was changed are not used."""
    path = write_script(tmp_path, [("Next stop.", ("stop: left_front",), 1, 2)])
    path.write_text(path.read_text(encoding="utf-8").replace("Next", "Last"), encoding="utf-8")
    with pytest.raises(VoicelogError, match="words differ"):
        load_script(path)
    assert load_script(path, with_times=False).lines[0].end_s == 0


@pytest.mark.parametrize(
    ("head", "says"),
    [({"sheet": "no.toml"}, "no.toml"), ({"colour": "red"}, "colour"), ({"times": "none.json"}, "none.json")],
)
def test_a_broken_script_says_what_and_where(tmp_path: Path, head: dict[str, object], says: str) -> None:
    """A missing file or an unknown key is named."""
    path = write_script(tmp_path, [("Next stop.", ("stop: left_front",), 1, 2)], **head)
    with pytest.raises(VoicelogError) as caught:
        load_script(path)
    assert says in str(caught.value)


def test_a_correction_replaces_and_a_question_delays_it(tmp_path: Path) -> None:
    """What stands at the end follows corrections, questions and withdrawals."""
    script = script_of(
        tmp_path,
        ("Fan belt cracked.", ("fan_belt: cracked",), 1, 2),
        ("Correction, intact.", ("question",), 3, 4),
        ("Intact.", ("fan_belt: intact",), 5, 6),
        ("Radiator blocked.", ("radiator: blocked",), 7, 8),
        ("Correction, has a leak.", ("radiator: leaking",), 9, 10),
        ("Water pump dry.", ("water_pump: dry",), 11, 12),
        ("Disregard.", ("withdrawn",), 13, 14),
    )
    assert [claim.text for _, claim in script.claims_that_stand()] == [
        "fan_belt: intact",
        "radiator: leaking",
    ]
