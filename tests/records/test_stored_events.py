"""What was on record before is read as ever, and written as it was but for fields that came since."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from voicelog.defects.events import DEFECT_EVENT
from voicelog.people.events import PERSON_EVENT
from voicelog.records.chain import canonical
from voicelog.walk.events import EVENT

GOLDEN = Path(__file__).parent / "golden" / "events.jsonl"
"""Of each kind of event two lines: with every field filled in, and with those it needs only."""
READ: dict[str, TypeAdapter[Any]] = {"walk": EVENT, "defect": DEFECT_EVENT, "person": PERSON_EVENT}


def test_every_kind_of_event_is_read_and_written_as_before() -> None:
    """No field of the old text is lost, renamed or worded otherwise, at any depth."""
    lines = [json.loads(line) for line in GOLDEN.read_text().splitlines()]
    assert len({json.loads(body)["kind"] for _, body in lines}) > 50
    for name, body in lines:
        event = READ[name].validate_json(body)
        written = json.loads(canonical(READ[name].dump_python(event, mode="json")))
        assert _of(json.loads(body), written) == json.loads(body)


def _of(old: Any, written: Any) -> Any:
    """Return of what is written the fields that the old text has."""
    if isinstance(old, dict):
        return {name: _of(value, written[name]) for name, value in old.items()}
    if isinstance(old, list):
        return [_of(*pair) for pair in zip(old, written, strict=True)]
    return written
