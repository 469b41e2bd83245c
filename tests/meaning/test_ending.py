from __future__ import annotations

from collections.abc import Callable

import pytest

from voicelog.hearing.recogniser import Decoding, Ending, Hypothesis
from voicelog.meaning.ending import ending
from voicelog.meaning.interpret import interpret
from voicelog.meaning.understand import Context
from voicelog.phrases.graph import PhraseGraph
from voicelog.sheet.model import Sheet

STOP = "engine_front"


@pytest.mark.parametrize(
    ("said", "posterior", "expected"),
    [
        ("water pump dry", 1.0, "whole"),
        ("water pump dripping", 1.0, "whole"),
        ("fan belt deflection one half inch", 1.0, "whole"),
        ("what is left", 1.0, "whole"),
        ("go to right front", 1.0, "whole"),
        # One more word would make another value of it.
        ("fan belt deflection one", 1.0, "unsure"),
        # The name of a point, and then what is said of it.
        ("water pump", 1.0, "unsure"),
        # It will be asked about anyway: what follows may tell.
        ("water pump dry", 0.8, "unsure"),
        ("water pump dry and", 1.0, "unfinished"),
        ("remark", 1.0, "unsure"),
    ],
)
def test_what_was_said_up_to_a_pause(
    engine_bay: Sheet, graph_at: Callable[[str], PhraseGraph], said: str, posterior: float, expected: Ending
) -> None:
    """A sure, whole phrase ends soon; a number, a name or a doubt does not; a joint waits."""
    graph = graph_at(STOP)
    decoding = Decoding((Hypothesis(tuple(said.split()), -1.0, posterior),), 1 - posterior, said, -1.0)
    meant = interpret(decoding, graph, Context(engine_bay, STOP))
    assert ending(decoding, meant, engine_bay.lexicon) == expected


def test_what_the_engine_takes_for_a_beginning_is_waited_for(
    engine_bay: Sheet, graph_at: Callable[[str], PhraseGraph]
) -> None:
    """Also where a phrase was understood: its words may be half of another."""
    decoding = Decoding((Hypothesis(("water", "pump", "dry"), -1.0, 1.0),), 0.0, "", 0.0, unfinished=True)
    meant = interpret(decoding, graph_at(STOP), Context(engine_bay, STOP))
    assert ending(decoding, meant, engine_bay.lexicon) == "unfinished"
