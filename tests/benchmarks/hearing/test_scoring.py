"""Right, refused and wrong, as the data set's own program counts them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks.hearing.scoring import Outcome, added, outcome, slot_words
from tests.speech_data import SPEECH

LABEL = {"size": "large", "coffeeDrink": "iced mocha"}
CASES: list[tuple[dict[str, str] | None, Outcome]] = [
    ({"size": "large", "coffeeDrink": "iced mocha"}, Outcome.RIGHT),
    ({"size": "large", "coffeeDrink": "iced mocha", "roast": "dark roast"}, Outcome.RIGHT),
    ({"size": " large ", "coffeeDrink": "iced mocha", "order": "large iced mocha"}, Outcome.RIGHT),
    ({"size": "large"}, Outcome.WRONG),
    ({"size": "large", "coffeeDrink": "mocha"}, Outcome.WRONG),
    ({"roast": "dark roast"}, Outcome.WRONG),
    ({}, Outcome.REFUSED),
    (None, Outcome.REFUSED),
]


@pytest.mark.parametrize(("slots", "expected"), CASES)
def test_outcomes(slots: dict[str, str] | None, expected: Outcome) -> None:
    """By the rule that is written in the data set's README."""
    assert outcome(slots, LABEL) is expected


@pytest.mark.skipif(not (SPEECH / "score_orders.py").is_file(), reason="the speech data is not at hand")
def test_outcomes_are_those_of_the_data_sets_program(tmp_path: Path) -> None:
    """score_orders.py lies beside the data; each case alone and all together."""
    labels = tmp_path / "labels.json"
    labels.write_text(json.dumps({str(k): LABEL for k in range(len(CASES))}))
    lines = [json.dumps({"file": f"{k}.flac", "slots": slots}) for k, (slots, _) in enumerate(CASES)]
    for chosen in (*([k] for k in range(len(CASES))), list(range(len(CASES)))):
        done = subprocess.run(
            [sys.executable, SPEECH / "score_orders.py", labels],
            input="\n".join(lines[k] for k in chosen),
            capture_output=True,
            text=True,
            check=True,
        )
        ours = [outcome(CASES[k][0], LABEL) for k in chosen]
        right, refused, wrong = (ours.count(o) for o in Outcome)
        assert done.stdout.startswith(f"N {len(chosen)}  right {right}  refused {refused}  wrong {wrong}  ")


def test_a_slot_that_nobody_said_is_seen() -> None:
    """Named rules that are no slots of the labels do not count."""
    names = frozenset({"size", "coffeeDrink", "roast"})
    assert added({**LABEL, "roast": "dark roast"}, LABEL, names)
    assert not added({**LABEL, "order": "large iced mocha"}, LABEL, names)
    assert not added(None, LABEL, names)


def test_slot_words_are_in_the_order_of_the_names() -> None:
    """However an answer is ordered, and without rules that are no slots."""
    names = frozenset(LABEL)
    assert (
        slot_words({"size": "large", "ask": "get me", "coffeeDrink": "iced mocha"}, names)
        == "iced mocha large"
    )
    assert slot_words(None, names) == ""
