"""What can be said of the engine bay: a table of phrases and what they mean, and of phrases refused."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from voicelog.phrases.commands import COMMANDS
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.jsgf import read_jsgf, write_jsgf
from voicelog.phrases.numbers import values
from voicelog.phrases.quantities import say_quantity
from voicelog.phrases.sheet_grammar import listening_grammar, sheet_grammar
from voicelog.sheet import CONTROL_PHRASES
from voicelog.sheet.model import Sheet

BOTH = "lift_cylinder_left|lift_cylinder_right"

SAID = [
    ("left lift cylinder dry", [("side", "left"), ("point", BOTH), ("condition", "dry")]),
    ("lift cylinder on the left no leaks", [("point", BOTH), ("side", "left"), ("condition", "dry")]),
    ("the lift cylinder is dripping", [("point", BOTH), ("condition", "dripping")]),
    ("weeping on the right lift cylinder", [("condition", "weeping"), ("side", "right"), ("point", BOTH)]),
    ("dry", [("condition", "dry")]),
    ("correction right", [("correction", ""), ("side", "right")]),
    ("negative dripping", [("correction", ""), ("condition", "dripping")]),
    (
        "fan belt intact deflection half inch",
        [("point", "fan_belt"), ("condition", "intact"), ("reading", "deflection"), ("value", "1/2")],
    ),
    (
        "fan belt deflection three eighths of an inch",
        [("point", "fan_belt"), ("reading", "deflection"), ("value", "3/8")],
    ),
    (
        "power steering fluid below full an inch and a half",
        [("point", "steering_fluid"), ("reading", "below_full"), ("value", "3/2")],
    ),
    (
        "front battery twelve point six volts",
        [("point", "front_battery"), ("reading", "voltage"), ("value", "63/5")],
    ),
    ("front battery twelve six", [("point", "front_battery"), ("reading", "voltage"), ("value", "63/5")]),
    ("go to left front", [("goto", "left_front")]),
    ("what is left", [("command", "what is left")]),
]

REFUSED = [
    "",
    "middle lift cylinder dry",
    "left ladder rack dry",
    "fan belt deflection half gallon",
    "left fan belt intact",  # there is one fan belt, and it has no side
    "lift cylinder frayed deflection",
    "front battery ninety nine volts",  # outside what a battery can plausibly read
    "correction",
    "county engine sixty one radio check",
]


@pytest.mark.parametrize(("said", "spans"), SAID)
def test_a_phrase_means_what_the_table_says(
    graph_at: Callable[[str], PhraseGraph], said: str, spans: list[tuple[str, str]]
) -> None:
    """Every way of saying it gives these tags, in one tagging only."""
    (parse,) = graph_at("left_front").parse(tuple(said.split()))
    outer = ("fact", "bare", "naming", "number")
    assert [(s.name, s.value) for s in parse if s.name not in outer] == spans


@pytest.mark.parametrize("said", REFUSED)
def test_what_cannot_be_said_is_no_phrase(graph_at: Callable[[str], PhraseGraph], said: str) -> None:
    """One word off is not a phrase."""
    assert not graph_at("left_front").accepts(tuple(said.split()))


def test_every_condition_of_every_point_can_be_said(
    engine_bay: Sheet, graph_at: Callable[[str], PhraseGraph]
) -> None:
    """Each point takes each phrase of its aspects' conditions, from its own stop."""
    for point in engine_bay.stop("left_front").points:
        graph = graph_at(point.stop_id)
        for condition in engine_bay.lexicon.conditions_of(point.aspects):
            for phrase in condition.say:
                assert graph.accepts(tuple(f"{point.full_name} {phrase}".split())), (point.id, phrase)


def test_every_value_of_every_reading_can_be_said_as_it_is_read_back(
    engine_bay: Sheet, graph_at: Callable[[str], PhraseGraph]
) -> None:
    """Inside the limit or not, the whole plausible range can be said, and means that value alone."""
    graph = graph_at("left_front")  # any point can be named from anywhere
    for point in engine_bay.points.values():
        for reading in point.readings:
            measure = engine_bay.lexicon.measures.get(reading.unit)
            every = values(reading.low, reading.high, reading.resolution)
            for value in every[:: max(1, len(every) // 8)] + every[-1:]:
                said = f"{point.full_name} {reading.name} {say_quantity(value, reading, measure)}"
                parses = graph.parse(tuple(said.split()))
                assert {s.value for p in parses for s in p if s.name == "value"} == {str(value)}, said


def test_while_standing_by_only_resume_is_heard() -> None:
    """Nothing else is a phrase then."""
    graph = compile_grammar(listening_grammar(("resume",)))
    assert graph.accepts(("resume",))
    assert not graph.accepts(("next", "stop"))


def test_the_sheet_validator_knows_every_control_word() -> None:
    """A sheet cannot give a point the name of a command: both lists are the same."""
    assert set(CONTROL_PHRASES) == set(COMMANDS) | {"correction", "start", "mark", "stop"}


def test_the_grammar_survives_jsgf(engine_bay: Sheet, graph_at: Callable[[str], PhraseGraph]) -> None:
    """Written as JSGF and read back, it takes and refuses the same phrases."""
    again = compile_grammar(read_jsgf(write_jsgf(sheet_grammar(engine_bay, "left_front"))))
    for said, _ in SAID:
        assert again.accepts(tuple(said.split()))
    for said in REFUSED:
        assert not again.accepts(tuple(said.split()))
