"""`voicelog retention` names what the local policy no longer asks to be kept; an officer removes it."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.conftest import ROOT
from tests.people.making import OFFICER, PINS
from tests.records.making import Ticking
from tests.records.old_walks import old_station
from voicelog import cli, running
from voicelog.commands import across, records, shop, walks
from voicelog.commands import retention as command
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
    assert "walks are kept 24 months, their sound as long, repairs 36 months" in run("retention")
    assert "nothing is past its time" in run("retention")
    clock.now += timedelta(days=2 * 366)
    told = run("retention")
    # Nobody has signed them, so both stay; the second also for its defect.
    assert f"{first}  Engine 61" in told and "no officer has signed it with a key" in told
    assert "voicelog retention remove" not in told
    with Store.open(tmp_path / "data", clock=clock) as store:
        heard = store.defects.of_unit("engine_61")
        assert (f"{second}  Engine 61" in told) and ("which is open" in told) is bool(heard)
        assert heard and len(store.walks()) == 2 and store.verify_all() == ()


def test_an_officer_removes_through_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Told first, then done; and everything that asks for a removed walk says what became of it."""
    store, _, clock = old_station(tmp_path / "data")
    store.close()
    for module in (walks, shop, command, records, across):
        monkeypatch.setattr(module, "now", clock)
    policy = (ROOT / "grammars" / "policy.toml").read_text()
    pin = tmp_path / "pin"
    pin.write_text(PINS[OFFICER])
    pin.chmod(0o600)
    copies, copy = str(tmp_path / "copies"), str(tmp_path / "copies" / "old_1.record")

    def run(*words: str, code: int = 0) -> str:
        done = CliRunner().invoke(cli.main, ["--data", str(tmp_path / "data"), *words])
        assert done.exit_code == code, done.output
        return done.output

    remove = ("retention", "remove", "--copies", copies)
    do = (*remove, "--carry-out", "--by", OFFICER, "--pin-file", str(pin))
    assert "nothing is removed by an example" in run(*remove, code=2)
    (tmp_path / "data" / "policy.toml").write_text(policy)
    assert "how long sound is kept" in run(*remove, "--sound", code=2)
    inside = ("retention", "remove", "--copies", str(tmp_path / "data" / "copies"))
    assert "within the record's own folder" in run(*inside, code=2)
    run("retention", "remove", code=2)
    run(*remove, "--no-copies", code=2)
    told = run(*remove)
    assert "to remove: 2 walks, 2 sound clips" in told and "nothing was removed: add --carry-out" in told
    assert "old_3" in told and "latest check of its kind" in told and not Path(copies).exists()
    assert "A removal needs a reason" in run(*do, code=2)
    told = run(*do, "--reason", "time past")
    assert f"{copy}: copied and proved" in told and "removed: 2 walks of Engine 61, by M. Ruiz" in told
    assert "nothing can be removed" in run(*do, "--reason", "again")

    by = "removed under retention on 2029-11-2"
    assert by in run("verify") and by in run("verify", "old_1") and copy in run("verify", "old_1")
    assert "the file holds it to its last event" in run("verify", copy)
    with Store.open(tmp_path / "data", clock=clock) as opened:
        gone = opened.removal.walk("old_1")
        assert gone is not None
    # What was printed of it is not looked for in vain: its last hash is told.
    for where in ((), ("old_1",), (copy,)):
        run("verify", *where, "--holds", gone.walk.head[:16])
        run("verify", *where, "--holds", "0123456789abcdef", code=1)
    assert run("walks").split()[0] == "old_3" and copy in run("walks", "--removed")
    for words in (
        ("review", "old_1", "--plain"),
        ("report", "old_1"),
        ("export", "old_1", "--out", str(tmp_path / "x")),
        (*remove, "old_1"),
    ):
        assert by in (said := run(*words, code=2)) and f"voicelog verify {copy}" in said
    assert "there is no walk old_9" in run("verify", "old_9", code=2)
    out = ("--out", str(tmp_path / "out"))
    page = Path(run("history", "engine_61", *out).strip()).read_text()
    assert "2 walks of 2026-11-25 to 2026-11-26, under retention" in page
    run("overview", *out)
    run("report", "old_3", *out)
    assert ", whole" in run("backup", str(tmp_path / "backup"))
