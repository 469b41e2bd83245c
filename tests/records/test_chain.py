"""The canonical form, the hashes, and events as they come back."""

from __future__ import annotations

import hashlib
import json
import types
import typing
from datetime import timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from voicelog.errors import RecordError
from voicelog.records.chain import FIRST_PREVIOUS, body_of, canonical, link, set_back
from voicelog.records.store import Store
from voicelog.walk import events as event_types
from voicelog.walk.signable import misfit, open_doubts

from .making import WALK, Ticking, entry, signed, started


def test_properties_are_sorted_as_in_the_rfc() -> None:
    """Properties are sorted by UTF-16 code units (example of RFC 8785, section 3.2.3, from memory)."""
    data = json.loads(
        r"""{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One", "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis"}"""
    )
    assert list(json.loads(canonical(data)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), "\ud800", 2**60])
def test_what_json_cannot_hold_is_refused(bad: object) -> None:
    """What has no canonical form is refused in plain words, not kept in some other form."""
    with pytest.raises(RecordError) as caught:
        canonical({"value": bad})
    assert caught.value.remedy


def test_the_chain_is_sha256_over_canonical_json(store: Store) -> None:
    """Hashes can be had with the standard library's json and hashlib alone, without voicelog."""
    store.append(WALK, [started()])
    store.append(WALK, [entry(16), entry(17)])
    previous = "0" * 64
    for stored in store.events(WALK):
        parts = {
            "walk": WALK,
            "number": stored.number,
            "at": stored.at.isoformat(),
            "kind": stored.event.kind,
            "body": json.loads(body_of(stored.event)),
            "previous": previous,
        }
        # For ASCII names, and numbers like 0.875, sorted compact JSON is the canonical form.
        text = json.dumps(parts, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        assert stored.previous == previous
        assert stored.hash == hashlib.sha256(text.encode()).hexdigest()
        previous = stored.hash
    assert store.head(WALK) == previous


@pytest.mark.parametrize(
    "change",
    [
        {"walk": "other"},
        {"number": 2},
        {"at": "2026-11-25T07:10:01-05:00"},
        {"kind": "walk resumed"},
        {"body": '{"a":2}'},
        {"previous": "1" * 64},
    ],
)
def test_every_part_is_in_the_hash(change: dict[str, Any]) -> None:
    """A change of any one part gives another hash."""
    parts: dict[str, Any] = {
        "walk": "w",
        "number": 1,
        "at": "2026-11-25T07:10:00-05:00",
        "kind": "walk started",
        "body": '{"a":1}',
        "previous": FIRST_PREVIOUS,
    }
    assert link(**parts) != link(**(parts | change))


def _any_of(annotation: Any) -> st.SearchStrategy[Any]:
    """Return a strategy for values of an event's field."""
    plain: dict[Any, st.SearchStrategy[Any]] = {
        str: st.text(max_size=12),
        bool: st.booleans(),
        int: st.integers(0, 2**53 - 1),
        float: st.floats(allow_nan=False, allow_infinity=False).map(lambda x: x or 0.0),
        Fraction: st.fractions(),
        type(None): st.none(),
    }
    if annotation in plain:
        return plain[annotation]
    origin, parts = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is typing.Literal:
        return st.sampled_from(parts)
    if origin in (typing.Union, types.UnionType):
        return st.one_of(*(_any_of(part) for part in parts))
    if origin is tuple:
        return st.lists(_any_of(parts[0]), max_size=2).map(tuple)
    if origin is dict:
        return st.dictionaries(_any_of(parts[0]), _any_of(parts[1]), max_size=3)
    assert issubclass(annotation, BaseModel), annotation
    fields = typing.get_type_hints(annotation)
    return st.builds(annotation, **{name: _any_of(fields[name]) for name in annotation.model_fields})


EVENTS = [
    kind
    for kind in vars(event_types).values()
    if isinstance(kind, type) and issubclass(kind, BaseModel) and "kind" in kind.model_fields
]


def test_every_kind_of_event_is_tried() -> None:
    """The strategies below cover each member of the union of events."""
    members = typing.get_args(typing.get_args(event_types.Event)[0])
    assert set(EVENTS) == set(members)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    batch=st.lists(
        st.one_of(
            *(
                _any_of(kind)
                for kind in EVENTS
                if kind not in (event_types.WalkStarted, event_types.SignedOff)
            )
        ),
        max_size=3,
    ),
    first=_any_of(event_types.WalkStarted),
    signature=_any_of(event_types.SignedOff),
)
def test_events_come_back_as_they_were(store: Store, batch: list[Any], first: Any, signature: Any) -> None:
    """Any event, read on another connection, equals what was appended, and the chain holds."""
    walk = store.new_walk_id("engine_61", Ticking()())
    # Nobody is on record here, so nothing is sealed with a key.
    first, signature = (event.model_copy(update={"key_id": ""}) for event in (first, signature))
    batch = [_without_clip(event) for event in batch]
    store.append(walk, [first, *batch])
    last = signature.model_copy(update={"head": store.head(walk)})
    kept = [first, *batch, last]
    if open_doubts(batch) or misfit(last):
        with pytest.raises(RecordError, match=r"signature|open doubt"):
            store.append(walk, [last])
        kept.pop()
    else:
        store.append(walk, [last])
    with Store.open(store.folder, clock=Ticking()) as second:
        assert [stored.event for stored in second.events(walk)] == kept
        assert second.verify(walk) == ()


def _without_clip(event: Any) -> Any:
    """Return the event as if typed and not sealed, for these tests keep no sound and no keys."""
    if getattr(event, "key_id", ""):
        event = event.model_copy(update={"key_id": ""})
    if getattr(event, "heard", None) is None:
        return event
    return event.model_copy(update={"heard": event.heard.model_copy(update={"clip": None})})


def test_a_signature_over_an_older_head_is_refused(store: Store) -> None:
    """What was signed is what was looked at: an event that came in between makes it void."""
    (first,) = store.append(WALK, [started()])
    store.append(WALK, [entry(1)])
    with pytest.raises(RecordError, match="went on"):
        store.append(WALK, [signed(first.hash)])
    store.append(WALK, [signed(store.head(WALK))])
    assert store.verify(WALK) == ()


def test_a_clock_set_back_is_a_remark(tmp_path: Path) -> None:
    """Events keep their order and their true times, and the record stays whole."""
    clock = Ticking()
    with Store.open(tmp_path, clock=clock) as store:
        store.append(WALK, [started()])
        assert not store.clock_set_back(WALK)
        clock.now -= timedelta(hours=1)
        store.append(WALK, [entry(1)])
        first, second = store.events(WALK)
        assert second.at < first.at
        assert set_back((first, second)) == (2,)
        assert store.clock_set_back(WALK)
        assert store.verify(WALK) == ()
