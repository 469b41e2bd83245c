"""What can be said during a walk, as a grammar made from the check sheet.

Word order is free as people speak: side before or after the name, condition after it or before
"on the ...", several facts in one breath, several points in one breath. Points that take the same
conditions and readings share one continuation, so the grammar grows with the number of kinds of
point and not with points times conditions.

Spans: ``fact`` (one point and what is said of it), ``point`` (ids of the points that the name can
mean, joined by ``|``), ``side``, ``condition``, ``reading`` (its id) with ``value`` inside,
``bare`` (facts without a point), ``more`` (an "and" before them), ``number`` (a value
alone), ``naming``, ``goto``, ``command``, ``remark`` (on a point), ``correction``, ``choice``
(a place in the question's order, from 1); of timed tests, see :mod:`voicelog.phrases.timed_grammar`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from voicelog.phrases.commands import ENGLISH, OF_THE_CLOCK, language_of
from voicelog.phrases.expression import (
    Expression,
    Grammar,
    Maybe,
    Null,
    Repeat,
    Rule,
    Tag,
    choice,
    phrases,
    sequence,
    words,
)
from voicelog.phrases.quantities import quantity_expression
from voicelog.phrases.timed_grammar import Running, has_timed, timed_expression
from voicelog.sheet.model import Language, Lexicon, Point, Reading, Sheet, Side


@dataclass(frozen=True, slots=True)
class _Kind:
    """Points of one kind take the same conditions and readings."""

    aspects: tuple[str, ...]
    readings: tuple[Reading, ...]


def sheet_grammar(sheet: Sheet, stop_id: str, running: Running | None = None) -> Grammar:
    """Return the grammar of everything that can be said while standing at ``stop_id``.

    Any point of the sheet can be named from anywhere; facts without a name are those that fit
    some point of this stop. ``running`` is the timed test whose clock runs. KeyError when the sheet
    has no such stop or test.
    """
    lexicon = sheet.lexicon
    language = language_of(lexicon)
    the, and_ = _maybe(language.the), _maybe(language.and_)
    kinds: dict[_Kind, list[Point]] = {}
    for point in sheet.points.values():
        kinds.setdefault(_Kind(point.aspects, point.readings), []).append(point)
    rules: dict[str, Expression] = {}
    facts, namings = list[Expression](), list[Expression]()
    for number, (kind, points) in enumerate(kinds.items(), 1):
        subject, said = f"subject{number}", f"conditions{number}"
        rules[subject] = naming_of(points, lexicon)
        rules[said] = _conditions(kind.aspects, lexicon)
        first, more = _claims(kind, Rule(said), lexicon)
        following = Repeat(sequence(and_, more), 0)
        facts.append(Tag("fact", "", sequence(Rule(subject), first, following)))
        if language.on:
            placed = sequence(Rule(said), phrases(language.on), the, Rule(subject))
            facts.append(Tag("fact", "", placed))
        namings.append(Rule(subject))
    rules["report"] = Repeat(sequence(choice(facts), and_))
    # "And cracked" goes on with the point at hand after the pause in which its entry was taken.
    more = Maybe(Tag("more", "", phrases(language.and_))) if language.and_ else Null()
    rules["bare"] = sequence(more, Tag("bare", "", _bare(sheet.stop(stop_id).points, lexicon)))
    rules["naming"] = Tag("naming", "", choice(namings))
    rules["goto"] = sequence(
        phrases(language.go_to),
        the,
        choice(Tag("goto", stop.id, phrases(stop.say)) for stop in sheet.stops),
    )
    said_of_tests = timed_expression(sheet, running)
    left_out = frozenset[str]() if has_timed(sheet) else OF_THE_CLOCK
    rules["command"] = choice(
        Tag("command", name, phrases(said))
        for name, said in language.commands.items()
        if name not in left_out
    )
    rules["said"] = sequence(
        Maybe(Tag("correction", "", phrases(language.correction))) if language.correction else Null(),
        choice((Rule("report"), Rule("bare"), Rule("naming"), _any_side(lexicon))),
    )
    phrase = [Rule("said"), Rule("goto"), Rule("command"), *_choices(lexicon)]
    for begun in remark_on(sheet, choice(namings)):
        rules["remark"] = begun
        phrase.append(Rule("remark"))
    if said_of_tests is not None:
        rules["timed"] = said_of_tests
        phrase.append(Rule("timed"))
    rules["phrase"] = choice(phrase)
    return Grammar(f"{sheet.id}_{stop_id}", rules, ("phrase",), source=sheet.path)


def remark_on(sheet: Sheet, names: Expression | None = None) -> tuple[Expression, ...]:
    """Return how a remark on a point is begun; empty where the language has no words for it.

    ``names`` are the ways to name a point, where they were made already.
    """
    language = language_of(sheet.lexicon)
    if not language.on or "remark" not in language.commands:
        return ()
    begun = sequence(phrases(language.commands["remark"]), phrases(language.on))
    names = names or naming_of(sheet.points.values(), sheet.lexicon)
    return (Tag("remark", "", sequence(begun, names)),)


def listening_grammar(commands: Iterable[str], language: Language = ENGLISH) -> Grammar:
    """Return the grammar that hears only the given commands, as while standing by.

    GrammarError on compiling it where the language has no way to say any of them.
    """
    said = choice(Tag("command", name, phrases(language.commands.get(name, ()))) for name in commands)
    return Grammar("listening", {"phrase": said}, ("phrase",))


def _maybe(said: tuple[str, ...]) -> Expression:
    return Maybe(phrases(said)) if said else Null()


def naming_of(points: Iterable[Point], lexicon: Lexicon) -> Expression:
    """Return the ways to name one of the points, with its side before, after or left out.

    A side can only be said with a name that exists on that side.
    """
    named: dict[str, list[Point]] = {}
    for point in points:
        for phrase in point.say:
            named.setdefault(phrase, []).append(point)
    language = language_of(lexicon)
    the = _maybe(language.the)
    leads = (
        "",
        *(f"{on} {article} " for on in language.on[:1] for article in language.the),
        *(f"{on} " for on in language.on[:1]),
    )
    by_sides: dict[frozenset[Side], list[Expression]] = {}
    for phrase, meant in named.items():
        sides: frozenset[Side] = frozenset(p.side for p in meant if p.side != "none")
        ids = "|".join(p.id for p in meant)
        by_sides.setdefault(sides, []).append(Tag("point", ids, words(phrase)))
    forms: list[Expression] = []
    for sides, names in by_sides.items():
        name = choice(names)
        if not sides:
            forms.append(name)
            continue
        before = choice(Tag("side", side, phrases(lexicon.sides[side])) for side in sorted(sides))
        after = choice(
            Tag(
                "side",
                side,
                phrases(f"{lead}{said}" for said in lexicon.sides[side] for lead in leads),
            )
            for side in sorted(sides)
        )
        forms.append(sequence(Maybe(before), name))
        forms.append(sequence(name, after))
    return sequence(the, choice(forms))


def _conditions(aspects: tuple[str, ...], lexicon: Lexicon) -> Expression:
    return choice(Tag("condition", c.id, phrases(c.say)) for c in lexicon.conditions_of(aspects))


def _claims(kind: _Kind, conditions: Expression, lexicon: Lexicon) -> tuple[Expression, Expression]:
    """Return what may follow the name directly, and what may follow after that.

    A value without its reading's name is only understood directly after a name that has one
    reading: otherwise "twelve six" could be two readings.
    """
    condition = sequence(_maybe(language_of(lexicon).is_), conditions)
    alone = len(kind.readings) == 1
    first = [_reading(reading, lexicon, name_needed=not alone) for reading in kind.readings]
    named = [_reading(reading, lexicon, name_needed=True) for reading in kind.readings]
    return choice((condition, *first)), choice((condition, *named))


def _reading(reading: Reading, lexicon: Lexicon, *, name_needed: bool) -> Expression:
    quantity = quantity_expression(reading, lexicon.measures.get(reading.unit))
    name = phrases(reading.say)
    value = sequence(name if name_needed else Maybe(name), _maybe(language_of(lexicon).at), quantity)
    return Tag("reading", reading.id, value)


def _bare(points: tuple[Point, ...], lexicon: Lexicon) -> Expression:
    """Return one fact without a point's name: a condition, a named reading, or a value alone.

    Only one: the less a phrase says, the more noise sounds like it.
    """
    aspects = tuple(dict.fromkeys(aspect for point in points for aspect in point.aspects))
    readings = tuple({r: None for point in points for r in point.readings})
    named = [_reading(reading, lexicon, name_needed=True) for reading in readings]
    alone = [
        Tag("number", "", quantity_expression(reading, lexicon.measures.get(reading.unit)))
        for reading in _of_one_scale(readings)
    ]
    return choice((_conditions(aspects, lexicon), *named, *alone))


def _of_one_scale(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Return one reading of each scale: for a value alone, only its number and unit are heard."""
    scales = {(r.low, r.high, r.resolution, r.unit): r for r in reversed(readings)}
    return tuple(scales.values())


def _choices(lexicon: Lexicon) -> tuple[Expression, ...]:
    """Return "the first", "the second": answers to a question by the order it gave; English only."""
    if lexicon.language is not None:
        return ()
    places = ("first", "second", "third", "fourth")
    return tuple(
        Tag("choice", str(number), phrases((f"the {place}", f"the {place} one")))
        for number, place in enumerate(places, 1)
    )


def _any_side(lexicon: Lexicon) -> Expression:
    language = language_of(lexicon)
    article, one = _maybe(language.the), _maybe(language.one)
    return choice(
        Tag("side", side, sequence(article, phrases(said), one)) for side, said in lexicon.sides.items()
    )
