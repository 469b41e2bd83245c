"""Words while they are spoken are a view: shown, never logged, and no walk depends on them."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from textual.pilot import Pilot

from tests.benchmarks.voices import available_voices, speak
from tests.screens import making
from voicelog.conduct import Conductor
from voicelog.errors import ModelError
from voicelog.feeding import conduct
from voicelog.hearing.audio import Block
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.engines import Engines, Together, WithLiveWords
from voicelog.hearing.recogniser import RATE, Decoding, Hypothesis, Samples, Utterance
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.screens.plain import PlainView
from voicelog.screens.walk_screen import WalkApp
from voicelog.screens.widgets.bottom import LastPanel
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.replies import Update

needs_voice = pytest.mark.skipif("slt" not in available_voices(), reason="flite is not installed")
DRIPPING = ("left", "lift", "cylinder", "dripping")


class Hearer:
    """Hears one phrase in everything."""

    name, model_sha256 = "hearer", "a" * 64

    def __init__(self, words: tuple[str, ...] = DRIPPING, posterior: float = 0.95) -> None:
        self.words, self.posterior = words, posterior

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        heard = Hypothesis(self.words, -1.0, self.posterior)
        return Decoding((heard,), 1.0 - self.posterior, "", 0.0)

    def dictate(self, utterance: Utterance) -> str:
        return ""


class Teller:
    """Tells a wrong word for every block, and counts the samples it was given."""

    def __init__(self, fails: bool = False) -> None:
        self.given: list[int] = []
        self._fails = fails

    def begin(self, graph: PhraseGraph) -> Teller:
        self.given.append(0)
        return self

    def accept(self, samples: Samples) -> tuple[str, ...]:
        if self._fails:
            raise RuntimeError("the engine fell over")
        self.given[-1] += len(samples)
        return ("dry",) * (1 + self.given[-1] // RATE)

    def finish(self) -> tuple[str, ...]:
        return ()


def walk_of(
    recogniser: Hearer | WithLiveWords, folder: Path, sheet: Sheet, unit: Unit, graphs: dict[str, PhraseGraph]
) -> tuple[list[object], list[Update]]:
    """The events of a walk of one spoken phrase, and what views were told."""
    moment = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
    quiet = np.zeros(RATE, np.float32)
    sound = np.concatenate([quiet, speak("left lift cylinder dripping", "slt"), quiet])
    with Store.open(folder, clock=lambda: moment) as store:
        walk = Conductor(store, sheet, unit, recogniser, clock=lambda: moment, graphs=graphs)
        walk.begin("R. Alder")
        shown: list[Update] = []
        conduct(walk, blocks(sound), Endpointer(), shown.append)
        return [stored.event for stored in store.events(walk.walk_id)], shown


def blocks(samples: Samples) -> Iterator[Block]:
    for n in range(0, len(samples), 1000):
        yield Block(samples[n : n + 1000], n / RATE)


@needs_voice
def test_the_record_is_the_same_with_and_without_live_words(
    tmp_path: Path, engine_bay: Sheet, engine_61: Unit, graphs: dict[str, PhraseGraph]
) -> None:
    """Wrong words on the screen change nothing that is logged, and are gone when the phrase is heard."""
    teller = Teller()
    plain, _ = walk_of(Hearer(), tmp_path / "a", engine_bay, engine_61, graphs)
    live, shown = walk_of(WithLiveWords(Hearer(), teller), tmp_path / "b", engine_bay, engine_61, graphs)
    assert live == plain
    assert len(plain) > 2
    assert any(update.partial == "dry dry" for update in shown)
    heard = [update for update in shown if update.heard is not None]
    assert heard and all(not update.partial for update in heard)
    # It was given the open utterance once, block by block, from its beginning.
    assert len(teller.given) == 1
    assert teller.given[0] > 1.5 * RATE


@needs_voice
def test_a_walk_outlives_live_words_that_fail(
    tmp_path: Path, engine_bay: Sheet, engine_61: Unit, graphs: dict[str, PhraseGraph]
) -> None:
    """A view's engine that falls over ends the view, not the walk."""
    plain, _ = walk_of(Hearer(), tmp_path / "a", engine_bay, engine_61, graphs)
    failing = WithLiveWords(Hearer(), Teller(fails=True))
    live, shown = walk_of(failing, tmp_path / "b", engine_bay, engine_61, graphs)
    assert live == plain
    assert not any(update.partial for update in shown)


