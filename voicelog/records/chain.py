"""The chain of hashes that ties a walk's events together, as pure functions.

Each event's hash is the SHA-256 over the canonical JSON (RFC 8785) of
``{walk, number, at, kind, body, previous}``, where ``previous`` is the hash of the walk's event
before it, or 64 zeros for the first. Numbers run 1, 2, 3... within a walk. Whoever alters, adds,
moves or removes a line breaks the chain from there on. The chain cannot show that *all* of it was
made anew: for that, a sign-off's hash must be kept elsewhere, on paper or in a backup.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any, cast

import rfc8785
from pydantic import TypeAdapter, ValidationError

from voicelog.errors import RecordError
from voicelog.records.clips import sha256_hex
from voicelog.walk.events import EVENT, Event, Heard, SignedOff

FIRST_PREVIOUS = "0" * 64
"""What the first event of a walk has in place of the hash of an event before it."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the ``events`` table, as it is kept."""

    seq: int
    walk: str
    number: int
    at: str
    """ISO 8601 with UTC offset."""
    kind: str
    body: str
    """Canonical JSON of the event."""
    previous: str
    hash: str


@dataclass(frozen=True, slots=True)
class Stored:
    """An event as it stands in the record."""

    seq: int
    """Place among all events of the store, from 1, without gaps."""
    walk: str
    number: int
    """Place within the walk, from 1."""
    at: datetime
    """With UTC offset, from the clock as it was, even when it had been set back."""
    event: Event
    previous: str
    hash: str


def canonical(data: Any) -> bytes:
    """Return the canonical JSON (RFC 8785) of ``data`` in UTF-8.

    Raises RecordError for what JSON cannot hold: not-a-number, infinity, broken characters.
    """
    try:
        return rfc8785.dumps(data)
    except rfc8785.CanonicalizationError as error:
        raise RecordError(
            f"This cannot be kept in the record: {error}.",
            where="record",
            remedy="Say it once more, or type it without the odd characters.",
        ) from error


def body_of(event: Event) -> str:
    """Return the canonical JSON of ``event``."""
    return canonical(EVENT.dump_python(event, mode="json")).decode()


def read_json(text: str) -> Any:
    """Read JSON as RFC 8785 means it: every number is a double, also one written without a point.

    Raises ValueError for what is no JSON, and for what is nested too deeply to be any of ours.
    """
    try:
        return json.loads(text, parse_int=float)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error


def link(walk: str, number: int, at: str, kind: str, body: str, previous: str) -> str:
    """Return the hash of one event; ``body`` is its JSON text."""
    parts = {
        "walk": walk,
        "number": number,
        "at": at,
        "kind": kind,
        "body": read_json(body),
        "previous": previous,
    }
    return sha256_hex(canonical(parts))


def hash_holds(row: Row) -> bool:
    """Return whether a row is what its own hash says; False too where its text cannot be read."""
    if _plain_hash(row) == row.hash:
        return True
    try:
        return link(row.walk, row.number, row.at, row.kind, row.body, row.previous) == row.hash
    except (ValueError, RecordError):
        return False


def stored(row: Row) -> Stored:
    """Return the event of ``row``; RecordError when it cannot be read as one."""
    event, at = read_event(row, EVENT), read_time(row)
    return Stored(row.seq, row.walk, row.number, at, event, row.previous, row.hash)


def read_event(row: Row, events: TypeAdapter[Any]) -> Any:
    """Return what ``row`` holds, read by ``events``; RecordError when it cannot be read."""
    try:
        return events.validate_json(row.body)
    except ValidationError as error:
        raise _unreadable(row) from error


def read_time(row: Row) -> datetime:
    """Return when ``row`` was recorded; RecordError when it cannot be read."""
    try:
        return datetime.fromisoformat(row.at)
    except ValueError as error:
        raise _unreadable(row) from error


def _unreadable(row: Row) -> RecordError:
    return RecordError(
        f"Event {row.number} cannot be read as any event voicelog knows.",
        where=f"walk {row.walk}",
        remedy="Use the newest voicelog. If that does not help, restore the last backup.",
    )


_CLIP = re.compile(r'"clip":"([0-9a-f]{64})"')


def clip_named(row: Row) -> str | None:
    """Return the SHA-256 of the sound that a row's event came from, or None, without reading it.

    In canonical JSON no text can hold these characters: its quotation marks are escaped. Keys are in
    order there, so a group mark's ``asked`` comes first: that sound is named by its own event.
    """
    found = _CLIP.findall(row.body) if '"clip":"' in row.body else ()
    return str(found[-1]) if found else None


def clip_of(event: Event) -> str | None:
    """Return the SHA-256 of the sound that ``event`` came from, or None."""
    heard = cast("Heard | None", getattr(event, "heard", None))
    return heard.clip if heard else None


