"""Timed tests: the clock, what is said while it runs, what comes of it; typed, by a clock told the time."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from fractions import Fraction as F
from pathlib import Path

import pytest

from tests.opening import without_gate
from voicelog.conduct import Conductor
from voicelog.feeding import keep_time
from voicelog.hearing.recogniser import Decoding, Hypothesis
from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import interpret
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.records.store import Store
from voicelog.reports.contents import report_contents
from voicelog.screens.plain import PlainView
from voicelog.sheet import load_sheet, load_unit
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.decide import Outcome, context_of, decide
from voicelog.walk.events import TimedTestCancelled, WalkStarted
from voicelog.walk.moments import LIVE, keyed_moment, spoken_moment
from voicelog.walk.replies import Update
from voicelog.walk.review import agenda, settle_by_number, sign
from voicelog.walk.state import WalkState, apply
from voicelog.walk.timed import due_marks, say_time, taken_up_again
from voicelog.walk.timed_wording import clock_shown, show_measured

ROOT = Path(__file__).parents[2]
START = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> datetime:
        return self.now

    def wait(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    unit = load_unit(ROOT / "samples" / "engine_61.toml")
    return without_gate(load_sheet(ROOT / "grammars" / "air_brakes.toml", unit=unit))


@pytest.fixture(scope="module")
def shared() -> dict[str, PhraseGraph]:
    return {}


@pytest.fixture
def time() -> Clock:
    return Clock()


@pytest.fixture
def walk(
    tmp_path: Path, sheet: Sheet, engine_61: Unit, time: Clock, shared: dict[str, PhraseGraph]
) -> Iterator[Conductor]:
    with Store.open(tmp_path, clock=time) as store:
        conductor = Conductor(store, sheet, engine_61, None, clock=time, graphs=shared)
        conductor.begin("R. Alder")
        yield conductor


def said(walk: Conductor, time: Clock, *steps: str | float) -> Update:
    """Type the words and let the seconds pass, in order."""
    update: Update | None = None
    for step in steps:
        if isinstance(step, str):
            update = walk.typed(step)
        else:
            time.wait(step)
    assert update is not None
    return update


def only_entry(walk: Conductor) -> tuple[str, str | None, F | None]:
    (entry,) = walk.state.entries.values()
    return entry.status, entry.claim.judgement, entry.claim.value


# What is said, how many seconds pass, what comes of it. Keyed moments are a second either way, and the
# gauge's step is 1 psi; the bounds that follow were worked out by hand.
@pytest.mark.parametrize(
    ("steps", "status", "judgement", "value"),
    [
        # 0 psi in 60 s: at most 1 psi in 58 s.
        (("start static loss at one hundred ten", 60, "stop at one ten"), "standing", "within", F(0)),
        # 1 psi in 60 s: at most 2 psi in 58 s, which is more than 2 a minute.
        (("start static loss at one hundred ten", 60, "stop one oh nine"), "doubt", "within", F(1)),
        (("start static loss at one hundred ten", 120, "stop one oh nine"), "standing", "within", F(1, 2)),
        (("start static loss at one hundred ten", 60, "stop one oh eight"), "doubt", "within", F(2)),
        (("start static loss at one hundred ten", 60, "stop one oh five"), "standing", "above", F(5)),
        (("start static loss", 5, "mark one ten", 60, "stop one oh five"), "standing", "above", F(5)),
        # The readings alone run the build-up; it ends at 100 psi.
        (("start build up", 3, "eighty five", 30, "ninety", 10, "one hundred"), "standing", "within", F(40)),
        (("start build up", "mark eighty five", 44, "stop at one hundred"), "doubt", "within", F(44)),
        (("start build up", "eighty five", 60, "one hundred psi"), "standing", "above", F(60)),
        (("start build up", "air supply pressure eighty five", 20, "air supply ninety nine", 9, "one oh one"),
         "standing", "within", F(29 * 15, 16)),
        # Only 40 psi is seen, far from the span.
        (("start build up", "forty", 10, "stop fifty five"), "doubt", "within", F(10)),
        (("start idle down", 190, "stop the clock"), "standing", "within", F(190)),
        (("start idle down", 181, "stop idle down"), "doubt", "within", F(181)),
        (("start idle down", 100, "stop the clock"), "standing", "below", F(100)),
        (("turbocharger", "start the clock", 200, "stop clock"), "standing", "within", F(200)),
    ],
)  # fmt: skip
def test_what_a_test_comes_to(
    walk: Conductor, time: Clock, steps: tuple[str | float, ...], status: str, judgement: str, value: F
) -> None:
    """The result is an entry: it stands only where its bounds are on one side of the limit."""
    said(walk, time, *steps)
    assert only_entry(walk) == (status, judgement, value)
    assert walk.state.running is None


def test_a_result_is_read_back_with_its_bounds_and_its_limit(walk: Conductor, time: Clock) -> None:
    """In the unit that was spoken, rounded outward."""
    update = said(walk, time, "start static loss at one ten", 120, "stop one oh nine")
    assert [(r.kind, r.text) for r in update.replies] == [
        (
            "taken",
            "brakes released static loss zero point five psi a minute, between zero and one point one, "
            "within the limit, at most two psi a minute",
        )
    ]


def test_what_was_said_and_when_stays_in_the_record(walk: Conductor, time: Clock) -> None:
    """Every reading with its moment, and the result that names the run."""
    said(walk, time, "start static loss", 10, "mark one ten", 60, "mark one oh nine", 60, "stop one oh eight")
    run = walk.state.runs["t1"]
    assert [mark.value for mark in run.marks] == [None, F(110), F(109), F(108)]
    begun = run.marks[0].moment.at_s
    assert [mark.moment.at_s - begun for mark in run.marks] == [0, 10, 70, 130]
    assert [entry.logged.run_id for entry in walk.state.entries.values()] == ["t1"]


def test_a_longer_run_settles_what_bounds_left_open(walk: Conductor, time: Clock) -> None:
    """The doubtful result is replaced by the clear one of another measurement."""
    said(walk, time, "start static loss at one ten", 60, "stop one oh nine")
    said(walk, time, "start static loss at one oh nine", 180, "stop one oh eight")
    assert [e.status for e in walk.state.entries.values()] == ["replaced", "standing"]
    assert walk.state.status("brakes_released") == "sound"


def test_a_pass_after_a_failed_run_is_asked_about(walk: Conductor, time: Clock) -> None:
    """Two runs of a test that say the opposite are for a person."""
    said(walk, time, "start static loss at one ten", 60, "stop one hundred")
    update = said(walk, time, "start static loss at one hundred", 180, "stop one hundred")
    assert update.replies[0].kind == "doubt"
    assert walk.state.status("brakes_released") == "defect"


@pytest.mark.parametrize(
    "words",
    [
        "affirmative",
        "the first",
        "the second",
        "brakes released",
        "one oh nine",
        "two psi",
        "correction brakes released",
    ],
)
def test_bounds_on_both_sides_of_a_limit_cannot_be_talked_away(
    walk: Conductor, time: Clock, words: str
) -> None:
    """No word settles it: only another test, or the officer."""
    said(walk, time, "start static loss at one ten", 60, "stop one oh nine", words)
    assert next(iter(walk.state.entries.values())).status == "doubt"


def test_the_officer_settles_it_with_a_reason(walk: Conductor, time: Clock) -> None:
    """Both sides are offered; the pass needs a reason, and nothing is signed before."""
    said(walk, time, "start static loss at one ten", 60, "stop one oh nine", "walk complete")
    (item,) = [i for i in agenda(walk.state) if i.kind == "doubt"]
    sides = [candidate.claim.judgement for candidate in item.candidates]
    assert sorted(map(str, sides)) == ["above", "within"]
    with pytest.raises(Exception, match="open doubt"):
        sign(
            walk.state, by="M. Ruiz", role="officer", meaning="confirmed by", decision="in service", head="x"
        )
    within = sides.index("within") + 1
    with pytest.raises(Exception, match="needs a reason"):
        settle_by_number(walk.state, "e1", within, "M. Ruiz")
    settled = settle_by_number(walk.state, "e1", within, "M. Ruiz", "read on the shop gauge")
    assert apply(walk.state, settled, START).status("brakes_released") == "sound"


def test_a_correction_puts_the_last_reading_right_and_keeps_its_moment(walk: Conductor, time: Clock) -> None:
    """While the clock runs and after: the time is that of the reading, not of the correction."""
    said(walk, time, "start static loss", "mark one fifteen", 3, "correction one ten", 117, "stop one oh one")
    update = said(walk, time, 30, "correction one oh nine")
    assert [e.claim.value for e in walk.state.entries.values()] == [F(9, 2), F(1, 2)]
    # It clears what was a defect, so it is asked about.
    assert update.replies[0].kind == "doubt"


@pytest.mark.parametrize(
    ("steps", "reply"),
    [
        (("mark one ten",), "not a phrase that can be said here"),
        (("stop the clock",), "no test is running"),
        (("start static loss", "stop the clock"), "two readings are needed; the clock goes on"),
        (("start static loss", 30, "stop one oh eight"), "only one reading was given; the clock goes on"),
        (("start static loss at one ten", "stop one oh eight"), "the readings are too close in time"),
        (("start the clock",), None),
        (("start static loss", "start applied loss"), None),
    ],
)
def test_what_comes_to_nothing_says_why(
    walk: Conductor, time: Clock, steps: tuple[str | float, ...], reply: str | None
) -> None:
    """Nothing is logged, and the operator is told."""
    update = said(walk, time, *steps)
    if reply is not None:
        assert any(reply in r.text for r in update.replies), update.replies
    assert not walk.state.entries


def test_a_cancelled_test_has_no_result(walk: Conductor, time: Clock) -> None:
    """Its point stays open, and the record says that it was cancelled."""
    said(walk, time, "start static loss at one ten", 30, "cancel test")
    assert walk.state.running is None and not walk.state.entries
    assert walk.state.runs["t1"].status == "cancelled"
    assert walk.state.status("brakes_released") == "open"


def test_a_walk_that_ends_while_the_clock_runs_says_so(walk: Conductor, time: Clock) -> None:
    """The run is cancelled in the record and its point is not covered."""
    update = said(walk, time, "start static loss at one ten", "walk complete")
    assert "static loss was still running and has no result" in update.replies[0].text
    assert walk.state.runs["t1"].status == "cancelled"
    assert walk.state.finished is not None and "brakes_released" in walk.state.finished.missing


def test_other_points_can_be_logged_while_the_clock_runs(walk: Conductor, time: Clock) -> None:
    """The clock does not stop the walk."""
    said(walk, time, "start static loss at one ten", "low air warning comes on at sixty five psi", 120)
    said(walk, time, "stop one ten")
    assert [e.claim.reading_id for e in walk.state.entries.values()] == ["pressure", "static_loss"]


def test_disregard_after_a_mark_takes_no_earlier_entry_back(walk: Conductor, time: Clock) -> None:
    """What it is meant for is the reading."""
    said(
        walk, time, "low air warning comes on at sixty five psi", "start static loss at one ten", "disregard"
    )
    assert [e.status for e in walk.state.entries.values()] == ["standing"]


def test_a_test_does_not_start_before_its_cautions_are_affirmed(
    tmp_path: Path, engine_61: Unit, time: Clock
) -> None:
    """Named from an open stop it leads to its own, and is said again when that is open."""
    gated = load_sheet(ROOT / "grammars" / "air_brakes.toml", unit=engine_61)
    with Store.open(tmp_path, clock=time) as store:
        walk = Conductor(store, gated, engine_61, None, clock=time)
        walk.begin("R. Alder")
        while walk.state.caution is not None:
            walk.typed("affirmative")
        update = walk.typed("start static loss")
        assert "not started" in update.replies[0].text and update.replies[-1].kind == "caution"
        assert walk.state.running is None and walk.state.stop_id == "holding_air"
        while walk.state.caution is not None:
            walk.typed("affirmative")
        walk.typed("start static loss")
        assert walk.state.running is not None


# the clock that is told -----------------------------------------------------------------------


def test_the_clock_is_told_at_its_marks_once(walk: Conductor, time: Clock) -> None:
    """A mark is due when that time has certainly passed: here 1.5 s after it."""
    said(walk, time, "start static loss")
    told: list[tuple[int, str]] = []
    for second in range(1, 200):
        time.wait(1)
        update = walk.tick()
        told += [(second, reply.text) for reply in update.replies] if update is not None else []
    assert told == [
        (32, "static loss: thirty seconds"),
        (62, "static loss: one minute"),
        (92, "static loss: one minute thirty seconds"),
        (122, "static loss: two minutes; say stop and the reading"),
    ]


def test_a_test_that_is_stopped_when_its_time_is_told_has_lasted_long_enough(
    walk: Conductor, time: Clock
) -> None:
    """Told at three minutes and stopped a second later, an idle-down has passed for certain."""
    said(walk, time, "start idle down")
    while (update := walk.tick()) is None or "enough" not in update.replies[0].text:
        time.wait(0.25)
    said(walk, time, 1, "stop the clock")
    assert only_entry(walk)[:2] == ("standing", "within")


def test_nothing_is_told_while_standing_by_or_when_no_clock_runs(walk: Conductor, time: Clock) -> None:
    """A radio call is not talked into."""
    before = keyed_moment("wall", 0)
    assert due_marks(walk.state, before, keyed_moment("wall", 10**10)) == ()
    said(walk, time, "start static loss", "stand by", 40)
    assert walk.tick() is None


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "zero seconds"), (1, "one second"), (60, "one minute"), (61, "one minute one second"),
     (90, "one minute thirty seconds"), (F(1799, 10), "two minutes fifty nine seconds")],
)  # fmt: skip
def test_a_time_is_told_in_seconds_that_have_passed(seconds: F | int, words: str) -> None:
    """Never rounded up."""
    assert say_time(F(seconds)) == words


# resuming -------------------------------------------------------------------------------------


def test_a_keyboard_walk_goes_on_by_the_wall_clock(
    walk: Conductor, time: Clock, sheet: Sheet, engine_61: Unit
) -> None:
    """A test that ran when the program ended is taken up with the time that has passed."""
    said(walk, time, "start static loss at one ten", 100)
    again = Conductor(walk._store, sheet, engine_61, None, clock=time)
    update = again.resume(walk.walk_id, "R. Alder")
    assert (
        update.replies[1].text == "static loss is running: one minute thirty nine seconds by the wall clock"
    )
    said(again, time, 20, "stop one oh nine")
    assert only_entry(again) == ("standing", "within", F(1, 2))


def test_a_clock_that_was_set_back_interrupts_the_test(
    walk: Conductor, time: Clock, sheet: Sheet, engine_61: Unit
) -> None:
    """What passed is not known."""
    said(walk, time, "start static loss at one ten", -3600)
    again = Conductor(walk._store, sheet, engine_61, None, clock=time)
    update = again.resume(walk.walk_id, "R. Alder")
    assert update.replies[1].text == "static loss was interrupted: repeat it"
    assert again.state.running is None


# speech ---------------------------------------------------------------------------------------


def heard_walk(sheet: Sheet, *lines: tuple[float, float, dict[str, float]], clock: str = "sound") -> Outcome:
    """Decide what comes of lines of speech: start, end, and the phrases with their posteriors."""
    state = apply(WalkState(sheet), _started(sheet), START)
    outcome = Outcome()
    for start_s, end_s, phrases in lines:
        run = state.running
        running = (run.point_id, run.timed_id) if run is not None else None
        graph = compile_grammar(sheet_grammar(sheet, state.stop_id, running))
        found = tuple(Hypothesis(tuple(p.split()), -1.0, w) for p, w in phrases.items())
        decoding = Decoding(found, 1 - sum(phrases.values()), "", 0.0)
        heard = Heard(text="", start_s=start_s, end_s=end_s)
        moment = spoken_moment(clock, start_s, end_s, start_s if clock == LIVE else None)
        outcome = decide(state, interpret(decoding, graph, context_of(state)), heard, moment)
        for event in outcome.events:
            state = apply(state, event, START)
    return outcome


def _started(sheet: Sheet) -> WalkStarted:
    return WalkStarted(
        unit_id="engine_61", unit_name="Engine 61", station="", identification="", sheet_id=sheet.id,
        sheet_title=sheet.title, sheet_sha256=sheet.sha256, lexicon_sha256=sheet.lexicon.sha256,
        operator="R. Alder", recogniser="", model_sha256="", version="",
    )  # fmt: skip


BEGIN = (10.0, 12.0, {"start static loss at one hundred ten": 1.0})


def test_speech_counts_from_its_first_sound(sheet: Sheet) -> None:
    """From 10 to 130 s are 120; half a second before, and the end of what was said, bound it."""
    outcome = heard_walk(sheet, BEGIN, (130.0, 131.5, {"stop one hundred ten": 1.0}))
    claim = outcome.events[-1].claim  # type: ignore[union-attr]
    assert (claim.value, claim.high) == (F(0), F(60) / (F("129.5") - F("12.0")))


def test_a_doubtful_last_reading_makes_a_doubtful_result_and_a_number_settles_it(sheet: Sheet) -> None:
    """One question, answered with the number; the moment of the stop stays."""
    stop = (130.0, 131.5, {"stop one hundred nine": 0.9, "stop one hundred": 0.1})
    outcome = heard_walk(sheet, BEGIN, stop)
    assert outcome.replies[0].text == (
        "brakes released static loss: was the last reading one hundred nine or one hundred?"
    )
    settled = heard_walk(sheet, BEGIN, stop, (140.0, 141.0, {"one hundred nine": 1.0}))
    assert settled.replies[0].kind == "taken"
    assert settled.events[0].claim.value == F(1, 2)  # type: ignore[union-attr]


def test_a_doubtful_first_reading_makes_a_doubtful_result(sheet: Sheet) -> None:
    """A mark that is not sure is kept with all that it may have been."""
    lines = [
        (10.0, 12.0, {"start static loss": 1.0}),
        (13.0, 14.0, {"mark one hundred nine": 0.9, "mark one hundred five": 0.1}),
        (200.0, 201.0, {"stop one hundred nine": 1.0}),
    ]
    outcome = heard_walk(sheet, *lines)
    assert outcome.replies[-1].kind == "doubt"


def test_a_start_that_is_not_sure_is_said_again(sheet: Sheet) -> None:
    """Which test runs decides which limit counts."""
    outcome = heard_walk(sheet, (10.0, 12.0, {"start static loss": 0.9, "start applied loss": 0.1}))
    assert [reply.kind for reply in outcome.replies] == ["not understood"]


def test_sound_that_was_lost_makes_the_result_doubtful(sheet: Sheet) -> None:
    """The clock of the sound stood still: where the wall clock says otherwise, a person must look."""
    state = apply(WalkState(sheet), _started(sheet), START)
    for at_s, wall_s, phrase in ((10.0, 10.0, "start idle down"), (200.0, 320.0, "stop the clock")):
        run = state.running
        running = (run.point_id, run.timed_id) if run is not None else None
        graph = compile_grammar(sheet_grammar(sheet, state.stop_id, running))
        decoding = Decoding((Hypothesis(tuple(phrase.split()), -1.0, 1.0),), 0.0, "", 0.0)
        moment = spoken_moment(LIVE, at_s, at_s + 1, wall_s)
        heard = Heard(text=phrase, start_s=at_s, end_s=at_s + 1)
        outcome = decide(state, interpret(decoding, graph, context_of(state)), heard, moment)
        for event in outcome.events:
            state = apply(state, event, START)
    (entry,) = state.entries.values()
    assert entry.in_doubt and "sound may have been lost" in entry.logged.doubts[0].reason


def test_the_clock_of_a_microphone_does_not_survive_the_program(sheet: Sheet) -> None:
    """A resumed walk cancels the test in the record and says that it must be repeated."""
    state = apply(WalkState(sheet), _started(sheet), START)
    graph = compile_grammar(sheet_grammar(sheet, state.stop_id))
    decoding = Decoding((Hypothesis(("start", "idle", "down"), -1.0, 1.0),), 0.0, "", 0.0)
    meant = interpret(decoding, graph, context_of(state))
    outcome = decide(state, meant, Heard(text=""), spoken_moment(LIVE, 5, 6, 5))
    state = apply(state, outcome.events[0], START)
    step = taken_up_again(state, keyed_moment(LIVE, 0))
    assert isinstance(step.events[0], TimedTestCancelled)
    assert step.replies[0].text == "idle down was interrupted: repeat it"
    going_on = taken_up_again(state, keyed_moment("recording abc", 0))
    assert isinstance(going_on.events[0], TimedTestCancelled)


# views ----------------------------------------------------------------------------------------


def test_the_clock_of_a_keyboard_walk_is_kept_until_it_is_told_to_stop(walk: Conductor, time: Clock) -> None:
    """A view gets the running clock, and what is told, while nobody types."""
    said(walk, time, "start static loss")
    shown: list[Update] = []
    left = iter([False] * 40 + [True])

    def wait(seconds: float) -> bool:
        time.wait(1)
        return next(left)

    keep_time(walk, shown.append, wait)
    assert [u.test_s for u in shown[:3]] == [0.0, 1.0, 2.0]
    told = [r.text for u in shown for r in u.replies]
    assert told == ["static loss: thirty seconds"]


def test_readings_and_times_are_in_the_lines_the_review_and_the_report(walk: Conductor, time: Clock) -> None:
    """Both readings, the time between them, the value as spoken and in SI."""
    out = io.StringIO()
    view = PlainView(out)
    for step in (
        "start static loss at one ten",
        120,
        "stop one oh nine",
        "start applied loss",
        "cancel test",
    ):
        view.show(walk.typed(step)) if isinstance(step, str) else time.wait(step)
    said(walk, time, "walk complete")
    measured = "110 psi, 109 psi after 120 s"
    assert f"measured        {measured}" in out.getvalue()
    entry = walk.state.entries["e1"]
    assert show_measured(walk.state, entry) == measured
    contents = report_contents(walk.state, walk_id=walk.walk_id, problems=(), head="0" * 64)
    (reading,) = [r for r in contents.readings if r.name == "static loss"]
    assert reading.value == "0.5 psi/min (0 to 1.02)"
    # 0.5 psi is 3.447 kPa: NIST SP 811, 1 psi = 6.894757 kPa.
    assert reading.si == "about 3.447 kPa/min"
    points = {p.name: p for s in contents.stops for p in s.points}
    assert points["brakes released"].entries[0].history == (f"measured: {measured}",)
    assert "applied loss: no result, cancelled by the operator" in points["brakes applied"].words


@pytest.mark.parametrize(
    ("seconds", "shown"), [(None, "static loss"), (5.9, "static loss 0:05"), (65.0, "static loss 1:05")]
)
def test_the_running_clock_is_shown_in_whole_seconds(
    walk: Conductor, time: Clock, seconds: float | None, shown: str
) -> None:
    """Those that have passed; nothing where no clock runs."""
    assert clock_shown(walk.state, seconds) == ""
    said(walk, time, "start static loss")
    assert clock_shown(walk.state, seconds) == shown
