"""The wall clock, passed in wherever a time is needed."""

from __future__ import annotations

from datetime import datetime


def now() -> datetime:
    """Return the time with the local zone's offset."""
    return datetime.now().astimezone()
