"""What can be said while a question is open: its answers before all, and what can be said anyway.

The answers are every natural form of the candidates, "left", "it's the left one", "negative, right",
"half an inch", "neither". Whatever else can be said at the stop stays in the graph: a person may
leave a question and go on, and of a graph that held nothing but "left" and "right" the word "tight"
would be heard as one of them.

Spans: those of :mod:`voicelog.phrases.sheet_grammar`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from voicelog.phrases.commands import language_of
from voicelog.phrases.expression import (
    Expression,
    Grammar,
    Maybe,
    Null,
    Rule,
    Tag,
    choice,
    phrases,
    sequence,
)
from voicelog.phrases.quantities import quantity_expression
from voicelog.phrases.sheet_grammar import naming_of, sheet_grammar
from voicelog.phrases.timed_grammar import Running
from voicelog.sheet.model import Lexicon, Reading, Sheet, Side

ANSWER = "answer"
"""The rule of the answers as they are said most: without "it is" and the like before them, which a
cough is soon taken for."""

_IT_IS = ("it is", "it's")
_NEITHER = ("neither", "neither one", "neither of them", "none of them")
_YES, _NO = ("yes it is", "that is affirmative"), ("no it is not", "that is negative")


@dataclass(frozen=True, slots=True)
class Asked:
    """What a question lets choose from; each in the order it was asked, without repeats."""

    points: tuple[str, ...]
    """Ids."""
    conditions: tuple[str, ...] = ()
    """Ids."""
    readings: tuple[tuple[str, str], ...] = ()
    """Ids of points and of their readings whose value is asked."""
    choices: int = 1
    """How many candidates there are; of one, whether it is so is asked."""


def question_grammar(sheet: Sheet, stop_id: str, asked: Asked, running: Running | None = None) -> Grammar:
    """Return the grammar of what can be said at ``stop_id`` while a question is open.

    KeyError as by :func:`~voicelog.phrases.sheet_grammar.sheet_grammar`, and for a point that the
    sheet does not have.
    """
    ordinary = sheet_grammar(sheet, stop_id, running)
    plain, led = _answers(sheet, asked)
    rules = {**ordinary.rules, ANSWER: plain, f"{ANSWER}_led": led}
    rules["phrase"] = choice((Rule(ANSWER), Rule(f"{ANSWER}_led"), ordinary.rules["phrase"]))
    return replace(ordinary, name=f"{ordinary.name}_asked", rules=rules, likely=ANSWER)


def _answers(sheet: Sheet, asked: Asked) -> tuple[Expression, Expression]:
    """Return the answers as they are, and with words before them."""
    lexicon = sheet.lexicon
    language = language_of(lexicon)
    english = lexicon.language is None
    points = [sheet.points[i] for i in asked.points]
    sides: list[Side] = [side for p in points if (side := p.side) != "none"]
    meant: list[Expression] = []
    after_it_is: list[Expression] = []
    if len(set(sides)) > 1:
        meant.append(_side(tuple(dict.fromkeys(sides)), lexicon))
        # Without an article "it's right" may as well say that all is well.
        after_it_is.append(_side(tuple(dict.fromkeys(sides)), lexicon, article=True))
    others: list[Expression] = []
    if len(points) > 1:
        others.append(Tag("naming", "", naming_of(points, lexicon)))
    if asked.conditions:
        said = choice(Tag("condition", i, phrases(lexicon.conditions[i].say)) for i in asked.conditions)
        others.append(Tag("bare", "", said))
    for point_id, reading_id in asked.readings:
        others.append(_value(sheet.points[point_id].reading(reading_id), lexicon))
    meant, after_it_is = [*meant, *others], [*after_it_is, *others]
    leads: list[Expression] = []
    if language.correction:
        leads.append(Tag("correction", "", phrases(language.correction)))
    if affirmative := language.commands.get("affirmative"):
        leads.append(phrases(affirmative))
    lead, it_is = choice(leads), (*(_IT_IS if english else ()), *language.is_[:1])
    led = [sequence(lead, choice(meant))]
    if it_is:
        led.append(sequence(Maybe(lead), phrases(it_is), choice(after_it_is)))
    replies: list[Expression] = []
    for name, more in (("affirmative", _YES), ("negative", _NO)):
        forms = (*language.commands.get(name, ()), *(more if english and asked.choices == 1 else ()))
        replies.append(Tag("command", name, phrases(forms)))
    if english and asked.choices > 1:
        replies.append(Tag("command", "negative", phrases(_NEITHER)))
    return choice((*meant, *replies)), choice(led)


def _side(sides: tuple[Side, ...], lexicon: Lexicon, *, article: bool = False) -> Expression:
    """Return the ways to say one of the sides; with ``article`` only those that have one."""
    language = language_of(lexicon)
    on, one = (Maybe(phrases(said)) if said else Null() for said in (language.on, language.one))
    the = phrases(language.the) if language.the else Null()
    if not article:
        the = Maybe(the)
    said = choice(Tag("side", side, phrases(lexicon.sides[side])) for side in sides)
    return sequence(on, the, said, one)


def _value(reading: Reading, lexicon: Lexicon) -> Expression:
    """Return the ways to say a value of a reading, anywhere in its range."""
    quantity = quantity_expression(reading, lexicon.measures.get(reading.unit))
    at = language_of(lexicon).at
    lead = Maybe(phrases(at)) if at else Null()
    named = Tag("reading", reading.id, sequence(phrases(reading.say), lead, quantity))
    return Tag("bare", "", choice((named, Tag("number", "", quantity))))
