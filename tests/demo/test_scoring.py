"""Scoring by hand-made events: each verdict, the number that must be 0, merged and split lines."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from tests.demo.making import condition, entry, heard, script_of, timed
from voicelog.demo import Score, closing_table, score
from voicelog.meaning.claims import make_claim
from voicelog.meaning.facts import Candidate, Claim, Doubt
from voicelog.sheet.model import Sheet
from voicelog.walk.events import (
    CommandHeard,
    DoubtSettled,
    EntryLogged,
    EntryWithdrawn,
    Event,
    NotUnderstood,
    PointNamed,
    RemarkLogged,
    StopEntered,
    WalkFinished,
)

SAID = heard(0.8, 2.2, "as heard")
"""Where the one line of most tests is heard: it is spoken from second 1 to second 2."""


def doubtful(entry_id: str, claims: tuple[Claim, ...]) -> EntryLogged:
    """Return an entry that a person has yet to settle."""
    candidates = tuple(Candidate(claim=c, posterior=0.5, said="this") for c in claims)
    doubt = Doubt(slot="condition", question="which one?", reason="unclear", candidates=candidates)
    return entry(entry_id, claims[0], SAID, doubts=(doubt,))


def one(folder: Path, expect: tuple[str, ...], *events: Event) -> Score:
    """Return the score of a script of one line."""
    return score(script_of(folder, ("The line.", expect, 1.0, 2.0)), timed(*events))


Make = Callable[[Sheet], tuple[Event, ...]]


def logged(point_id: str, condition_id: str) -> Make:
    return lambda sheet: (entry("e1", condition(sheet, point_id, condition_id), SAID),)


def asked(point_id: str, *condition_ids: str) -> Make:
    return lambda sheet: (doubtful("e1", tuple(condition(sheet, point_id, c) for c in condition_ids)),)


def plainly(*events: Event) -> Make:
    return lambda sheet: events


@pytest.mark.parametrize(
    ("expect", "make", "verdict", "passed"),
    [
        (("fan_belt: cracked",), logged("fan_belt", "cracked"), "right", 0),
        (("fan_belt: cracked",), logged("fan_belt", "frayed"), "wrong", 0),
        (("fan_belt: cracked",), logged("fan_belt", "intact"), "wrong", 1),
        (("fan_belt: cracked",), logged("radiator", "dry"), "wrong", 1),
        (("fan_belt: intact",), logged("fan_belt", "cracked"), "wrong", 0),
        (("fan_belt: cracked",), asked("fan_belt", "intact", "cracked"), "asked", 0),
        (("question",), asked("fan_belt", "intact", "cracked"), "right", 0),
        (("question",), logged("fan_belt", "intact"), "wrong", 0),
        (("question",), plainly(), "refused", 0),
        (("fan_belt: cracked",), plainly(NotUnderstood(reason="noise", heard=SAID)), "refused", 0),
        (("fan_belt: cracked",), plainly(), "refused", 0),
        (("nothing",), plainly(), "right: left alone", 0),
        (("nothing",), plainly(NotUnderstood(reason="no phrase", heard=SAID)), "right: left alone", 0),
        (("nothing",), logged("fan_belt", "intact"), "wrong", 0),
        (("nothing",), asked("fan_belt", "intact"), "asked", 0),
        (("nothing",), plainly(CommandHeard(command="stand by", heard=SAID)), "wrong", 0),
        (("nothing",), plainly(PointNamed(point_id="fan_belt", heard=SAID)), "wrong", 0),
        (("command: stand by",), plainly(CommandHeard(command="stand by", heard=SAID)), "right", 0),
        (("command: stand by",), plainly(CommandHeard(command="resume", heard=SAID)), "wrong", 0),
        (("named: fan_belt",), plainly(PointNamed(point_id="fan_belt", heard=SAID)), "right", 0),
        (("stop: left_front",), plainly(StopEntered(stop_id="left_front", heard=SAID)), "right", 0),
        (("stop: left_front",), plainly(StopEntered(stop_id="right_front", heard=SAID)), "wrong", 0),
        (("remark",), plainly(RemarkLogged(remark_id="r", point_id=None, heard=SAID)), "right", 0),
        (("finished",), plainly(WalkFinished(missing=(), heard=SAID)), "right", 0),
    ],
)
def test_verdicts(
    tmp_path: Path, engine_bay: Sheet, expect: tuple[str, ...], make: Make, verdict: str, passed: int
) -> None:
    """One line and what came of it give one verdict and a count of defects passed."""
    result = one(tmp_path, expect, *make(engine_bay))
    assert (result.lines[0].verdict, result.defects_passed) == (verdict, passed)


def test_a_command_and_what_it_does_are_one(tmp_path: Path) -> None:
    """The command that moves to the next stop may be logged beside the move, and only beside it."""
    said = CommandHeard(command="next stop", heard=SAID)
    moved = StopEntered(stop_id="left_front", heard=SAID)
    assert one(tmp_path, ("stop: left_front",), said, moved).lines[0].verdict == "right"
    assert one(tmp_path, ("stop: left_front",), said).lines[0].verdict == "refused"
    assert one(tmp_path, ("nothing",), said).lines[0].verdict == "wrong"


def test_one_fact_of_two_is_not_right(tmp_path: Path, engine_bay: Sheet) -> None:
    """A line with two facts is right only with both, and asked when the other is in doubt."""
    expect = ("fan_belt: cracked", "fan_belt deflection: 1/2")
    crack = entry("e1", condition(engine_bay, "fan_belt", "cracked"), SAID)
    value = make_claim(engine_bay, "fan_belt", reading_id="deflection", value=Fraction(1, 2))
    assert one(tmp_path, expect, crack).lines[0].verdict == "refused"
    assert one(tmp_path, expect, crack, doubtful("e2", (value,))).lines[0].verdict == "asked"
    assert one(tmp_path, expect, crack, entry("e2", value, SAID)).lines[0].verdict == "right"


def test_a_value_outside_its_limit_heard_as_one_within_is_a_passed_defect(
    tmp_path: Path, engine_bay: Sheet
) -> None:
    """A reading past its limit is a defect; logged as within, beside a true defect, it still counts."""
    within = make_claim(engine_bay, "fan_belt", reading_id="deflection", value=Fraction(1, 8))
    crack = entry("e1", condition(engine_bay, "fan_belt", "cracked"), SAID)
    result = one(tmp_path, ("fan_belt: cracked", "fan_belt deflection: 1"), crack, entry("e2", within, SAID))
    assert [(p.spoken, p.logged) for p in result.passed_defects] == [
        ("fan_belt deflection: 1", "fan_belt deflection: 1/8")
    ]


def test_a_doubt_settled_by_the_next_line_as_sound_is_a_passed_defect(
    tmp_path: Path, engine_bay: Sheet
) -> None:
    """A doubt rightly raised about a defect and then settled as sound by other words counts."""
    script = script_of(
        tmp_path,
        ("Air governor hissing.", ("governor: hissing",), 1, 2),
        ("Air dryer quiet.", ("air_dryer: quiet",), 3, 4),
    )
    hissing, quiet = (condition(engine_bay, "governor", c) for c in ("hissing", "quiet"))
    settled = DoubtSettled(
        entry_id="e1", claim=quiet, by="A. Tester", reason="answered by voice", heard=heard(2.9, 4.1)
    )
    result = score(script, timed(doubtful("e1", (hissing, quiet)), settled))
    assert [scored.verdict for scored in result.lines] == ["asked", "wrong"]
    assert [(p.line.number, p.spoken) for p in result.passed_defects] == [(1, "governor: hissing")]
    unsettled = score(script, timed(doubtful("e1", (hissing, quiet))))
    assert unsettled.defects_passed == 0


def test_a_refused_correction_is_no_passed_defect(tmp_path: Path, engine_bay: Sheet) -> None:
    """What was truly said to be sound stands as said when the correction after it is refused."""
    script = script_of(
        tmp_path,
        ("Fan belt intact.", ("fan_belt: intact",), 1, 2),
        ("Correction, cracked.", ("fan_belt: cracked",), 3, 4),
    )
    intact = entry("e1", condition(engine_bay, "fan_belt", "intact"), SAID)
    refused = NotUnderstood(reason="no phrase", heard=heard(3, 4))
    result = score(script, timed(intact, refused))
    assert [scored.verdict for scored in result.lines] == ["right", "refused"]
    assert result.defects_passed == 0


def test_a_correction_expects_the_claim_that_results(tmp_path: Path, engine_bay: Sheet) -> None:
    """A corrected defect is not a passed one, though its point ends as sound."""
    script = script_of(
        tmp_path,
        ("Left cab pivot worn.", ("cab_pivot_left: worn",), 1, 2),
        ("Correction, right.", ("cab_pivot_right: worn",), 3, 4),
        ("Left cab pivot tight.", ("cab_pivot_left: tight",), 5, 6),
    )
    left, right = (condition(engine_bay, f"cab_pivot_{side}", "worn") for side in ("left", "right"))
    result = score(
        script,
        timed(
            entry("e1", left, SAID),
            entry("e2", right, heard(3, 4), corrects="e1"),
            entry("e3", condition(engine_bay, "cab_pivot_left", "tight"), heard(5, 6)),
        ),
    )
    assert [scored.verdict for scored in result.lines] == ["right"] * 3
    assert result.defects_passed == 0 and result.defects_spoken == 2


def test_withdrawing_is_seen(tmp_path: Path, engine_bay: Sheet) -> None:
    """A line that takes the last entry back is right when it was taken back."""
    script = script_of(
        tmp_path, ("Radiator dry.", ("radiator: dry",), 1, 2), ("Disregard.", ("withdrawn",), 3, 4)
    )
    dry = entry("e1", condition(engine_bay, "radiator", "dry"), SAID)
    back = EntryWithdrawn(entry_id="e1", by="A. Tester", reason="by voice", heard=heard(3, 4))
    assert not score(script, timed(dry, back)).not_right
    assert [n.verdict for n in score(script, timed(dry)).lines] == ["right", "refused"]


def test_lines_heard_as_one_are_judged_together(tmp_path: Path, engine_bay: Sheet) -> None:
    """One utterance over two lines, one of them not for us, counts for both."""
    script = script_of(
        tmp_path,
        ("Radiator dry.", ("radiator: dry",), 1, 2),
        ("Radio talk.", ("nothing",), 2.4, 3),
        ("Fan belt cracked.", ("fan_belt: cracked",), 3.4, 4),
    )
    whole = heard(0.8, 4.2)
    dry = entry("e1", condition(engine_bay, "radiator", "dry"), whole)
    crack = entry("e2", condition(engine_bay, "fan_belt", "cracked"), whole)
    assert not score(script, timed(dry, crack)).not_right
    false = entry("e3", condition(engine_bay, "fan_belt", "intact"), whole)
    assert [n.verdict for n in score(script, timed(dry, false)).lines] == ["wrong"] * 3
    assert score(script, timed(dry, false)).defects_passed == 1


def test_a_line_cut_in_two_is_judged_as_one(tmp_path: Path, engine_bay: Sheet) -> None:
    """Two utterances within one line give its two facts."""
    script = script_of(tmp_path, ("Both.", ("radiator: dry", "fan_belt: cracked"), 1, 4))
    events = timed(
        entry("e1", condition(engine_bay, "radiator", "dry"), heard(0.8, 2.4)),
        entry("e2", condition(engine_bay, "fan_belt", "cracked"), heard(2.6, 4.2)),
    )
    assert not score(script, events).not_right


def test_what_was_logged_where_nobody_spoke_is_a_stray(tmp_path: Path, engine_bay: Sheet) -> None:
    """Noise that makes an entry is listed; typing, and what makes no entry, is not."""
    claim = condition(engine_bay, "radiator", "dry")
    result = one(
        tmp_path,
        ("nothing",),
        entry("e1", claim, heard(8, 9)),
        NotUnderstood(reason="noise", heard=heard(10, 11)),
        entry("e2", claim, heard(0, 0).model_copy(update={"how": "keyboard"})),
    )
    assert result.strays == ("radiator: dry",)
    assert result.lines[0].is_right


def test_quiet_kept_around_an_utterance_is_no_overlap(tmp_path: Path, engine_bay: Sheet) -> None:
    """An utterance that reaches 50 ms into the next line does not belong to it."""
    script = script_of(tmp_path, ("Radiator dry.", ("radiator: dry",), 1, 2), ("Talk.", ("nothing",), 2.5, 3))
    dry = entry("e1", condition(engine_bay, "radiator", "dry"), heard(0.8, 2.55))
    assert score(script, timed(dry)).lines[1].heard == ()


def test_closing_table(tmp_path: Path, engine_bay: Sheet) -> None:
    """The table gives the counts, the number that must be 0, and each line to look at."""
    script = script_of(
        tmp_path,
        ("Radiator dry.", ("radiator: dry",), 1, 2),
        ("Fan belt cracked.", ("fan_belt: cracked",), 63, 64),
        ("A song.", ("nothing",), 70, 72),
    )
    events = timed(
        entry("e1", condition(engine_bay, "radiator", "dry"), SAID),
        entry("e2", condition(engine_bay, "fan_belt", "intact"), heard(63, 64, "fan belt intact")),
    )
    assert closing_table(score(script, events)) == (
        "                      lines    right    asked  refused    wrong\n"
        "said to voicelog          2        1        0        0        1\n"
        "not for voicelog          1        1        0        -        0\n"
        "\n"
        "Defects spoken: 1. Logged as sound without a doubt: 1 (must be 0).\n"
        "  line 2: said fan_belt: cracked, but fan_belt: intact\n"
        "\n"
        "Lines to look at\n"
        "   2   1:03  wrong     said      Fan belt cracked.\n"
        "                       expected  fan_belt: cracked\n"
        "                       heard     fan belt intact\n"
        "                       logged    fan_belt: intact\n"
    )
