"""The tamper table: every alteration tried on a small record, and whether it was found.

    python -m tests.benchmarks.tamper_table

Exit code 1 when an alteration was not found that is not among those that nothing rests on.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from itertools import chain
from pathlib import Path

from tabulate import tabulate

from tests.records.tampering import NOT_EVIDENCE, columns_of, in_an_export, in_the_files, in_the_tables, make


def main() -> None:
    """Make a record, alter it in every way, and print what was found."""
    tried: Counter[str] = Counter()
    found: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name, make(Path(name) / "data") as store:
        for outcome in chain(in_the_tables(store), in_the_files(store), in_an_export(store)):
            tried[outcome.what] += 1
            found[outcome.what] += bool(outcome.found)
    rows = []
    for what, count in tried.items():
        why = NOT_EVIDENCE.get(columns_of(what), "")
        verdict = "found" if found[what] == count else f"NOT FOUND {why}".strip()
        rows.append((what, count, found[what], verdict))
    print(tabulate(rows, headers=("alteration", "tried", "found", "")))
    missed = [row for row in rows if row[1] != row[2] and columns_of(row[0]) not in NOT_EVIDENCE]
    print(f"{sum(tried.values())} alterations, {sum(found.values())} found")
    sys.exit(1 if missed else 0)


if __name__ == "__main__":
    main()
