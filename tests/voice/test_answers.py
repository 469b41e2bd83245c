"""What is answered by ear to what the walk says back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from voicelog.conduct import Conductor
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit
from voicelog.voice.answers import LEVELS, SILENCE, Answer, ReadBack, answer_to
from voicelog.walk.replies import Reply, ReplyKind, Update


@pytest.fixture
def walk(
    tmp_path: Path,
    engine_bay: Sheet,
    engine_61: Unit,
    clock: Callable[[], datetime],
    graphs: dict[str, PhraseGraph],
) -> Conductor:
    conductor = Conductor(
        Store.open(tmp_path, clock=clock), engine_bay, engine_61, None, clock=clock, graphs=graphs
    )
    conductor.begin("R. Alder")
    conductor.typed("go to left front")
    return conductor


def words(answer: Answer) -> list[str]:
    return [sentence.words for sentence in answer.sentences]


def test_a_plain_pass_has_the_tone_alone(walk: Conductor) -> None:
    """Only at the level "every" is a sound condition read back; its tone is there at every level."""
    update = walk.typed("left lift cylinder dry")
    assert answer_to(update, "defects") == Answer("taken")
    assert answer_to(update, "tones") == Answer("taken")
    assert words(answer_to(update, "every")) == ["left lift cylinder dry"]


def test_a_defect_is_read_back(walk: Conductor) -> None:
    """What needs hands is heard, not guessed from a tone."""
    answer = answer_to(walk.typed("left lift cylinder dripping"), "defects")
    assert (answer.tone, words(answer)) == ("taken", ["left lift cylinder dripping"])
    assert answer_to(walk.typed("drag link loose"), "tones") == Answer("taken")


def test_a_reading_is_read_back_in_words(walk: Conductor) -> None:
    """A reading within its limit is read back too, and one outside it with the limit."""
    within = answer_to(walk.typed("front battery voltage twelve point six volts"), "defects")
    assert words(within)[0] == "front battery voltage twelve point six volts"
    outside = answer_to(walk.typed("fan belt deflection one inch"), "defects")
    assert outside.tone == "taken"
    assert words(outside)[0].startswith("fan belt deflection one inch, above the limit, at most ")
    assert not any(c.isdigit() for c in words(outside)[0])


def test_a_breath_with_a_doubt_in_it_is_a_doubt(walk: Conductor) -> None:
    """The gravest reply has the tone; the question is spoken as it was asked."""
    walk.typed("left lift cylinder dripping")
    answer = answer_to(walk.typed("left lift cylinder dry"), "defects")
    assert answer.tone == "doubt"
    assert words(answer) == ["left lift cylinder, dripping or dry?"]
    assert answer_to(walk.typed("drag link tight left lift cylinder dry"), "tones") == Answer("doubt")


def test_a_settled_doubt_and_a_correction_are_read_back(walk: Conductor) -> None:
    """A pass that comes of a question or of a correction is said, at "defects" too."""
    walk.typed("left lift cylinder dripping")
    walk.typed("left lift cylinder dry")
    assert words(answer_to(walk.typed("dry"), "defects")) == ["left lift cylinder dry"]
    walk.typed("drag link tight")
    corrected = answer_to(walk.typed("correction right cab pivot tight"), "defects")
    assert corrected.tone == "taken"
    assert words(corrected) == ["right cab pivot tight", *cautions_of(walk, "right_front")]


def cautions_of(walk: Conductor, stop_id: str) -> list[str]:
    return [
        caution.rstrip(".").replace(":", ",").replace(";", ",")
        for caution in walk.state.sheet.stop(stop_id).cautions
    ]


def test_a_stop_is_entered_with_its_cautions(walk: Conductor) -> None:
    """The name of the stop and each of its cautions are spoken; nothing was logged, so no tone."""
    answer = answer_to(walk.typed("go to right front"), "defects")
    assert answer.tone is None
    assert words(answer)[0].startswith("right front, ")
    assert words(answer)[1:] == cautions_of(walk, "right_front")
    assert [s.kind for s in answer.sentences[1:]] == ["caution"] * (len(answer.sentences) - 1)


def test_naming_a_point_never_sounds_as_taken(walk: Conductor) -> None:
    """ "Left lift cylinder" alone logs nothing: at "tones" there is nothing to hear."""
    update = walk.typed("left lift cylinder")
    assert answer_to(update, "tones") == SILENCE
    assert answer_to(update, "defects").tone is None


@pytest.mark.parametrize("kind", ["doubt", "not understood", "answer", "caution", "trouble"])
def test_only_what_was_taken_sounds_as_taken(walk: Conductor, kind: ReplyKind) -> None:
    """No reply of another kind has the tone "taken", at any level, alone or before it."""
    for level in LEVELS:
        update = Update(walk.state, (Reply(kind, "words"),))
        assert answer_to(update, level).tone != "taken"


@pytest.mark.parametrize(
    ("kind", "spoken_at"),
    [
        ("doubt", {"every", "defects"}),
        ("answer", {"every", "defects"}),
        ("caution", {"every", "defects"}),
        ("trouble", {"every", "defects"}),
        ("not understood", {"every"}),
    ],
)
def test_what_is_spoken_at_which_level(walk: Conductor, kind: ReplyKind, spoken_at: set[ReadBack]) -> None:
    """Questions, answers, cautions and trouble are spoken wherever anything is."""
    update = Update(walk.state, (Reply(kind, "words of it"),))
    assert {level for level in LEVELS if words(answer_to(update, level))} == spoken_at


def test_trouble_is_first(walk: Conductor) -> None:
    """Trouble goes before everything else that is spoken, and has the tone."""
    replies = (Reply("taken", "one"), Reply("doubt", "two?"), Reply("trouble", "not logged: disk full"))
    answer = answer_to(Update(walk.state, replies), "defects")
    assert answer.tone == "trouble"
    assert words(answer) == ["not logged, disk full", "one", "two?"]


def test_levels_alone_give_no_answer(walk: Conductor) -> None:
    """An update without replies, or at the level "nothing", is answered by nothing."""
    assert answer_to(Update(walk.state), "every") == SILENCE
    assert answer_to(walk.typed("left lift cylinder dripping"), "nothing") == SILENCE
