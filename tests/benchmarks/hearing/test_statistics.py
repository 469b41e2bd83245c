"""The statistics against published worked values and cases whose answer is plain."""

from __future__ import annotations

import importlib.util
import runpy

import pytest

from tests.benchmarks.hearing.statistics import (
    calibrate,
    percentiles,
    resampled,
    wilson,
    word_error_rate,
)
from tests.speech_data import SPEECH

needs_scipy = pytest.mark.skipif(
    importlib.util.find_spec("scipy") is None, reason="scipy, of the extra bench, makes intervals"
)


@needs_scipy
@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_intervals_are_the_published_ones(count: int, total: int, low: float, high: float) -> None:
    """Newcombe 1998, Statistics in Medicine 17:857-872, table I, method 3 (score, no correction)."""
    found = wilson(count, total)
    assert (round(found.low, 4), round(found.high, 4)) == (low, high)
    assert found.share == count / total


@needs_scipy
@pytest.mark.skipif(not (SPEECH / "score_orders.py").is_file(), reason="the speech data is not at hand")
def test_wilson_intervals_are_those_of_the_data_sets_program() -> None:
    """score_orders.py lies beside the data."""
    theirs = runpy.run_path(str(SPEECH / "score_orders.py"))["wilson"]
    for count, total in ((0, 15), (7, 15), (199, 200), (200, 200)):
        found = wilson(count, total)
        assert (found.low, found.high) == pytest.approx(theirs(count, total), abs=1e-6)


def test_calibration_error_of_a_constructed_case() -> None:
    """Ten bins of ten: posterior (k + 0.5) / 10 of which k are right, so every bin is 0.05 off."""
    posteriors = [(k + 0.5) / 10 for k in range(10) for _ in range(10)]
    right = [i < k for k in range(10) for i in range(10)]
    found = calibrate(posteriors, right)
    assert found is not None
    assert found.ece == pytest.approx(0.05)
    assert found.brier == pytest.approx(
        sum((p - r) ** 2 for p, r in zip(posteriors, right, strict=True)) / 100
    )
    assert [b.count for b in found.bins] == [10] * 10


def test_calibration_error_of_one_who_is_always_sure() -> None:
    """Posterior 1, three of four right: a quarter off, however the rows are ordered."""
    for right in ([True] * 75 + [False] * 25, [False] * 25 + [True] * 75):
        found = calibrate([1.0] * 100, right)
        assert found is not None
        assert found.ece == pytest.approx(0.25)
        assert found.brier == pytest.approx(0.25)


def test_fewer_rows_than_bins_and_none() -> None:
    """One bin a row; nothing of nothing."""
    found = calibrate([0.2, 0.9], [False, True])
    assert found is not None
    assert found.ece == pytest.approx((0.2 + 0.1) / 2)
    assert calibrate([], []) is None


@needs_scipy
def test_resampling_whole_utterances_widens_nothing_that_does_not_vary() -> None:
    """All right is all right; half and half has an interval about the middle, the same each time."""
    assert resampled([1.0] * 20).low == 1.0
    found = resampled([0.0, 1.0] * 50)
    assert found == resampled([0.0, 1.0] * 50)
    # The normal interval of 50 of 100 is 0.402 to 0.598.
    assert found.low == pytest.approx(0.402, abs=0.02)
    assert found.high == pytest.approx(0.598, abs=0.02)


def test_percentiles_interpolate() -> None:
    """Of 0 to 100 each percentile is itself."""
    found = percentiles([float(v) for v in range(101)])
    assert found is not None
    assert (found.p50, found.p95, found.p99, found.most) == (50, 95, 99, 100)
    assert percentiles([]) is None


def test_word_error_rate_counts_a_refusal_as_deletions() -> None:
    """Two words of four deleted, none else; without a reference there is no rate."""
    assert word_error_rate(["iced mocha", "dark roast"], ["iced mocha", ""]) == pytest.approx(0.5)
    assert word_error_rate([""], ["mocha"]) is None
