from __future__ import annotations

import random
from collections import Counter
from fractions import Fraction

import pytest

from tests.benchmarks.bay.phrase_set import is_within, phrases, telling_values
from tests.benchmarks.bay.said import Said
from tests.benchmarks.bay.values_in_words import ways
from voicelog.paths import shipped
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    return load_sheet(shipped("grammars", "engine_bay.toml"))


@pytest.fixture(scope="module")
def said(sheet: Sheet) -> list[Said]:
    return phrases(sheet, 1500)


def test_a_shorter_set_is_the_beginning_of_a_longer_one(sheet: Sheet, said: list[Said]) -> None:
    """The same seed gives the same phrases; another gives others."""
    assert phrases(sheet, 40) == said[:40]
    assert phrases(sheet, 40, seed=2) != said[:40]


def test_every_aspect_of_every_point_is_said_sound_and_defective(sheet: Sheet, said: list[Said]) -> None:
    """No part of the sheet goes unmeasured."""
    conditions = sheet.lexicon.conditions
    wanted = {(p.id, a, sound) for p in sheet.points.values() for a in p.aspects for sound in (True, False)}
    got = {
        (f.point_id, conditions[f.condition_id].aspect, f.sound)
        for s in said
        for f in s.facts
        if f.condition_id
    }
    assert wanted == got


def test_every_name_and_every_wording_of_a_condition_is_said(sheet: Sheet, said: list[Said]) -> None:
    """Words that are never said are never measured."""
    texts = [f" {s.text} " for s in said]
    taken = {a for p in sheet.points.values() for a in p.aspects}
    wordings = [say for c in sheet.lexicon.conditions.values() if c.aspect in taken for say in c.say]
    names = [name for p in sheet.points.values() for name in p.say]
    assert [w for w in (*wordings, *names) if not any(f" {w} " in text for text in texts)] == []


def test_sound_and_defect_are_about_half_each(said: list[Said]) -> None:
    """Otherwise a recogniser that always says one of them would look good."""
    sound = Counter(fact.sound for s in said for fact in s.facts)
    assert 0.45 < sound[True] / sound.total() < 0.55


def test_readings_are_said_on_both_sides_of_every_limit_and_a_step_from_it(
    sheet: Sheet, said: list[Said]
) -> None:
    """Where a slip of one step would let a value pass."""
    found: dict[tuple[str, str], set[Fraction]] = {}
    for fact in (f for s in said for f in s.facts if f.reading_id and f.value is not None):
        found.setdefault((fact.point_id, fact.reading_id or ""), set()).add(fact.value or Fraction(0))
    for point in sheet.points.values():
        for reading in point.readings:
            limit = reading.limit
            assert limit is not None
            bound = limit.maximum if limit.maximum is not None else limit.minimum
            assert bound is not None
            beyond = reading.resolution if limit.maximum is not None else -reading.resolution
            assert {bound, bound + beyond} <= found[point.id, reading.id]


def test_every_phrase_can_be_said_where_it_is_said(sheet: Sheet, said: list[Said]) -> None:
    """The words come from the sheet and from common ways to say numbers, not from the grammar."""
    outside = []
    for stop in sheet.stops:
        graph = compile_grammar(sheet_grammar(sheet, stop.id))
        here = [s for s in said if s.stop_id == stop.id]
        outside += [s.text for s in here if not graph.accepts(tuple(s.text.split()))]
    assert outside == []


@pytest.mark.parametrize(
    ("point", "value", "expected"),
    [
        ("fan_belt", "1/2", {"one half inch", "one half of an inch", "half an inch"}),
        ("fan_belt", "3/8", {"three eighths inch", "three eighths of an inch"}),
        ("engine_oil", "3/2", {"one and one half quarts", "one and a half quarts", "a quart and a half"}),
        ("front_battery", "12.6", {"twelve point six volts", "twelve six volts"}),
        ("air_tank_primary", "105", {"one hundred five psi", "one hundred and five psi", "one oh five psi"}),
    ],
)
def test_a_value_is_said_as_people_say_it(sheet: Sheet, point: str, value: str, expected: set[str]) -> None:
    """Ways that a mechanic says a figure, written down by hand."""
    reading = sheet.points[point].readings[0]
    assert set(ways(Fraction(value), reading)) == expected


@pytest.mark.parametrize(
    ("point", "value", "within"),
    [
        ("fan_belt", "3/4", True),
        ("fan_belt", "7/8", False),
        ("front_battery", "12.45", True),
        ("front_battery", "12.4", False),
        ("air_tank_primary", "59", False),
        ("air_tank_primary", "60", True),
    ],
)
def test_a_value_equal_to_its_limit_is_within_it(sheet: Sheet, point: str, value: str, within: bool) -> None:
    """As the sheet's README says; the figures are the sheet's."""
    assert is_within(Fraction(value), sheet.points[point].readings[0]) == within


def test_a_teen_that_would_cross_the_limit_as_a_ten_is_among_the_values(sheet: Sheet) -> None:
    """Sixteen psi heard as sixty would pass a tank that is nearly empty."""
    values = telling_values(sheet.points["air_tank_primary"].readings[0], random.Random(1))
    assert {Fraction(16), Fraction(60)} <= set(values)
