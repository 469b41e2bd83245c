"""What a run leaves can be read back and joined."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks.hearing.making import SETTINGS, made_up, session
from tests.benchmarks.hearing.results import Journal, read_results, write_results
from tests.benchmarks.hearing.running import pending
from voicelog.errors import VoicelogError


def test_results_are_read_as_they_were_written(tmp_path: Path) -> None:
    """Every field of every row."""
    write_results(made_up(), tmp_path / "results.json")
    assert read_results(tmp_path / "results.json") == made_up()


def test_what_is_no_result_is_said(tmp_path: Path) -> None:
    """No traceback for a wrong file."""
    (tmp_path / "x.json").write_text('{"rows": 3}')
    with pytest.raises(VoicelogError, match="no results of this benchmark"):
        read_results(tmp_path / "x.json")


def test_an_interrupted_run_goes_on_where_it_stood(tmp_path: Path) -> None:
    """Also when it was stopped in the middle of a line, which is then decoded again."""
    rows = made_up().rows
    path = tmp_path / "rows.jsonl"
    journal = Journal(path)
    journal.open(SETTINGS)
    journal.add("session", session("voicelog", 1.0))
    for row in rows[:5]:
        journal.add("row", row)
    path.write_text(path.read_text()[:-20])
    again = Journal(path)
    assert again.rows == list(rows[:4])
    assert again.settings == SETTINGS
    again.open(SETTINGS)
    left = pending(SETTINGS, again)
    assert sum(map(len, left.values())) == len(rows) - 4
    for row in rows[4:]:
        again.add("row", row)
    assert not any(pending(SETTINGS, Journal(path)).values())


def test_a_system_can_be_measured_anew(tmp_path: Path) -> None:
    """Its rows are dropped, the others' are kept."""
    journal = Journal(tmp_path / "rows.jsonl")
    journal.open(SETTINGS)
    for row in made_up().rows:
        journal.add("row", row)
    journal.keep_only({"whisper"})
    assert {row.system for row in journal.rows} == {"whisper"}
    assert len(journal.rows) == 8
