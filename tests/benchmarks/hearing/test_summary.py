"""What a run is summed up to, and how that is shown."""

from __future__ import annotations

import pytest

from tests.benchmarks.hearing.making import made_up
from tests.benchmarks.hearing.scoring import Outcome
from tests.benchmarks.hearing.summary import summarise
from tests.benchmarks.hearing.table import text_report

pytest.importorskip("scipy", reason="scipy, of the extra bench, makes intervals")


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
