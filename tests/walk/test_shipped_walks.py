"""Each shipped sheet can be walked from its first point to its last by what its phrases say."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from voicelog.cli import main
from voicelog.loading import load_walk
from voicelog.phrases.quantities import say_quantity
from voicelog.records.store import Store
from voicelog.sheet import Reading, Sheet, load_sheet, load_unit

ROOT = Path(__file__).parents[2]
OTHERS = ("lexicon.toml", "policy.toml")
SHEETS = sorted(path for path in (ROOT / "grammars").glob("*.toml") if path.name not in OTHERS)


def within(reading: Reading, sheet: Sheet) -> str:
    """Return a value within the reading's limit, as it is said."""
    value = reading.high if reading.limit is None or reading.limit.maximum is None else reading.limit.maximum
    return say_quantity(value, reading, sheet.lexicon.measures.get(reading.unit))


def lines(sheet: Sheet) -> Iterator[str]:
    """Yield what an operator would type: the cautions, then the first point is defective and all
    others are in order."""
    yield from ["affirmative"] * len(sheet.gate)
    stop_id = ""
    for number, point in enumerate(sheet.points.values()):
        if point.stop_id != stop_id:
            stop_id = point.stop_id
            yield f"go to {sheet.stop(stop_id).name}"
            yield from ["affirmative"] * len(sheet.stop(stop_id).gate)
        yield f"{point.full_name} {'defective' if number == 0 else 'okay'}"
        for reading in point.readings:
            yield f"{point.full_name} {reading.name} {within(reading, sheet)}"
    yield "walk complete"


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_a_walk_by_keyboard_covers_the_sheet(
    path: Path, tmp_path: Path, clock: Callable[[], datetime]
) -> None:
    """Nothing but timed tests is left open, nothing is doubted, and the one defect is logged as one."""
    sheet = load_sheet(path, unit=load_unit(ROOT / "samples" / "engine_61.toml"))
    command = [
        "--data", str(tmp_path), "walk", "--unit", str(ROOT / "samples" / "engine_61.toml"),
        "--sheet", str(path), "--operator", "R. Alder", "--keyboard", "--plain", "--extent", "monthly",
    ]  # fmt: skip
    result = CliRunner().invoke(main, command, input="\n".join(lines(sheet)) + "\n")
    assert result.exit_code == 0, result.output[-3000:]
    with Store.open(tmp_path, clock=clock) as store:
        (walk,) = store.walks()
        state, _ = load_walk(store, walk.walk, path)
    assert state.finished
    # A timed test takes its time, which passes in tests/walk/test_timed.py.
    takes_time = [p for p in list(sheet.points.values())[1:] if any(t.result.required for t in p.timed)]
    assert list(state.missing()) == takes_time
    assert not any(entry.in_doubt for entry in state.entries.values())
    first = next(iter(sheet.points))
    defects = [e.claim.point_id for e in state.entries.values() if e.claim.condition_id == "defective"]
    assert defects == [first]