def test_nothing_is_shown_of_what_is_said_while_standing_by(
    tmp_path: Path,
    engine_bay: Sheet,
    engine_61: Unit,
    clock: Callable[[], datetime],
    graphs: dict[str, PhraseGraph],
) -> None:
    """What is said then is not for us, and is not on the screen either."""
    with Store.open(tmp_path, clock=clock) as store:
        walk = Conductor(store, engine_bay, engine_61, Hearer(), clock=clock, graphs=graphs)
        walk.begin("R. Alder")
        assert walk.live_graph() is not None
        walk.command("stand by")
        assert walk.live_graph() is None
        walk.command("resume")
        walk.command("remark")
        assert walk.live_graph() is None


def partial_update(text: str) -> Update:
    before = making.last_update(making.walk_events())
    return Update(before.state, ear="hearing", walk_id=before.walk_id, partial=text)


def test_plain_lines_tell_each_change_once() -> None:
    """A line for each new word, none for the same words again, and no control characters."""
    out = io.StringIO()
    view = PlainView(out)
    for text in ("", "left", "left", "left lift", "left \x1b[2J"):
        view.show(partial_update(text))
    lines = [
        line.split("hearing", 1)[1].strip() for line in out.getvalue().splitlines() if "hearing  " in line
    ]
    assert [line for line in lines if line.endswith("...")] == ["left ...", "left lift ...", lines[-1]]
    assert "\x1b" not in out.getvalue()


async def test_the_screen_shows_words_while_they_are_spoken() -> None:
    """They stand where what was heard stands, marked as not finished, and go away again."""
    feed = making.HeldFeed([partial_update("left lift")])
    app = making.Walker(making.walk_events()).app(feed)
    async with app.run_test(size=(100, 40)) as pilot:
        await shows(pilot, app, "left lift ...", True)
        assert feed.post is not None
        feed.post(partial_update(""))
        await shows(pilot, app, "left lift ...", False)
        feed.let_go()


async def shows(pilot: Pilot[int], app: WalkApp, text: str, wanted: bool) -> None:
    """Let the screen draw until a text is on it or gone; fails when that never comes."""
    for _ in range(200):
        if (text in text_of(app)) == wanted:
            return
        await pilot.pause()
    raise AssertionError(f"{text!r}: wanted {wanted}\n{text_of(app)}")


def text_of(app: WalkApp) -> str:
    panel = app.query_one(LastPanel)
    return "\n".join(strip.text for strip in panel.render_lines(panel.size.region))


def test_engines_that_cannot_be_had_are_refused_at_once() -> None:
    """A choice that needs a Vosk model, without one."""
    with pytest.raises(ModelError, match="needs a Vosk model"):
        Engines(decides="both")
    with pytest.raises(ModelError, match="only Vosk decides"):
        Engines(model=Path("base.en"), vosk=Path("small"), decides="vosk")


def test_both_engines_are_named_and_disagreement_is_no_answer(graph_at: Callable[[str], PhraseGraph]) -> None:
    """The record says what listened: both, with both models' SHA-256."""
    dry = ("left", "lift", "cylinder", "dry")
    both = Together(Hearer(), Hearer(dry, 0.99), Teller())
    assert both.name == "hearer + hearer"
    assert both.model_sha256 == f"{'a' * 64}+{'a' * 64}"
    decoding = both.decode(Utterance(np.zeros(RATE, np.float32), 0.0), graph_at("left_front"))
    assert {h.words for h in decoding.hypotheses} == {DRIPPING, dry}
    assert max(h.posterior for h in decoding.hypotheses) < 0.75
