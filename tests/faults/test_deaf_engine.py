"""An engine whose model lacks words of the sheet must not be the only one that decides."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from voicelog.errors import ModelError
from voicelog.hearing.engines import Engines
from voicelog.hearing.recogniser import Decoding, Utterance
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.running import Source, run_walk

SAMPLES = Path(__file__).parent.parent.parent / "samples"


class Deaf:
    """A recogniser whose model lacks some words."""

    name = "a small model"
    model_sha256 = ""

    def __init__(self, *lacking: str) -> None:
        self._lacking = lacking

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        raise AssertionError("no walk was to begin")

    def dictate(self, utterance: Utterance) -> str:
        raise AssertionError("no walk was to begin")

    def unknown_words(self, graph: PhraseGraph) -> tuple[str, ...]:
        return self._lacking


def test_a_walk_does_not_begin_where_a_defect_cannot_be_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, clock: Callable[[], datetime]
) -> None:
    """The message names such a phrase and both ways out, and nothing is on record."""
    monkeypatch.setattr("voicelog.running.make_recogniser", lambda engines: Deaf("chafed", "oil"))
    source = Source(recording=SAMPLES / "engine_61_walk.opus")
    with pytest.raises(ModelError, match='"chafed"') as caught:
        run_walk(
            tmp_path,
            unit_path=SAMPLES / "engine_61.toml",
            sheet_path=None,
            operator="R. Alder",
            source=source,
            plain=True,
            engines=Engines(),
            always_new=False,
        )
    assert "--decides both" in caught.value.remedy
    with Store.open(tmp_path, clock=clock) as store:
        assert not list(store.walks())
