"""What a run leaves can be read back, joined and summed up."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks.hearing.making import SETTINGS, made_up, session
from tests.benchmarks.hearing.results import Journal, read_results, write_results
from tests.benchmarks.hearing.running import pending
from tests.benchmarks.hearing.scoring import Outcome
from tests.benchmarks.hearing.summary import summarise
from tests.benchmarks.hearing.table import text_report
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


def test_the_figures_of_a_run() -> None:
    """Worked by hand from the made-up run."""
    ours, other = summarise(made_up()).systems
    assert [c.name for c in ours.conditions] == ["clean", "12 dB", "6 dB", "0 dB"]
    assert ours.conditions[3].cell.counts == {Outcome.RIGHT: 1, Outcome.REFUSED: 1, Outcome.WRONG: 0}
    assert ours.average is not None
    assert (ours.average.count, ours.average.right.share) == (4, 1.0)
    assert other.average is not None
    assert other.average.counts[Outcome.WRONG] == 2
    assert other.average.wer == pytest.approx(4 / 8)  # "dark roast" missing twice, of 2 x 4 words
    assert other.average_resampled is not None
    assert other.average_resampled.share == 0.5
    assert ours.real_time == pytest.approx((0.5 + 1.5) / (3 + 7))
    assert ours.latency.short is not None and ours.latency.long is not None
    assert (ours.latency.short.p50, ours.latency.long.p50) == (0.5, 1.5)
    assert (ours.ready_s, ours.first_answer_s, ours.peak_mb) == (2.0, 3.0, 400.0)
    every = ours.certainty[0]
    assert every.utterances is not None and every.slots is not None
    # A refused utterance counts too: seven at 0.9 and one at 0.4, all with right slots.
    assert every.utterances.brier == pytest.approx((7 * 0.1**2 + 0.6**2) / 8)
    assert (every.utterances.count, every.slots.count) == (8, 12)
    assert every.slots.ece == pytest.approx(0.05)
    assert not other.certainty


def test_ours_is_compared_with_each_other_system() -> None:
    """Ours over the other's."""
    (ratios,) = summarise(made_up()).ratios
    assert ratios.figures["peak memory"] == 2.0
    assert ratios.figures["max"] == 1.5
    assert ratios.figures["right"] == 2.0


def test_times_of_processes_that_ran_at_once_are_not_compared() -> None:
    """They are marked, and no ratio of them is given."""
    results = made_up()
    sessions = tuple(s.model_copy(update={"comparable": False}) for s in results.sessions)
    results = results.model_copy(update={"sessions": sessions})
    summary = summarise(results)
    assert set(summary.ratios[0].figures) == {"peak memory", "right", "wrong"}
    assert "NOT COMPARABLE" in text_report(results, summary)


def test_the_page_is_whole_and_needs_nothing_else() -> None:
    """A picture for accuracy, speed, cost and calibration, each with words, and no address."""
    pytest.importorskip("matplotlib", reason="matplotlib, of the extra bench, draws the page")
    import html5lib

    from tests.benchmarks.hearing.page import html_page

    page = html_page(made_up(), summarise(made_up()))
    assert page == html_page(made_up(), summarise(made_up()))
    tree = html5lib.HTMLParser(namespaceHTMLElements=False).parse(page)
    pictures = list(tree.iter("img"))
    assert len(pictures) == 4
    assert all(p.get("alt") and p.get("src", "").startswith("data:image/svg+xml") for p in pictures)
    assert not list(tree.iter("script")) and not list(tree.iter("link"))
