"""Fixtures of the record store's tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from voicelog.records.store import Store

from .making import Ticking


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Give an empty store with a ticking clock."""
    with Store.open(tmp_path / "data", clock=Ticking()) as opened:
        yield opened
