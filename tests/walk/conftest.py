"""Walks to speak to."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from tests.opening import without_gate
from tests.walk.saying import Saying, Scripted
from voicelog.conduct import Conductor
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet, Unit

Begin = Callable[[Sheet], Saying]


@pytest.fixture(scope="session")
def small_bay() -> Sheet:
    """A sheet of three stops with cautions."""
    return load_sheet(Path(__file__).parent / "small_bay.toml")


@pytest.fixture(scope="session")
def small_graphs() -> dict[str, PhraseGraph]:
    """The small bay's graphs, compiled once."""
    return {}


@pytest.fixture
def begin(
    tmp_path: Path, engine_61: Unit, clock: Callable[[], datetime], small_graphs: dict[str, PhraseGraph]
) -> Begin:
    """Begin a walk of the small bay, with its cautions or without."""

    def begin(sheet: Sheet) -> Saying:
        store, ear = Store.open(tmp_path, clock=clock), Scripted()
        walk = Conductor(store, sheet, engine_61, ear, clock=clock, graphs=small_graphs)
        walk.begin("R. Alder")
        return Saying(walk, ear, store)

    return begin


@pytest.fixture
def gated(begin: Begin, small_bay: Sheet) -> Saying:
    """A walk that has just begun: the sheet's first caution is asked."""
    return begin(small_bay)


@pytest.fixture
def ungated(begin: Begin, small_bay: Sheet) -> Saying:
    """A walk without cautions, at the left front."""
    return begin(without_gate(small_bay))
