"""``voicelog limits`` shows every limit with its value, source and how it is known."""

from __future__ import annotations

import json
import re
from collections import Counter

import pytest
from click.testing import CliRunner

from tests.conftest import ROOT
from voicelog.cli import main
from voicelog.sheet import load_limits, load_unit

TABLES_OF_COMMON_PRACTICE = tuple(
    table.source for table in load_limits().tables.values() if table.basis == "common practice"
)
UNIT = str(ROOT / "samples" / "engine_61.toml")


def lines(*options: str) -> list[dict[str, str]]:
    result = CliRunner().invoke(main, ["limits", "--json", *options])
    assert result.exit_code == 0, result.output
    return [json.loads(line) for line in result.output.splitlines()]


def test_every_row_of_every_table_is_shown() -> None:
    """With a value, a source, a basis, and whether it was seen or is from memory."""
    found = lines()
    shown = {(line["of"], line["applies_to"]) for line in found}
    for table in load_limits().tables.values():
        for row in table.rows:
            assert (table.name, " ".join(value for _, value in row.keys)) in shown
    for line in found:
        assert line["value"] and line["source"] and line["basis"], line
        assert line["known"] or ": " in line["of"] or line["of"] == "class of leak"


@pytest.mark.parametrize(
    ("of", "applies_to", "value", "si"),
    [
        # SI values as 49 CFR 393.47(e), 393.75 and SP 811 have them: 44.45 and 63.5 mm, 3.175 mm, 413.7 kPa.
        ("pushrod stroke", "clamp 24 standard", "at most 1 3/4 in", "at most 44.45 mm"),
        ("pushrod stroke", "clamp 30 long", "at most 2 1/2 in", "at most 63.5 mm"),
        ("tread depth", "front", "at least 1/8 in", "at least 3.175 mm"),
        ("low air warning", "FMVSS 121", "at least 60 psi", "at least about 413.7 kPa"),
        ("steering wheel play", "20 power", "at most 5 1/4 in", "at most about 133.4 mm"),
        ("belt deflection", "", "at most 1/64 in per in", ""),
    ],
)
def test_a_limit_is_shown_in_the_unit_spoken_and_in_si(of: str, applies_to: str, value: str, si: str) -> None:
    """The published millimetres are rounded; these are exact, or said to be about."""
    (line,) = [x for x in lines() if (x["of"], x["applies_to"]) == (of, applies_to)]
    assert (line["value"], line["si"]) == (value, si)


def test_what_no_published_source_stands_behind_is_listed() -> None:
    """All of it and nothing else, those of the shipped sheets included."""
    found = lines("--no-source")
    assert {line["basis"] for line in found} == {"common practice"}
    assert any(": " in line["of"] for line in found)
    assert len(found) == len([line for line in lines() if line["basis"] == "common practice"])


def test_every_figure_that_a_sheet_writes_itself_is_listed_without_a_unit() -> None:
    """As often as it stands in the files, though some sheets can only be walked with a unit."""
    unit = load_unit(UNIT)
    written = {
        name: (ROOT / "grammars" / f"{name}.toml")
        .read_text(encoding="utf-8")
        .count('basis = "common practice"')
        for name in unit.sheets
    }
    shown = Counter(
        line["of"].split(":")[0]
        for line in lines("--no-source")
        if ": " in line["of"] and not line["source"].startswith(TABLES_OF_COMMON_PRACTICE)
    )
    assert {name: shown[name] for name in written} == written


def test_a_units_own_limits_are_told_with_what_they_replace() -> None:
    """The chamber's row is chosen, and the policy's tread depth stands before the published one."""
    found = {line["of"]: line for line in lines("--unit", UNIT)}
    own = found["wheel_ends: left axle one tread depth"]
    assert own["value"] == "at least 6/32 in, the unit's own; published at least 4/32 in"
    assert own["basis"] == "local policy"
    assert found["wheel_ends: left axle two pushrod stroke"]["value"] == "at most 2 in"


def test_it_can_be_read_as_text() -> None:
    """Sources are on the lines below the value, no line is endless."""
    text = CliRunner().invoke(main, ["limits"]).output
    assert re.search(r"^pushrod stroke, clamp 30 long: at most 2 1/2 in \(at most 63\.5 mm\)$", text, re.M)
    assert max(len(line) for line in text.splitlines()) <= 120