@dataclass(frozen=True, slots=True)
class Checked:
    """A chain that was gone through: what is wrong with it, and what it holds."""

    problems: tuple[str, ...]
    """In plain words and in order; empty when it is whole."""
    events: tuple[Any, ...]
    """For each row its event; None where it cannot be read, or need not be."""


def problems(rows: Sequence[Row], events: TypeAdapter[Any] = EVENT) -> tuple[str, ...]:
    """Return what is wrong with one chain's rows, as :func:`check` finds it."""
    return check(rows, events).problems


def check(
    rows: Sequence[Row], events: TypeAdapter[Any] = EVENT, unread: frozenset[str] = frozenset()
) -> Checked:
    """Go through one chain's rows.

    Events of the kinds ``unread`` are not read where their text is what was hashed: the hash shows
    that nothing was altered, and reading is what takes long. The last one is always read.

    ``events`` reads what they hold: a walk's events, unless another kind is named. ``rows`` are in
    order of their numbers. Each row is checked by itself and against the row before it, so one
    altered row gives one or two findings, not one for every row after it.
    """
    found: list[str] = []
    read: list[Any] = []
    previous, last_number, last_seq = FIRST_PREVIOUS, 0, 0
    for place, row in enumerate(rows, start=1):
        number = row.number
        if number != last_number + 1:
            found.append(_out_of_order(number, last_number))
        if row.previous != previous:
            found.append(f"The chain is broken between event {last_number} and event {number}.")
        if row.seq <= last_seq:
            found.append(f"Event {number} was moved: its line number {row.seq} is out of order.")
        problem, event = _check_row(row, events, unread, last=place == len(rows))
        if problem is not None:
            found.append(problem)
        read.append(event)
        previous, last_number, last_seq = row.hash, number, row.seq
    return Checked(tuple(found), tuple(read))


def _out_of_order(number: int, last: int) -> str:
    if number == last + 2:
        return f"Event {last + 1} is missing."
    if number > last:
        return f"Events {last + 1} to {number - 1} are missing."
    return f"There is an event with the number {number}, which is out of order."


def _check_row(
    row: Row, events: TypeAdapter[Any], unread: frozenset[str], *, last: bool
) -> tuple[str | None, Any]:
    """Return what is wrong with one row by itself, and its event, or None where it cannot be read."""
    # The text as it stands, between the other parts as RFC 8785 sorts them, is what was hashed. If
    # it is not, or if no event after it bears witness, it is gone through in full.
    if last or _plain_hash(row) != row.hash:
        try:
            whole = link(row.walk, row.number, row.at, row.kind, row.body, row.previous) == row.hash
            plain = canonical(read_json(row.body)).decode() == row.body
        except (ValueError, RecordError, RecursionError):
            return f"Event {row.number} was altered: its text cannot be read.", None
        if not whole:
            return f"Event {row.number} was altered: it does not match its own hash.", _readable(row, events)
        if not plain:
            what = f"Event {row.number} was altered: its text is not written as voicelog writes it."
            return what, _readable(row, events)
    elif row.kind in unread and f'"kind":"{row.kind}"' in row.body and _is_a_time(row.at):
        return None, None
    try:
        event = events.validate_json(row.body)
    except ValidationError:
        return _unreadable(row).what, None
    if not _is_a_time(row.at):
        return f"Event {row.number} has no time that can be read: '{row.at}'.", event
    if event.kind != row.kind:
        return f"Event {row.number} says it is '{row.kind}', but its text is '{event.kind}'.", event
    if row.kind == "signed off" and isinstance(event, SignedOff) and event.head != row.previous:
        return f"The signature of event {row.number} is not over the events before it.", event
    return None, event


def _is_a_time(text: str) -> bool:
    """Return whether it is a time with its UTC offset."""
    try:
        return datetime.fromisoformat(text).utcoffset() is not None
    except ValueError:
        return False


def _readable(row: Row, events: TypeAdapter[Any]) -> Any:
    """Return the event of a row, or None where it cannot be read."""
    try:
        return events.validate_json(row.body)
    except ValidationError:
        return None


def _plain_hash(row: Row) -> str:
    """Return the hash of a row whose text is canonical as it stands; of any other it is not its hash."""
    text = (
        f'{{"at":{_quote(row.at)},"body":{row.body},"kind":{_quote(row.kind)},"number":{row.number},'
        f'"previous":"{row.previous}","walk":{_quote(row.walk)}}}'
    )
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


# RFC 8785 writes strings as ECMAScript does: as this encoder does without escaping to ASCII.
_quote = json.encoder.encode_basestring


def set_back(events: Sequence[Stored]) -> tuple[int, ...]:
    """Return the numbers of the events whose time is before that of the event ahead of them.

    This is a remark, not a fault: the clock was set back, and the order is that of the numbers.
    """
    return tuple(later.number for earlier, later in pairwise(events) if later.at < earlier.at)
