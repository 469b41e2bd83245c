"""Fixtures of the reports' tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet

from .making import bay, recorded


@pytest.fixture(scope="session")
def sheet() -> Sheet:
    """Give the short sheet."""
    return bay()


@pytest.fixture
def record(tmp_path: Path, sheet: Sheet) -> Iterator[tuple[Store, dict[str, Clip]]]:
    """Give a store with the signed walk in it, and its clips by name."""
    store, clips = recorded(tmp_path / "data", sheet)
    with store:
        yield store, clips
