"""Counts with their intervals, as plain text tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import TypeVar

from scipy.stats import binomtest
from tabulate import tabulate

T = TypeVar("T")


def interval(count: int, of: int) -> tuple[float, float]:
    """Return the Wilson interval, 95 %, of ``count`` in ``of``; 0 to 1 where there is nothing."""
    if not of:
        return 0.0, 1.0
    found = binomtest(count, of).proportion_ci(method="wilson")
    return float(found.low), float(found.high)


def share(count: int, of: int) -> str:
    """Return a count with its share and interval: ``12  4.0 % [2.3, 6.8]``."""
    if not of:
        return "-"
    low, high = interval(count, of)
    return f"{count}  {100 * count / of:.1f} % [{100 * low:.1f}, {100 * high:.1f}]"


def grouped(items: Iterable[T], key: Callable[[T], Hashable]) -> dict[Hashable, list[T]]:
    """Return the items by key, in order of first appearance."""
    groups: dict[Hashable, list[T]] = {}
    for item in items:
        groups.setdefault(key(item), []).append(item)
    return groups


def table(rows: Sequence[Sequence[object]], head: Sequence[str]) -> str:
    """Return a table in plain text."""
    return str(tabulate(rows, head, tablefmt="plain", disable_numparse=True))


def confusions(pairs: Iterable[tuple[str, str]], most: int = 40) -> str:
    """Return what was taken for what, the commonest first."""
    counted = Counter(pairs).most_common(most)
    return table([(n, said, taken) for (said, taken), n in counted], ("", "said", "taken for it"))


def ratio_name(ratio: float | None) -> str:
    """Return a ratio as a column's name."""
    return "clean" if ratio is None else f"{ratio:g} dB"
