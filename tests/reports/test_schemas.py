"""The JSON forms hold what their schemas say; judged by the library jsonschema."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest

from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.reports.across_tables import (
    HISTORY_FORMAT,
    OVERVIEW_FORMAT,
    history_tables,
    json_tables,
    overview_tables,
)
from voicelog.reports.schema import FOLDER, NAMES, as_text, schema
from voicelog.reports.tables import json_report
from voicelog.reports.write import walk_contents
from voicelog.sheet.model import Sheet
from voicelog.walk.state import fold

from .making import WALK
from .test_across import Station, station
from .test_pictures import VALUES, series

Record = tuple[Store, dict[str, Clip]]
__all__ = ["station"]


def judged(name: str, text: str) -> None:
    """Have a file judged against its schema, times as times."""
    known = schema(name)
    checker = jsonschema.Draft202012Validator.FORMAT_CHECKER
    jsonschema.Draft202012Validator(known, format_checker=checker).validate(json.loads(text))


@pytest.mark.parametrize("name", NAMES)
def test_the_schemas_on_the_disk_are_those_of_the_classes(name: str) -> None:
    """Each is a schema by the standard's own schema; `python -m voicelog.reports.schema` writes them."""
    written = (FOLDER / f"{name}.schema.json").read_text(encoding="utf-8")
    assert written == as_text(name), "write them anew: python -m voicelog.reports.schema"
    jsonschema.Draft202012Validator.check_schema(json.loads(written))


def test_a_walks_json_is_as_its_schema_says(record: Record, sheet: Sheet) -> None:
    """With readings over time in it; a field more, less or of another kind is refused."""
    store, _ = record
    contents = replace(walk_contents(store, WALK, sheet), series=(series(sheet, VALUES),))
    state = fold(sheet, ((s.at, s.event) for s in store.events(WALK)))
    made = json_report(state, WALK, contents)
    judged("walk_report", made)
    wrong: tuple[dict[str, object], ...] = (
        {"extra": ""},
        {"rows": [{}]},
        {"walk": 1},
        {"format": "another"},
    )
    for spoilt in wrong:
        with pytest.raises(jsonschema.ValidationError):
            judged("walk_report", json.dumps({**json.loads(made), **spoilt}))


def test_tables_across_walks_are_as_their_schemas_say(station: Station) -> None:
    """Both files, as they are written."""
    tables = history_tables(station.history())
    judged("unit_history", json_tables(HISTORY_FORMAT, {"unit": "engine_61"}, tables))
    seen = overview_tables(station.overview())
    judged("station_overview", json_tables(OVERVIEW_FORMAT, {"printed": "now"}, seen))
