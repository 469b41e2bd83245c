"""What a pass must not be made of, although its phrase was heard well.

The wordings are common practice, no published source.
"""

from __future__ import annotations

import pytest

from voicelog.hearing.recogniser import Decoding, Hypothesis
from voicelog.meaning.interpret import interpret
from voicelog.meaning.misgivings import misgiving
from voicelog.meaning.understand import Context
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet.model import Sheet


def heard(phrase: str, free: str = "", seconds: float = 0.0, ending: float = 0.0) -> Decoding:
    """Return a decoding that is sure of a phrase."""
    hypothesis = Hypothesis(tuple(phrase.split()), -1.0, 0.99)
    return Decoding((hypothesis,), 0.01, free, -1.0, audio_s=seconds, ending=ending)


@pytest.mark.parametrize(
    ("phrase", "free", "asks"),
    [
        ("left lift cylinder is secure", "Left lift cylinder insecure.", True),
        ("left lift cylinder is secure", "Left lift cylinder is secure.", False),
        ("left lift cylinder secure", "left lift cylinder secured", False),
        ("pitman arm is tight", "Pitman arm, is it tight?", True),
        ("oil filter dry", "Oil filter's not dry.", True),
        ("oil filter dry", "The oil filter isn\N{RIGHT SINGLE QUOTATION MARK}t dry", True),
        ("oil filter no leaks", "oil filter, no leaks", False),
        ("left slack adjuster travel one and one eighth", "one and one eighth seconds", True),
        ("left slack adjuster travel one and one eighth inches", "1 and 1 8 seconds", False),
        ("alternator belt deflection five eighths", "Alternator belt deflection 5/8 RPM", True),
        ("primary air tank is one hundred ten", "primary air tank 110", False),
        ("oil filter dry", "", False),
    ],
)
def test_a_denial_a_question_and_another_unit_are_asked_about(
    engine_bay: Sheet, phrase: str, free: str, asks: bool
) -> None:
    """The unconstrained reading is only ever a reason to ask."""
    assert bool(misgiving(heard(phrase, free), engine_bay.lexicon)) == asks


@pytest.mark.parametrize(("phrase", "posterior", "refused"), [("dry", 0.9, True), ("dry", 0.98, False)])
def test_a_word_without_a_point_is_not_asked_about_unless_it_is_sure(
    engine_bay: Sheet, graphs: dict[str, PhraseGraph], phrase: str, posterior: float, refused: bool
) -> None:
    """Talk and noise are heard as a word or two; asking about each would be no end of questions."""
    graph = graphs.setdefault("stop left_front", compile_grammar(sheet_grammar(engine_bay, "left_front")))
    context = Context(engine_bay, "left_front", at_hand=("lift_cylinder_left",))
    decoding = Decoding((Hypothesis((phrase,), -1.0, posterior),), 1 - posterior, phrase, -1.0)
    assert (interpret(decoding, graph, context).act == "refused") == refused


@pytest.mark.parametrize(
    ("phrase", "seconds", "asks"),
    [
        ("slack adjuster satisfactory", 4.6, True),
        ("slack adjuster satisfactory", 2.6, False),
        ("tilt pump firmly mounted and", 2.5, True),
        ("oil filter dry", 0.0, False),
    ],
)
def test_a_phrase_too_short_for_its_sound_is_asked_about(
    engine_bay: Sheet, phrase: str, seconds: float, asks: bool
) -> None:
    """What was lost at its end may have been a defect."""
    assert bool(misgiving(heard(phrase, seconds=seconds), engine_bay.lexicon)) == asks


@pytest.mark.parametrize(
    ("phrase", "free", "seconds", "act"),
    [
        ("pitman arm", "Pitman arm.", 1.4, "naming"),
        ("pitman arm", "Pit man arm", 1.4, "naming"),
        ("pitman arm", "", 1.4, "naming"),
        ("pitman arm", "Pitman arm cracked.", 1.8, "refused"),
        ("pitman arm", "Pit man on low water", 1.8, "refused"),
        ("pitman arm", "", 3.0, "refused"),
        ("pitman arm", "Pitman arm.", 3.0, "refused"),
    ],
)
def test_a_name_alone_is_all_that_was_said(
    engine_bay: Sheet, graphs: dict[str, PhraseGraph], phrase: str, free: str, seconds: float, act: str
) -> None:
    """Where more was said than the name of a point, the rest may be a defect: it must be said again."""
    graph = graphs.setdefault("stop left_front", compile_grammar(sheet_grammar(engine_bay, "left_front")))
    assert interpret(heard(phrase, free, seconds), graph, Context(engine_bay, "left_front")).act == act


@pytest.mark.parametrize(
    ("phrase", "ending", "act", "asked"),
    [
        ("pitman arm intact", -0.1, "facts", False),
        ("pitman arm intact", -3.0, "facts", True),
        ("pitman arm cracked", -3.0, "facts", False),
        ("pitman arm", -0.1, "naming", False),
        ("pitman arm", -3.0, "refused", False),
        ("walk complete", -0.1, "command", False),
        ("walk complete", -3.0, "refused", False),
        ("stand by", -3.0, "command", False),
        ("mark the rest of this stop sound", -0.1, "command", False),
        ("mark the rest of this stop sound", -3.0, "refused", False),
    ],
)
def test_where_more_was_said_a_pass_is_asked_about_and_a_defect_stands(
    engine_bay: Sheet, graphs: dict[str, PhraseGraph], phrase: str, ending: float, act: str, asked: bool
) -> None:
    """ "Intact but mushroomed" is no pass; "cracked right through" is a crack."""
    graph = graphs.setdefault("stop left_front", compile_grammar(sheet_grammar(engine_bay, "left_front")))
    meant = interpret(heard(phrase, ending=ending), graph, Context(engine_bay, "left_front"))
    assert (meant.act, any(draft.doubts for draft in meant.drafts)) == (act, asked)
