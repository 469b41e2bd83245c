"""`voicelog retention` names what the local policy no longer asks to be kept, and removes nothing."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.conftest import ROOT
from tests.records.making import Ticking
from voicelog import cli, running
from voicelog.commands import retention as command
from voicelog.commands import shop, walks
from voicelog.records.store import Store

UNIT = str(ROOT / "samples" / "engine_61.toml")


def test_a_walk_is_listed_when_its_time_is_past(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After the 24 months of the example policy, and not before; its open defect holds it back."""
    clock = Ticking()
    for module in (walks, running, shop, command):
        monkeypatch.setattr(module, "now", clock)

    def run(*words: str, typed: str | None = None) -> str:
        done = CliRunner().invoke(cli.main, ["--data", str(tmp_path / "data"), *words], input=typed)
        assert done.exit_code == 0, done.output
        return done.output

    walk = ("walk", "--unit", UNIT, "--operator", "R. Alder", "--keyboard", "--plain")
    run(*walk, typed="walk complete\n")
    run(
        *walk,
        typed="go to left front\n" + "affirmative\n" * 12 + "left lift cylinder dripping\nwalk complete\n",
    )
    first, second = (line.split()[0] for line in run("walks").splitlines())
    assert "walks are kept 24 months, repairs 36 months" in run("retention")
    assert "nothing is past its time" in run("retention")
    clock.now += timedelta(days=2 * 366)
    told = run("retention")
    assert f"{first}  Engine 61" in told and "voicelog removes nothing" in told
    with Store.open(tmp_path / "data", clock=clock) as store:
        heard = store.defects.of_unit("engine_61")
        assert (second in told) is not bool(heard)
        assert heard and len(store.walks()) == 2 and store.verify_all() == ()
