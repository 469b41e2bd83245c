"""Whether a record still holds what was printed of it: the one thing that shows a rollback.

A whole record that was put back to what it truly was last week proves as whole as it did then. Only
a hash kept elsewhere, on a printed report or in an export, shows that something was there since.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from sqlite_utils import Database

from voicelog.errors import RecordError

FEWEST = 16
"""Hex digits that a printed hash must be given with: 64 bits."""
_CHAINS = ("events", "defect_events", "people")


class Newest(NamedTuple):
    """The event that was recorded last of all walks."""

    hash: str
    walk: str
    at: str


def digits_of(printed: str) -> str:
    """Return a hash as it stands in a record, of one that was copied from paper; RecordError for none."""
    digits = "".join(printed.split()).lower()
    if not re.fullmatch(rf"[0-9a-f]{{{FEWEST},64}}", digits):
        raise RecordError(
            f"'{printed}' is no hash that a report shows.",
            where="--holds",
            remedy=f"Give its digits, {FEWEST} at least: 0 to 9 and a to f, with or without spaces.",
        )
    return digits


def not_held(wanted: Iterable[str], hashes: Iterable[str]) -> Iterator[str]:
    """Yield a problem for each of the digits ``wanted`` that no hash begins with."""
    there = tuple(hashes)
    return (_gone(digits) for digits in wanted if not any(h.startswith(digits) for h in there))


def not_held_by(db: Database, wanted: Iterable[str]) -> Iterator[str]:
    """Yield a problem for each of the digits ``wanted`` that no event of the record begins with."""
    for digits in wanted:
        # Of the letters that hashes have, f is the last: an index answers.
        last = digits.ljust(64, "f")
        if not any(
            list(db.query(f"SELECT 1 FROM {chain} WHERE hash BETWEEN ? AND ? LIMIT 1", (digits, last)))
            for chain in _CHAINS
        ):
            yield _gone(digits)


def _gone(digits: str) -> str:
    return (
        f"The event with the hash {digits} is not here: it was cut off, or made anew, or an older state of "
        "the record was put back."
    )


def newest(db: Database) -> Newest | None:
    """Return the event that was recorded last; None where there is none."""
    found = list(db.query("SELECT hash, walk, at FROM events ORDER BY seq DESC LIMIT 1"))
    return Newest(**found[0]) if found else None
