"""What many tests share: the shipped sheet, its unit, and a clock that is told the time."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.opening import without_gate
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet import load_sheet, load_unit
from voicelog.sheet.model import Sheet, Unit

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="session")
def gated_bay() -> Sheet:
    """The engine bay as it is shipped."""
    return load_sheet(ROOT / "grammars" / "engine_bay.toml")


@pytest.fixture(scope="session")
def engine_bay(gated_bay: Sheet) -> Sheet:
    """The engine bay without its cautions, so that a walk can begin at once.

    What the cautions do is tested with :func:`gated_bay`.
    """
    return without_gate(gated_bay)


@pytest.fixture(scope="session")
def engine_61() -> Unit:
    return load_unit(ROOT / "samples" / "engine_61.toml")


@pytest.fixture(scope="session")
def graph_at(engine_bay: Sheet) -> Callable[[str], PhraseGraph]:
    graphs: dict[str, PhraseGraph] = {}

    def at(stop_id: str) -> PhraseGraph:
        if stop_id not in graphs:
            graphs[stop_id] = compile_grammar(sheet_grammar(engine_bay, stop_id))
        return graphs[stop_id]

    return at


@pytest.fixture
def clock() -> Callable[[], datetime]:
    """A clock that goes on by one second each time it is read."""
    times = iter(datetime(2026, 3, 2, 7, 0, tzinfo=UTC) + timedelta(seconds=n) for n in range(1_000_000))
    return lambda: next(times)


@pytest.fixture(scope="session")
def graphs() -> dict[str, PhraseGraph]:
    """The engine bay's graphs, compiled once for all walks of the tests."""
    return {}
