"""Whether two names are one person's. Pure."""

from __future__ import annotations


def same_person(one: str, other: str) -> bool:
    """Return whether two names are the same but for case and spaces."""
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()
