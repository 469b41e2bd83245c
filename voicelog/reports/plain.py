"""Text from people, sheets and recognisers, made safe to show, all of it in one go.

Invariant: what comes out holds no character that moves a terminal's cursor, starts a new line,
turns the direction of writing or cannot be seen. Each such character becomes U+FFFD, so that a
reader sees that something was there.
"""

from __future__ import annotations

import dataclasses
import unicodedata
from typing import TypeVar, cast

_Part = TypeVar("_Part")

_JOINERS = {"\u200c", "\u200d"}
"""Invisible, but without them words of several scripts are misspelt."""


def plain(text: str) -> str:
    """Return ``text`` on one line: white space as single spaces, hidden characters as U+FFFD."""
    if text.isascii() and text.isprintable():
        return " ".join(text.split())  # nothing in it is hidden; most texts are so
    return " ".join("".join(map(_shown, text)).split())


def _shown(character: str) -> str:
    if character.isspace():
        return " "
    hidden = unicodedata.category(character).startswith("C") and character not in _JOINERS
    return "\ufffd" if hidden else character


def all_plain(part: _Part) -> _Part:
    """Return ``part`` with every text in it made plain, through dataclasses and tuples."""
    made: object = part
    if isinstance(part, str):
        made = plain(part)
    elif isinstance(part, tuple):
        made = tuple(all_plain(item) for item in part)
    elif dataclasses.is_dataclass(part) and not isinstance(part, type):
        values = {f.name: all_plain(getattr(part, f.name)) for f in dataclasses.fields(part)}
        made = dataclasses.replace(part, **values)
    return cast("_Part", made)
