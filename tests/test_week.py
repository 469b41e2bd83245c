"""A week of Engine 61 through the real commands: a defect from first heard to closed.

Invented: Tolliver Bend Volunteer Fire Company, its people and what they find.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.conftest import ROOT
from voicelog import cli, running
from voicelog.commands import shop, walks
from voicelog.records.store import Store
from voicelog.sheet import load_sheet

MONDAY = datetime(2026, 11, 23, 7, 0, tzinfo=UTC)
UNIT = str(ROOT / "samples" / "engine_61.toml")
CYLINDER = "left lift cylinder"

Run = Callable[..., str]


class Week:
    """The station's clock: each day begins at seven, and each look at it takes a second."""

    def __init__(self) -> None:
        self.now = MONDAY

    def __call__(self) -> datetime:
        """Return the time and go on."""
        self.now += timedelta(seconds=1)
        return self.now

    def day(self, number: int) -> None:
        """Begin a day: 0 is Monday."""
        self.now = MONDAY + timedelta(days=number)


@pytest.fixture
def week(monkeypatch: pytest.MonkeyPatch) -> Week:
    """The clock that every command goes by."""
    clock = Week()
    for module in (walks, running, shop):
        monkeypatch.setattr(module, "now", clock)
    return clock


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run a command of voicelog on the station's record; return what it prints."""

    def command(*words: str, typed: tuple[str, ...] = (), code: int = 0) -> str:
        given = "".join(f"{line}\n" for line in typed) or None
        result = CliRunner().invoke(cli.main, ["--data", str(tmp_path / "data"), *words], input=given)
        assert result.exit_code == code, result.output
        return result.output

    return command


def walked(run: Run, operator: str, *lines: str, carried: int = 0) -> str:
    """Walk Engine 61 by keyboard: affirm the cautions, acknowledge what is carried, say the lines at
    the left front, end the walk."""
    sheet = load_sheet(ROOT / "grammars" / "engine_bay.toml")
    first = ("affirmative",) * (len(sheet.gate) + len(sheet.stops[0].gate))
    there = ("go to left front", *("affirmative",) * len(sheet.stop("left_front").gate))
    typed = (*first, *("acknowledged",) * carried, *there, *lines, "walk complete")
    return run("walk", "--unit", UNIT, "--operator", operator, "--keyboard", "--plain", typed=typed)


def test_from_first_heard_to_closed(run: Run, week: Week, tmp_path: Path) -> None:
    """Heard Monday, deferred, worse and sent to the shop, repaired, certified, acknowledged, closed."""
    walked(run, "R. Alder", f"{CYLINDER} weeping")
    assert "engine_61-d1  Engine 61: left lift cylinder weeping (class one leak)  today  heard" in run(
        "shop", "list"
    )

    week.day(1)
    run("shop", "confirm", "engine_61-d1", "--by", "M. Ruiz")
    put_off = run(
        *("shop", "defer", "engine_61-d1", "--by", "M. Ruiz", "--until", "2026-12-04"),
        *("--reason", "seal on order"),
    )
    assert "deferred until 2026-12-04 by M. Ruiz (officer): seal on order" in put_off

    week.day(2)
    second = walked(run, "J. Okafor", f"{CYLINDER} dry", carried=1)
    assert "left lift cylinder weeping, class one leak, since 2026-11-23: deferred until 2026-12-04" in second
    assert "SINCE SAID TO BE SOUND" in run("shop", "--plain")

    week.day(3)
    walked(run, "R. Alder", f"{CYLINDER} dripping", carried=1)
    worse = run("shop", "list")
    assert "dripping (class three leak)  3 days  heard" in worse and "SAID TO BE SOUND" not in worse
    run("shop", "send", "engine_61-d1", "--by", "M. Ruiz")
    refused = run("shop", "certify", "engine_61-d1", "--by", "K. Osei", code=2)
    assert "cannot be certified" in refused

    week.day(4)
    run(
        *("shop", "repair", "engine_61-d1", "--by", "K. Osei", "--findings", "rod seal cut, new seal"),
        *("--part", "1 x rod seal # 40-117", "--minutes", "95"),
    )
    run("shop", "certify", "engine_61-d1", "--by", "K. Osei")
    paths = run("shop", "order", "engine_61-d1", "--out", str(tmp_path)).split()
    page, text = (Path(path).read_text(encoding="utf-8") for path in paths)
    for order in (page, text):
        assert "rod seal # 40-117" in order and "1 h 35 min" in order

    week.day(5)
    fourth = walked(run, "J. Okafor", "where am i", f"{CYLINDER} tight", carried=1)
    assert "repair certified. Look again. Acknowledged?" in fourth
    assert "left front; next left lift cylinder" in fourth
    assert "left lift cylinder" in [
        line.split("  ")[-1].strip() for line in fourth.splitlines() if "not covered" in line
    ]
    assert run("shop", "list").rstrip().endswith("certified")

    week.day(6)
    walked(run, "R. Alder", f"{CYLINDER} dry", carried=1)
    assert run("shop", "list") == "no defect is open\n"
    history = run("shop", "show", "engine_61-d1")
    assert "closed by R. Alder (operator): looked at after the repair: dry" in history

    week.day(7)
    walked(run, "J. Okafor", f"{CYLINDER} weeping")
    assert "engine_61-d2" in run("shop", "list") and "CAME BACK" in run("shop", "list")
    assert "came back after engine_61-d1" in run("shop", "show", "engine_61-d2")

    with Store.open(tmp_path / "data", clock=week) as store:
        assert store.verify_all() == ()
        assert len(store.defects.of_unit("engine_61")) == 2
