"""The review makes the transcripts that a walk lacks behind its back, and never waits for them."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from textual.pilot import Pilot

from tests.screens.test_review_screen import Ticking, drive, shown
from tests.walk.reviewing import WALK, clips, sheet, walk
from voicelog.errors import ModelError
from voicelog.hearing.recogniser import Decoding, Recogniser, Utterance
from voicelog.later_transcripts import LaterTranscripts
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.screens.review_screen import ReviewApp
from voicelog.walk.events import Event, RemarkLogged, RemarkTranscribed, SignedOff
from voicelog.walk.remarks import owed
from voicelog.walk.state import fold

WORDS = "the spring was changed in March"


class Engine:
    """An engine that dictates when it is allowed to."""

    name, model_sha256 = "scripted", ""

    def __init__(self) -> None:
        self.may = threading.Event()

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Not asked here."""
        raise AssertionError

    def dictate(self, utterance: Utterance) -> str:
        """Return the words once it may."""
        assert self.may.wait(30)
        return WORDS


def events(*more: Event) -> list[Event]:
    """Return a finished walk with one remark that has its sound and no transcript."""
    return [
        e.model_copy(update={"transcribed": False, "heard": e.heard.model_copy(update={"text": ""})})
        if isinstance(e, RemarkLogged)
        else e
        for e in walk()
    ] + list(more)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Return a record with that walk."""
    with Store.open(tmp_path / "data", clock=Ticking()) as opened:
        opened.append(WALK, events(), clips())
        yield opened


def made(store: Store) -> list[RemarkTranscribed]:
    """Return the transcripts on record."""
    return [s.event for s in store.events(WALK) if isinstance(s.event, RemarkTranscribed)]


async def until(pilot: Pilot[None], so: Callable[[], bool]) -> None:
    """Let the screen go on until something is so, ten seconds at most."""
    for _ in range(500):
        if so():
            return
        await pilot.pause(0.02)
    raise AssertionError("it never came")


def reviewed(store: Store, engine: Callable[[], Recogniser], steps: Callable[[Pilot[None]], object]) -> None:
    """Drive a review that makes transcripts with ``engine``."""
    transcripts = LaterTranscripts(store, sheet().lexicon, engine)
    with transcripts.behind():
        drive(ReviewApp(store, WALK, sheet(), None, by="M. Ruiz", transcripts=transcripts), steps)


def test_it_comes_while_the_officer_works(store: Store) -> None:
    """The screen is there at once; the words are on record and shown when made, not under an open form."""
    engine = Engine()

    async def steps(pilot: Pilot[None]) -> None:
        assert "1 remark has no transcript yet" in shown(pilot, "#said")
        await pilot.press("end")
        await pilot.press("r")
        assert type(pilot.app.screen).__name__ != "ReviewScreen"
        engine.may.set()
        await pilot.pause(0.6)
        assert made(store) == []
        await pilot.press("escape")
        await until(pilot, lambda: bool(made(store)))
        await until(pilot, lambda: "The transcript is made" in shown(pilot, "#said"))

    reviewed(store, lambda: engine, steps)
    (words,) = made(store)
    assert (words.remark_id, words.point_id, words.text, words.by) == ("r1", "fan_belt", WORDS, "scripted")
    state = fold(sheet(), ((s.at, s.event) for s in store.events(WALK)))
    assert owed(state.remarks) == ()
    assert store.defects.not_taken_up() == ()
    assert store.verify_all() == ()


@pytest.mark.parametrize("trouble", [ModelError("there is no model", remedy="x"), MemoryError("no room")])
def test_without_a_model_the_review_is_as_it_was(store: Store, trouble: Exception) -> None:
    """It says why there is no transcript, once; the walk can be settled, and its sound played."""

    def none() -> Recogniser:
        raise trouble

    async def steps(pilot: Pilot[None]) -> None:
        await until(pilot, lambda: "No transcript is made" in shown(pilot, "#said"))
        assert "The sound can be played" in shown(pilot, "#said")
        await pilot.press("r")
        assert type(pilot.app.screen).__name__ == "WhyForm"

    reviewed(store, none, steps)
    assert made(store) == []


def test_nothing_comes_after_a_signature(tmp_path: Path) -> None:
    """Of a walk that is signed, and of one that is still being walked, no transcript is begun."""
    signed = SignedOff(by="R. Alder", role="operator", meaning="inspected by", decision="none", head="d" * 64)
    for number, story in enumerate((events(signed), events()[:-1])):
        asked: list[int] = []
        with Store.open(tmp_path / str(number), clock=Ticking()) as store:
            transcripts = LaterTranscripts(store, sheet().lexicon, lambda seen=asked: seen.append(1))  # type: ignore[misc]
            state = fold(sheet(), ((Ticking()(), e) for e in story))
            with transcripts.behind():
                assert transcripts.begin(state) == 0
            assert asked == []


def test_who_quits_does_not_wait_for_it(store: Store) -> None:
    """Closed while a transcript is made, the review leaves the record as it is; another makes it."""
    engine = Engine()

    async def steps(pilot: Pilot[None]) -> None:
        await pilot.press("q")

    reviewed(store, lambda: engine, steps)
    engine.may.set()
    assert made(store) == []
