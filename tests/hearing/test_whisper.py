"""The engine on recorded sound: the sample walk, noise, and human speech where it is at hand.

Phrases and slots are asserted, never exact scores.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.voices import available_voices, speak
from tests.speech_data import SPEECH
from voicelog.decoding import decode_file
from voicelog.errors import ModelError
from voicelog.hearing import models
from voicelog.hearing.audio import read_samples
from voicelog.hearing.recogniser import RATE, Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.meaning.misgivings import misgiving
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.jsgf import load_jsgf
from voicelog.sheet.model import Sheet

ROOT = Path(__file__).parent.parent.parent
needs_speech = pytest.mark.skipif(
    not (SPEECH / "orders-dev").is_dir(), reason="the open speech-to-intent data is not at hand"
)


@pytest.fixture(scope="module")
def recogniser() -> WhisperRecogniser:
    return WhisperRecogniser()


@pytest.fixture(scope="module")
def spoken_lines() -> dict[str, Utterance]:
    """The sample walk's lines, cut out at their known times with a little sound around them."""
    samples = read_samples(ROOT / "samples" / "engine_61_walk.opus")
    times = json.loads((ROOT / "samples" / "engine_61_walk.times.json").read_text())["lines"]
    return {
        line["say"]: Utterance(
            samples[int((line["start_s"] - 0.3) * RATE) : int((line["end_s"] + 0.2) * RATE)], line["start_s"]
        )
        for line in times
    }


def test_the_same_sound_gives_the_same_decoding(
    recogniser: WhisperRecogniser,
    spoken_lines: dict[str, Utterance],
    graph_at: Callable[[str], PhraseGraph],
) -> None:
    """Decoding is deterministic, scores included, also when the caches are warm."""
    utterance = next(iter(spoken_lines.values()))
    first, second = (recogniser.decode(utterance, graph_at("cab_tilt")) for _ in range(2))
    assert first.hypotheses
    assert first == second


def test_posteriors_of_all_phrases_and_of_none_sum_to_one(
    recogniser: WhisperRecogniser,
    spoken_lines: dict[str, Utterance],
    graph_at: Callable[[str], PhraseGraph],
) -> None:
    """Nothing is counted twice, and every hypothesis is a phrase of the graph."""
    for utterance in list(spoken_lines.values())[:3]:
        decoding = recogniser.decode(utterance, graph_at("cab_tilt"))
        assert sum(h.posterior for h in decoding.hypotheses) + decoding.outside == pytest.approx(1.0)
        assert all(graph_at("cab_tilt").accepts(h.words) for h in decoding.hypotheses)


def test_noise_and_silence_are_refused(
    recogniser: WhisperRecogniser, graph_at: Callable[[str], PhraseGraph]
) -> None:
    """A sound that is not speech makes no answer."""
    rng = np.random.default_rng(3)
    noise = rng.normal(0, 0.05, 2 * RATE).astype(np.float32)
    for samples in (noise, np.zeros(RATE, np.float32)):
        decoding = recogniser.decode(Utterance(samples, 0.0), graph_at("left_front"))
        assert decoding.best is None
        assert decoding.refused


@needs_speech
def test_human_orders_are_heard_slot_for_slot(recogniser: WhisperRecogniser) -> None:
    """20 crowd-sourced orders of the open speech-to-intent data (Apache-2.0): at least 19 right, clean."""
    graph = compile_grammar(load_jsgf(SPEECH / "orders.jsgf"))
    labels = json.loads((SPEECH / "orders-dev" / "labels.json").read_text())
    right = 0
    for path in sorted((SPEECH / "orders-dev").glob("*.flac"))[:20]:
        slots = decode_file(path, graph, recogniser)["slots"] or {}
        right += all(slots.get(name, "") == words for name, words in labels[path.stem].items())
    assert right >= 19


@needs_speech
def test_human_speech_that_is_not_for_us_is_refused(
    recogniser: WhisperRecogniser, graph_at: Callable[[str], PhraseGraph]
) -> None:
    """The same people's orders, against the engine bay sheet: not one is answered."""
    for path in sorted((SPEECH / "orders-dev").glob("*.flac"))[:20]:
        result = decode_file(path, graph_at("left_front"), recogniser)
        assert result["text"] is None, result


@pytest.mark.skipif("rms" not in available_voices(), reason="flite is not installed")
@pytest.mark.parametrize(
    ("stop_id", "phrase", "more"),
    [
        ("engine_front", "upper radiator hose looks secure", "from here"),
        ("engine_front", "water pump dry", "but mushroomed"),
        ("engine_front", "water pump dry", "except at the bottom"),
        ("right_middle", "alternator no heat marks", "on one side"),
        ("left_middle", "oil filter tight", "i guess"),
    ],
)
def test_what_comes_after_a_phrase_is_noticed_though_the_graph_has_no_words_for_it(
    recogniser: WhisperRecogniser,
    graph_at: Callable[[str], PhraseGraph],
    engine_bay: Sheet,
    stop_id: str,
    phrase: str,
    more: str,
) -> None:
    """The pass is what is heard, and is asked about; without what comes after it, it is not."""
    for said, asks in ((phrase, False), (f"{phrase} {more}", True)):
        decoding = recogniser.decode(Utterance(speak(said, "rms"), 0.0), graph_at(stop_id))
        assert decoding.best is not None and decoding.best.text == phrase
        assert bool(misgiving(decoding, engine_bay.lexicon)) == asks


def test_an_altered_model_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """The embedded model's files must be the very ones that were measured."""
    monkeypatch.setitem(models.BUNDLED_SHA256, "tokenizer.json", "0" * 64)
    with pytest.raises(ModelError, match=r"tokenizer\.json is altered") as caught:
        models.find_whisper()
    assert "install" in caught.value.remedy


def test_a_missing_model_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No folder, an incomplete folder and a missing package each say what to do."""
    for folder in (tmp_path / "none", tmp_path):
        with pytest.raises(ModelError) as caught:
            models.find_whisper(folder)
        assert caught.value.remedy
    monkeypatch.setattr(models, "BUNDLED_PACKAGE", "no_such_package_here")
    with pytest.raises(ModelError, match="not installed"):
        models.find_whisper()
