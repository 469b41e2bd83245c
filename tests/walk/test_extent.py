"""A walk's extent is in its record, and the walk is taken up and reviewed with the same points."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tests.sheet.making import SHEET, UNIT, written
from voicelog.cli import main
from voicelog.errors import WalkError
from voicelog.loading import load_walk
from voicelog.records.store import Store
from voicelog.walk.events import EVENT, EntryLogged, WalkStarted

WEEKLY = SHEET.replace('id = "belt"', 'id = "belt"\nextent = "weekly"').replace("cautions", "# cautions")


@pytest.fixture
def walk(tmp_path: Path) -> Callable[..., Result]:
    written(tmp_path, WEEKLY)
    (tmp_path / "unit.toml").write_text(UNIT, encoding="utf-8")

    def run(*options: str, said: str = "") -> Result:
        command = [
            "--data", str(tmp_path / "data"), "walk", "--unit", str(tmp_path / "unit.toml"),
            "--operator", "R. Alder", "--keyboard", "--plain", *options,
        ]  # fmt: skip
        return CliRunner().invoke(main, command, input=said)

    return run


def test_the_record_says_which_points_the_walk_was_of(
    walk: Callable[..., Result], tmp_path: Path, clock: Callable[[], datetime]
) -> None:
    """A daily walk does not ask for weekly points, and the review of it does not miss them."""
    walk(said="left lift cylinder dry\ncab latch dry\nwalk complete\n")
    walk("--extent", "weekly", said="walk complete\n")
    with Store.open(tmp_path / "data", clock=clock) as store:
        daily, weekly = (load_walk(store, w.walk, tmp_path / "bay.toml") for w in store.walks())
    assert daily[0].started is not None and weekly[0].started is not None
    assert (daily[0].started.extent, weekly[0].started.extent) == ("daily", "weekly")
    assert daily[0].missing() == ()
    assert list(weekly[1].points) == ["cylinder", "belt", "latch"]


def test_a_point_that_the_walk_did_not_have_is_told(
    walk: Callable[..., Result], tmp_path: Path, clock: Callable[[], datetime]
) -> None:
    """A record in which a daily walk speaks of a weekly point is named as such; no traceback."""
    walk(said="cab latch dry\nwalk complete\n")
    with Store.open(tmp_path / "data", clock=clock) as store:
        begun, *others = (stored.event for stored in store.events(store.walks()[0].walk))
        entry = next(event for event in others if isinstance(event, EntryLogged))
        claim = entry.claim.model_copy(update={"point_id": "belt"})
        store.append("other-1", [begun, entry.model_copy(update={"claim": claim})])
        with pytest.raises(WalkError, match="other-1 speaks of 'belt', which the sheet"):
            load_walk(store, "other-1", tmp_path / "bay.toml")


def test_an_unfinished_walk_keeps_its_extent(walk: Callable[..., Result]) -> None:
    """It is taken up as it was begun; asking for another extent says what to do."""
    walk("--extent", "weekly", said="left lift cylinder dry\n")
    again = walk(said="fan belt deflection one half\n")
    assert again.exit_code == 0, again.output
    other = walk("--extent", "daily")
    assert other.exit_code == 2
    assert "is a weekly one" in other.output and "--new" in other.output


def test_a_record_made_before_extents_is_a_daily_one() -> None:
    """A walk started without the field reads."""
    old = {
        "kind": "walk started", "unit_id": "u", "unit_name": "U", "station": "S", "identification": "",
        "sheet_id": "s", "sheet_title": "S", "sheet_sha256": "", "lexicon_sha256": "", "operator": "R. Alder",
        "recogniser": "keyboard", "model_sha256": "", "version": "0",
    }  # fmt: skip
    started = EVENT.validate_python(old)
    assert isinstance(started, WalkStarted)
    assert started.extent == "daily"
