"""Remarks: the sound at once, the words later, and the walk never waits for them."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path

import pytest

from tests.dictating import Dictated
from voicelog.conduct import Conductor
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.agenda import agenda
from voicelog.walk.events import CommandHeard, Event, RemarkLogged, RemarkTranscribed
from voicelog.walk.remarks import NO_TRANSCRIPT, WITHOUT_WORDS, owed, remarks_in, without_ending

Begin = Callable[[Mapping[int, str]], tuple[Conductor, Dictated]]
ENDINGS = ("end of remark", "end remark")


@pytest.fixture
def begin(
    tmp_path: Path,
    engine_bay: Sheet,
    engine_61: Unit,
    clock: Callable[[], datetime],
    graphs: dict[str, PhraseGraph],
) -> Begin:
    def begun(script: Mapping[int, str]) -> tuple[Conductor, Dictated]:
        ear = Dictated(script)
        store = Store.open(tmp_path, clock=clock)
        walk = Conductor(store, engine_bay, engine_61, ear, clock=clock, graphs=graphs)
        walk.begin("R. Alder")
        walk.typed("go to engine front")
        return walk, ear

    return begun


def events(walk: Conductor) -> list[Event]:
    return [stored.event for stored in walk._store.events(walk.walk_id)]


def words_of(walk: Conductor) -> list[str]:
    return [remark.words for remark in remarks_in(walk.state.remarks)]


def test_the_walk_goes_on_while_words_are_made(begin: Begin) -> None:
    """With the transcript held up, the next entries are logged and answered; then the words follow."""
    walk, ear = begin(
        {
            0: "remark",
            10: "clamp is newer than the rest",
            20: "end of remark",
            30: "fan belt chafed",
            40: "water pump dry",
        }
    )
    ear.let.clear()
    with walk.dictation.behind():
        walk.dictation.quiet(True)
        walk.hear(ear.said(0, 1.0))
        assert [r.kind for r in walk.hear(ear.said(10)).replies] == ["taken"]
        assert ear.dictating.wait(10)
        assert [r.text for r in walk.hear(ear.said(20, 1.0)).replies] == ["end of remark"]
        assert [r.kind for r in walk.hear(ear.said(30)).replies] == ["taken"]
        assert [r.kind for r in walk.hear(ear.said(40)).replies] == ["taken"]
        assert words_of(walk) == [NO_TRANSCRIPT]
        ear.let.set()
    assert words_of(walk) == ["clamp is newer than the rest"]
    assert isinstance(events(walk)[-1], RemarkTranscribed)
    assert walk._store.verify(walk.walk_id) == ()


def test_words_are_begun_only_while_nobody_speaks(begin: Begin) -> None:
    """Nothing is dictated while somebody speaks, and it is once it is quiet."""
    walk, ear = begin({0: "remark", 10: "clamp is newer than the rest"})
    with walk.dictation.behind():
        walk.hear(ear.said(0, 1.0))
        walk.hear(ear.said(10))
        assert not ear.dictating.wait(0.05)
        walk.dictation.quiet(True)
        assert ear.dictating.wait(10)


def test_what_is_not_made_in_time_is_left_and_made_when_the_walk_is_taken_up(
    begin: Begin, engine_bay: Sheet, engine_61: Unit, clock: Callable[[], datetime]
) -> None:
    """The end of a walk waits no longer than it is told; nothing is put on record after it."""
    walk, ear = begin({0: "remark", 10: "clamp is newer than the rest", 20: "bolt is loose"})
    ear.let.clear()
    with walk.dictation.behind(patience_s=0.0):
        walk.dictation.quiet(True)
        for at_s in (0, 10, 20):
            walk.hear(ear.said(at_s, 1.0 if at_s == 0 else 3.0))
        assert ear.dictating.wait(10)
    before = events(walk)
    ear.let.set()
    for thread in threading.enumerate():
        if thread.name == "dictation":
            thread.join(10)
    assert events(walk) == before
    again = Conductor(walk._store, engine_bay, engine_61, ear, clock=clock)
    assert len(owed(again.resume(walk.walk_id, "R. Alder").state.remarks)) == 2
    again.write_out()
    assert owed(again.state.remarks) == ()
    assert [e.text for e in events(again) if isinstance(e, RemarkTranscribed)] == [
        ear.script[10],
        ear.script[20],
    ]


@pytest.mark.parametrize(
    ("said", "words", "kinds"),
    [
        ("hose is wet at the clamp", "hose is wet at the clamp", ["taken"]),
        ("end of remark", WITHOUT_WORDS, ["answer"]),
        ("hose is wet at the clamp, end of remark", "hose is wet at the clamp", ["taken", "answer"]),
        # The transcript alone ends nothing: here its last words are others to the phrase graph.
        ("the end of remarks", "the end of remarks", ["taken"]),
    ],
)
def test_the_end_of_a_remark(begin: Begin, said: str, words: str, kinds: list[str]) -> None:
    """It ends alone or in the same breath, is heard by the phrase graph, and is no part of the words."""
    walk, ear = begin({0: "remark", 10: said})
    walk.hear(ear.said(0, 1.0))
    seconds = 1.6 if said == "end of remark" else 3.0
    assert [reply.kind for reply in walk.hear(ear.said(10, seconds)).replies] == kinds
    assert walk.state.in_remark is ("answer" not in kinds)
    walk.write_out()
    assert words_of(walk) == ([words] if "taken" in kinds else [])


def test_a_remark_of_several_parts_is_one(begin: Begin) -> None:
    """Each utterance keeps its own sound; together they are one remark, on the point of the first."""
    walk, ear = begin(
        {
            0: "fan belt chafed",
            10: "remark",
            20: "the edge is frayed.",
            30: "near the tensioner, end of remark",
            40: "remark",
            50: "another one",
        }
    )
    for at_s in ear.script:
        walk.hear(ear.said(at_s, 1.0 if ear.script[at_s] == "remark" else 3.0))
    walk.write_out()
    first, second = remarks_in(walk.state.remarks)
    assert (first.words, first.point_id) == ("the edge is frayed. near the tensioner", "fan_belt")
    assert len(set(first.clips)) == 2 and len(second.clips) == 1
    assert second.words == "another one"
    parts = [e for e in events(walk) if isinstance(e, RemarkLogged)]
    assert [(p.remark_id, p.continues, p.ended) for p in parts] == [
        ("r1", None, False),
        ("r2", "r1", True),
        ("r3", None, False),
    ]


def test_a_remark_without_words_can_be_looked_at_and_played(begin: Begin) -> None:
    """Before its transcript, review and history show one remark that has none, with all of its sound."""
    walk, ear = begin({0: "fan belt chafed", 10: "remark", 20: "the edge is frayed", 30: "by the tensioner"})
    for at_s in ear.script:
        walk.hear(ear.said(at_s, 1.0 if at_s == 10 else 3.0))
    clips = remarks_in(walk.state.remarks)[0].clips
    assert len(clips) == 2
    for words in (NO_TRANSCRIPT, "the edge is frayed by the tensioner"):
        (item,) = (item for item in agenda(walk.state) if item.kind == "remark")
        assert (item.clips, item.title) == (clips, words)
        assert item.detail == "about fan belt, in 2 parts"
        (past,) = walk._store.point_history("engine_61", walk.state.sheet.id, "fan_belt").remarks
        assert (past.clips, past.words) == (clips, words)
        walk.write_out()


def test_a_recordings_words_come_at_its_end_in_order(begin: Begin) -> None:
    """Without a thread the record is the same each time: all sounds, then all words, oldest first."""
    walk, ear = begin({0: "remark", 10: "one", 20: "two, end of remark", 30: "fan belt chafed"})
    for at_s in ear.script:
        walk.hear(ear.said(at_s, 1.0 if at_s == 0 else 3.0))
    assert not any(isinstance(e, RemarkTranscribed) for e in events(walk))
    walk.write_out()
    assert [type(e).__name__ for e in events(walk)[-2:]] == ["RemarkTranscribed"] * 2
    assert [e.text for e in events(walk) if isinstance(e, RemarkTranscribed)] == ["one", "two"]


def test_the_pause_after_a_remark_is_used(begin: Begin) -> None:
    """What ends a remark is looked for while the pause lasts, and the pause is then short."""
    walk, ear = begin({0: "remark", 10: "one two", 20: "three, end of remark"})
    walk.hear(ear.said(0, 1.0))
    assert walk.foresee(ear.said(10)) == "unsure"
    walk.hear(ear.said(10))
    assert walk.foresee(ear.said(20)) == "whole"
    assert walk.state.in_remark
    walk.hear(ear.said(20))
    assert not walk.state.in_remark
    commands = [e.command for e in events(walk) if isinstance(e, CommandHeard)]
    assert commands == ["remark", "end of remark"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("The bolt is loose. End of remark.", "The bolt is loose."),
        ("the bolt is loose, and of remark.", "the bolt is loose"),
        ("the bolt is loose and a remark", "the bolt is loose"),
        ("the bolt is loose, end remark.", "the bolt is loose"),
        ("End of remark.", ""),
        ("", ""),
        ("the bolt is loose", "the bolt is loose"),
    ],
)
def test_the_ending_is_left_out_of_the_words(text: str, expected: str) -> None:
    """However the engine spelled it, the phrase that ended a remark is no part of its transcript."""
    assert without_ending(text, ENDINGS) == expected


def test_words_that_come_in_between_drop_no_question(begin: Begin) -> None:
    """A transcript is nobody's doing: what was asked before it came is answered after it."""
    rest = "mark the rest of this stop sound"
    walk, ear = begin({0: "remark", 10: "one, end of remark", 20: rest, 30: "affirmative"})
    for at_s in (0, 10, 20):
        walk.hear(ear.said(at_s, 1.0 if at_s == 0 else 3.0))
    asked = walk.state.marks.asked
    walk.write_out()
    assert asked is not None and walk.state.marks.asked == asked
    assert walk.hear(ear.said(30)).replies[0].kind == "taken"
    assert walk.state.marks.points
