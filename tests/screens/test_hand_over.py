"""Handing the walk over at the screen and by typed lines, through what an operator has before them."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from textual.widgets import Input

from tests.conftest import ROOT
from tests.opening import without_gate
from tests.people.making import station
from tests.walk.reviewing import sheet
from voicelog import cli
from voicelog.conduct import Conductor
from voicelog.handing_over import HandingOver
from voicelog.screens.walk_screen import WalkApp
from voicelog.sheet import load_unit
from voicelog.walk.replies import Update

UNIT = ROOT / "samples" / "engine_61.toml"


@pytest.mark.asyncio
async def test_the_key_stands_by_and_asks_who_takes_over(tmp_path: Path) -> None:
    """While the form is open nothing is logged; a refused name is told in it; then the walk is theirs."""
    with station(tmp_path / "data") as store:
        conductor = Conductor(store, without_gate(sheet()), load_unit(UNIT), None, clock=store._clock)
        first = conductor.begin("R. Alder")
        hands = HandingOver(store, conductor)

        def take(name: str, pin: str) -> Update:
            return hands.to(name, lambda: pin)

        app = WalkApp(
            lambda post: post(first),
            on_typed=conductor.typed,
            on_command=conductor.command,
            on_hand_over=take,
            title="Engine 61",
        )
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("o")
            for _ in range(200):
                if conductor.state.standing_by:
                    break
                await pilot.pause(0.01)
            assert conductor.state.standing_by
            app.screen.query_one("#name", Input).value = "R. Alder"
            await pilot.press("enter")
            assert type(app.screen).__name__ == "PersonForm"
            app.screen.query_one("#name", Input).value = "J. Okafor"
            await pilot.press("enter")
            await pilot.pause()
            assert type(app.screen).__name__ != "PersonForm"
            assert conductor.state.operators == ("R. Alder", "J. Okafor")
            assert not conductor.state.standing_by


def test_typed_lines_hand_over_with_a_pin(tmp_path: Path) -> None:
    """Without the screen the name stands in the line and the PIN in the next; a wrong one changes nothing."""
    data = tmp_path / "data"
    pins = {}
    for name, pin in (("M. Ruiz", "482913"), ("R. Alder", "770215"), ("J. Okafor", "605142")):
        pins[name] = tmp_path / f"{pin}.pin"
        pins[name].write_text(pin)
        pins[name].chmod(0o600)

    def run(*words: str, typed: str = "") -> str:
        done = CliRunner().invoke(cli.main, ["--data", str(data), *words], input=typed)
        assert done.exit_code == 0, done.output
        return done.output

    run("people", "add", "M. Ruiz", "--role", "officer", "--new-pin-file", str(pins["M. Ruiz"]))
    for name in ("R. Alder", "J. Okafor"):
        by = ("--by", "M. Ruiz", "--pin-file", str(pins["M. Ruiz"]), "--new-pin-file", str(pins[name]))
        run("people", "add", name, "--role", "operator", *by)
    lines = "hand over to J. Okafor\n111111\nhand over to J. Okafor\n605142\nwhere am i\n"
    walk = ("walk", "--unit", str(UNIT), "--operator", "R. Alder", "--keyboard", "--plain")
    told = run(*walk, "--pin-file", str(pins["R. Alder"]), typed=lines)
    assert "not handed over: this is not the PIN of J. Okafor" in told
    assert "handed over to J. Okafor" in told
    assert "whole" in run("verify")
