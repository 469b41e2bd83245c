"""Dialogues as tables: what is heard, what is said back, and what is on record then."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.opening import affirm_all, without_gate
from tests.walk.conftest import Begin
from tests.walk.saying import next_walk, replies
from voicelog.sheet.model import Sheet

_TABLES = sorted((Path(__file__).parent / "dialogues").glob("*.toml"))
WALKS = [
    pytest.param(walk, id=f"{path.stem}: {walk['name']}")
    for path in _TABLES
    for walk in tomllib.loads(path.read_text(encoding="utf-8"))["walk"]
]


@pytest.mark.parametrize("table", WALKS)
def test_a_dialogue_goes_as_its_table_says(begin: Begin, small_bay: Sheet, table: dict[str, Any]) -> None:
    """Every utterance gives exactly the replies and the events of its line."""
    saying = begin(small_bay if table.get("gated") else without_gate(small_bay))
    if "before" in table:
        saying = next_walk(saying, table["before"], table.get("repaired", ()))
    if table.get("open"):
        affirm_all(saying.walk)
    for phrase in table.get("begin", ()):
        assert saying.say(phrase).replies
    for line in table["line"]:
        before = len(saying.events)
        heard = [(text, p) for text, p in line.get("heard", ((line.get("say"), 1.0),))]
        update = saying.say(*heard, free=line.get("free", ""))
        assert replies(update) == line["reply"], heard
        assert [event.kind for event in saying.events[before:]] == line["event"], heard
