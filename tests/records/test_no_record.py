"""A command that only reads, or goes on with what is there, makes no data folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from voicelog.cli import main

READING = [
    ["walks"],
    ["review", "w1", "--plain"],
    ["settle", "w1", "e1", "1", "--by", "M. Ruiz"],
    ["sign", "w1", "--by", "M. Ruiz", "--decision", "out of service"],
    ["report", "w1"],
    ["verify"],
    ["verify", "w1"],
    ["export", "w1", "--out", "w1.record"],
    ["backup", "copy"],
    ["shop", "--plain"],
    ["shop", "list"],
    ["shop", "show", "engine_61-d1"],
    ["shop", "certify", "engine_61-d1", "--by", "K. Osei"],
    ["people", "list"],
    ["people", "unlock", "R. Alder", "--by", "M. Ruiz"],
    ["transcribe", "w1"],
    ["history", "engine_61"],
    ["overview"],
]


@pytest.mark.parametrize("words", READING, ids=lambda words: " ".join(words[:2]))
def test_it_says_that_there_is_no_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    """It says so, with what to do, and leaves nothing behind."""
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(main, ["--data", str(tmp_path / "data"), *words])
    assert done.exit_code == 2, done.output
    assert "here is no record here" in done.output
    assert list(tmp_path.iterdir()) == []
