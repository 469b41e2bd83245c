"""The guide's worked example is a sheet that can be used, and comes to what the guide says."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.conftest import ROOT
from voicelog.cli import main
from voicelog.loading import load_walk
from voicelog.records.store import Store
from voicelog.sheet import load_sheet

GUIDE = (ROOT / "grammars" / "README.md").read_text(encoding="utf-8")
EXAMPLE = GUIDE.split("\n## Write your own: a worked example\n", 1)[1]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """The example's sheet beside the shipped lexicon, which it names by leaving it out."""
    (found,) = re.findall(r"```toml\n(.*?)```", EXAMPLE, flags=re.DOTALL)
    (tmp_path / "lexicon.toml").write_bytes((ROOT / "grammars" / "lexicon.toml").read_bytes())
    (tmp_path / "generator.toml").write_text(found, encoding="utf-8")
    return tmp_path / "generator.toml"


def walk(path: Path, extent: str) -> str:
    (said,) = re.findall(r"```text\n(.*?)```", EXAMPLE, flags=re.DOTALL)
    command = [
        "--data", str(path.parent / "data"), "walk", "--unit", str(ROOT / "samples" / "engine_61.toml"),
        "--sheet", str(path), "--operator", "R. Alder", "--keyboard", "--plain", "--extent", extent,
    ]  # fmt: skip
    result = CliRunner().invoke(main, command, input=said)
    assert result.exit_code == 0, result.output
    return result.output


def test_the_example_passes_the_check_also_by_ear(path: Path) -> None:
    """No problem and no pair that sounds alike."""
    result = CliRunner().invoke(main, ["sheet", "check", str(path), "--sounds"])
    assert result.exit_code == 0, result.output
    assert "2 stops, 5 points, 2 readings; usable" in result.output
    assert "warning" not in result.output.replace("warning lamps", "")


def test_what_the_guide_types_logs_what_it_says(path: Path, clock: Callable[[], datetime]) -> None:
    """Eight facts, one a defect, both readings within; nothing missing, nothing in doubt."""
    walk(path, "weekly")
    with Store.open(path.parent / "data", clock=clock) as store:
        (made,) = store.walks()
        state, _ = load_walk(store, made.walk, path)
    claims = [entry.claim for entry in state.entries.values()]
    assert len(claims) == 8
    assert [c.point_id for c in claims if c.polarity == "defect"] == ["pull_cord"]
    assert sum(c.reading_id is not None for c in claims) == 2
    assert state.missing() == ()
    assert not any(entry.in_doubt for entry in state.entries.values())


def test_the_guides_daily_walk_leaves_out_the_weekly_point(path: Path) -> None:
    """The sheet has a daily extent without the pull cord."""
    assert "complete" in walk(path, "daily")
    assert load_sheet(path).points["pull_cord"].extent == "weekly"
