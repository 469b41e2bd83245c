"""What the tests of faults share: a small sheet, and a record of their own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest

from tests.faults.making import BAY
from tests.opening import without_gate
from voicelog.records.store import Store
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet


@pytest.fixture(scope="session")
def bay() -> Sheet:
    """The small sheet without its cautions, so that a walk can begin at once."""
    return without_gate(load_sheet(BAY))


@pytest.fixture
def store(tmp_path: Path, clock: Callable[[], datetime]) -> Iterator[Store]:
    with Store.open(tmp_path / "data", clock=clock, busy_seconds=0.05) as opened:
        yield opened
