"""The statistics of the benchmark, each a pure function.

scipy is large and only of the extra ``bench``, so it is imported where it is used.
"""

from __future__ import annotations

from dataclasses import dataclass

import jiwer
import numpy as np
import numpy.typing as npt

BINS = 10
"""Equal-mass bins of a calibration."""
RESAMPLES = 2000

Vector = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Interval:
    """A share and its 95 % interval."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Percentiles:
    """Of a sample, in its unit; NumPy's linear interpolation between order statistics."""

    count: int
    p50: float
    p95: float
    p99: float
    most: float


@dataclass(frozen=True, slots=True)
class Bin:
    """One bin of a calibration."""

    count: int
    posterior: float
    """Mean of the posteriors in it."""
    right: float
    """The share that was right."""

    @property
    def interval(self) -> Interval:
        """The share that was right, with its Wilson interval."""
        return wilson(round(self.right * self.count), self.count)


@dataclass(frozen=True, slots=True)
class Calibration:
    """How posteriors compare with what was right."""

    count: int
    ece: float
    """Expected calibration error: mean over the bins, weighted by count, of |posterior - right|."""
    brier: float
    """Mean squared difference of posterior and right (1) or not (0)."""
    posterior: float
    right: float
    bins: tuple[Bin, ...]


def wilson(count: int, total: int) -> Interval:
    """Return a share with its Wilson score interval, 95 % (Wilson 1927); total is at least 1."""
    from scipy import stats

    found = stats.binomtest(count, total).proportion_ci(confidence_level=0.95, method="wilson")
    return Interval(count / total, float(found.low), float(found.high))


def resampled(shares: list[float], seed: int = 1) -> Interval:
    """Return the mean of per-utterance shares with the 95 % percentile interval of a bootstrap.

    The same utterance at several ratios is not several independent ones; resampling whole
    utterances allows for that.
    """
    from scipy import stats

    mean = float(np.mean(shares))
    if len(set(shares)) == 1:
        return Interval(mean, mean, mean)
    found = stats.bootstrap(
        (np.array(shares),),
        np.mean,
        n_resamples=RESAMPLES,
        method="percentile",
        rng=np.random.default_rng(seed),
    ).confidence_interval
    return Interval(mean, float(found.low), float(found.high))


def percentiles(values: list[float]) -> Percentiles | None:
    """Return percentiles; None of nothing."""
    if not values:
        return None
    p50, p95, p99, most = (float(v) for v in np.percentile(values, [50, 95, 99, 100]))
    return Percentiles(len(values), p50, p95, p99, most)


def word_error_rate(references: list[str], hypotheses: list[str]) -> float | None:
    """Return the word error rate over all pairs with a reference; None without one."""
    pairs = [(r, h) for r, h in zip(references, hypotheses, strict=True) if r]
    if not pairs:
        return None
    return float(jiwer.wer([r for r, _ in pairs], [h for _, h in pairs]))


def calibrate(posteriors: list[float], right: list[bool], bins: int = BINS) -> Calibration | None:
    """Return the calibration in equal-mass bins; None of nothing.

    Sorted by posterior and cut into ``bins`` parts of sizes that differ by one at most. Equal
    posteriors are told apart by nothing, so those that a cut would part share their mean rate.
    """
    if not posteriors:
        return None
    order = np.argsort(posteriors, kind="stable")
    p: Vector = np.array(posteriors, dtype=float)[order]
    hit: Vector = np.array(right, dtype=float)[order]
    _, group = np.unique(p, return_inverse=True)
    rate = (np.bincount(group, hit) / np.bincount(group))[group]
    parts = [part for part in np.array_split(np.arange(len(p)), bins) if len(part)]
    found = tuple(Bin(len(part), float(p[part].mean()), float(rate[part].mean())) for part in parts)
    gaps = [abs(float(p[part].mean() - rate[part].mean())) * len(part) for part in parts]
    return Calibration(
        len(p),
        sum(gaps) / len(p),
        float(np.square(p - hit).mean()),
        float(p.mean()),
        float(hit.mean()),
        found,
    )
