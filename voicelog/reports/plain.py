"""Text from people, sheets and recognisers, made safe to show, all of it in one go.

Invariant: what comes out holds no character that moves a terminal's cursor, starts a new line,
turns the direction of writing or cannot be seen. Each such character becomes U+FFFD, so that a
reader sees that something was there.
"""

from __future__ import annotations

import dataclasses
import unicodedata
from functools import cache, lru_cache
from typing import TypeVar, cast

_Part = TypeVar("_Part")

_JOINERS = {"\u200c", "\u200d"}
"""Invisible, but without them words of several scripts are misspelt."""


@lru_cache(maxsize=4096)
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
    elif names := _fields(type(part)):  # type: ignore[arg-type]
        # Most texts are plain already; of thousands of parts only those that change are made anew.
        changed = {}
        for name in names:
            value = getattr(part, name)
            if (shown := all_plain(value)) is not value and shown != value:
                changed[name] = shown
        if changed:
            made = dataclasses.replace(part, **changed)  # type: ignore[type-var]
    return cast("_Part", made)


@cache
def _fields(kind: type) -> tuple[str, ...]:
    """Return the names of a dataclass's fields; none of any other class."""
    return tuple(f.name for f in dataclasses.fields(kind)) if dataclasses.is_dataclass(kind) else ()
