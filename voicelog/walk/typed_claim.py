"""A claim that a person types: the same phrases as spoken, with figures and unit symbols allowed.

Typed words go through the same phrase graph as speech, so what can be claimed is what the sheet
allows and nothing else. Nothing is guessed: words that are no phrase are refused, with the
nearest phrases as a help.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from fractions import Fraction
from functools import cached_property

from rapidfuzz import fuzz, process

from voicelog.errors import GrammarError, WalkError
from voicelog.meaning.facts import Claim
from voicelog.meaning.understand import Context, Meaning, understand
from voicelog.meaning.wording import say_claim, show_quantity
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.numbers import spoken_forms
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet.model import Sheet
from voicelog.sheet.quantities import parse_quantity

_FIGURES = re.compile(r"(?<![\w./])(?:\d+\s+\d+/\d+|\d+/\d+|\d*\.\d+|\d+)(?![\w/])")
_MOST_SPELLINGS = 32
"""Ways to read the figures of one line that are tried; a line has one figure, seldom two."""
_NEAR_ENOUGH = 55.0
_MISTYPED = 70.0
"""Score of two words above which one is taken as the other mistyped, where telling points apart."""
_OWN, _SOUND = 3.0, 6.0
"""Points of score: for a phrase of the entry's own point, and against a phrase that would pass it."""


class Phrases:
    """What can be typed of a sheet: its phrase graph and near phrases, made when first needed."""

    def __init__(self, sheet: Sheet) -> None:
        """Take the sheet; nothing is made yet."""
        self.sheet = sheet

    @cached_property
    def graph(self) -> PhraseGraph:
        """The phrases that can be typed; a second or so to make for a large sheet.

        One stop's grammar does for all: what is said without a name is named before it is parsed.
        """
        return compile_grammar(sheet_grammar(self.sheet, self.sheet.stops[0].id))

    def claims(self, words: str, stop_id: str, about: Claim | None = None) -> tuple[Claim, ...]:
        """Return the claims that the words can mean, each one on its own; never empty.

        With ``about``, what the words leave out (the point, the reading, the rest of a
        correction such as "right") is taken from that claim. More than one claim means that the
        words are ambiguous and a person must choose. Raises WalkError when the words are no
        phrase of the sheet, say no fact, or say several.
        """
        typed = _tidy(words)
        meanings = self._meanings(typed, stop_id, about)
        found = dict.fromkeys(m.claims for m in meanings if m.act in ("facts", "answer"))
        if not found:
            raise self._not_understood(typed, about, meanings)
        if any(len(claims) > 1 for claims in found):
            raise WalkError(
                f"'{typed}' says more than one thing",
                remedy="type one thing only, such as '" + say_claim(next(iter(found))[0], self.sheet) + "'",
            )
        return tuple(claims[0] for claims in found)

    def near(self, words: str, about: Claim | None = None, limit: int = 5) -> tuple[str, ...]:
        """Return phrases near the words, nearest first; its own point's first.

        Of phrases about equally near, a defect comes before what is sound. A reading is offered
        up to where its value goes: no value is ever suggested. What was typed of a point that another
        point differs in ("right", "upper") is never offered as that other's ("left", "lower").
        """
        typed = _tidy(words)
        own = self._by_point[about.point_id] if about else ()
        if not typed:
            return own[:limit]
        meant = self._told_apart_by(typed)
        of_points = [
            phrases
            for point_id, phrases in self._by_point.items()
            if not self._is_another(self.sheet.points[point_id].full_name, meant)
        ]
        everything = [phrase for phrases in of_points for phrase in phrases]
        own = own if own in of_points else ()
        name = self.sheet.points[about.point_id].full_name + " " if about else ""
        bare = {phrase.removeprefix(name): phrase for phrase in own}
        scores: dict[str, float] = {}
        for phrase, score, _ in process.extract(typed, everything, scorer=_score, limit=6 * limit):
            scores[phrase] = score + (_OWN if phrase in own else 0)
        for short, score, _ in process.extract(typed, list(bare), scorer=_score, limit=limit):
            scores[bare[short]] = max(scores.get(bare[short], 0.0), score + _OWN)
        near = {p: s - (_SOUND if p in self._sound else 0) for p, s in scores.items() if s >= _NEAR_ENOUGH}
        return tuple(sorted(near, key=lambda phrase: -near[phrase])[:limit])

    def _told_apart_by(self, typed: str) -> frozenset[str]:
        """Return the typed words that tell a point from another, also where they are mistyped."""
        said = typed.split()
        known = {word for phrases in self._by_point.values() for phrase in phrases for word in phrase.split()}
        meant = {word for word in said if word in self._apart}
        for word in said:
            if word not in known:
                near = process.extractOne(word, list(self._apart), scorer=fuzz.ratio, score_cutoff=_MISTYPED)
                # Of a pair of which the other is typed as it is, that one was meant: "right lft cylinder".
                meant |= {near[0]} if near and not self._apart[near[0]] & meant else set()
        return frozenset(meant)

    def _is_another(self, name: str, meant: frozenset[str]) -> bool:
        """Return whether a point's name has another word in place of one that was meant."""
        words = set(name.split())
        return any(word not in words and (self._apart[word] - meant) & words for word in meant)

    @cached_property
    def _apart(self) -> dict[str, frozenset[str]]:
        """For each word by which a point's name differs from another's, the words in its place there."""
        names = [point.full_name.split() for point in self.sheet.points.values()]
        found: dict[str, set[str]] = {}
        for one, other in itertools.combinations(names, 2):
            differing = [pair for pair in zip(one, other, strict=False) if pair[0] != pair[1]]
            if len(one) == len(other) and len(differing) == 1:
                first, second = differing[0]
                found.setdefault(first, set()).add(second)
                found.setdefault(second, set()).add(first)
        return {word: frozenset(others) for word, others in found.items()}

    def _meanings(self, typed: str, stop_id: str, about: Claim | None) -> tuple[Meaning, ...]:
        at_hand = (about.point_id,) if about else ()
        context = Context(self.sheet, stop_id, at_hand, last=("", about) if about else None)
        found: dict[Meaning, None] = {}
        for spelling in spellings(typed, self.sheet):
            for form in self._forms(tuple(spelling.split()), about):
                meanings = understand(self.graph.parse(form), context)
                found.update(dict.fromkeys(meanings))
                if any(m.act == "facts" for m in meanings):
                    break
        return tuple(found)

    def _forms(self, said: tuple[str, ...], about: Claim | None) -> Iterator[tuple[str, ...]]:
        """Yield the words as typed, then with what they leave out taken from the entry."""
        yield said
        if about is None:
            return
        point = self.sheet.points[about.point_id]
        name = tuple(point.full_name.split())
        yield (*name, *said)
        if about.reading_id is not None:
            yield (*name, *point.reading(about.reading_id).say[0].split(), *said)
        yield ("correction", *said)

    def _not_understood(self, typed: str, about: Claim | None, meanings: tuple[Meaning, ...]) -> WalkError:
        near = () if _FIGURES.fullmatch(typed) else self.near(typed, about)
        why = next((m.argument for m in meanings if m.act == "unplaced"), "")
        what = f"'{typed}' says nothing that can be logged" if meanings else f"'{typed}' is not understood"
        remedy = "did you mean: " + "; ".join(near) if near else self._how_to_say(about)
        return WalkError(f"{what}: {why}" if why else what, remedy=remedy)

    def _how_to_say(self, about: Claim | None) -> str:
        if about is not None and about.reading_id is not None:
            reading = self.sheet.points[about.point_id].reading(about.reading_id)
            low, high, step = (
                show_quantity(v, reading, self.sheet.lexicon)
                for v in (reading.low, reading.high, reading.resolution)
            )
            return f"give a value from {low} to {high}, in steps of {step}"
        first = about.point_id if about else next(iter(self.sheet.points))
        return f"name the point and what it is, such as '{self._by_point[first][-1]}'"

    @cached_property
    def _by_point(self) -> dict[str, tuple[str, ...]]:
        """Phrases of each point: readings, then defects, then what is sound."""
        found: dict[str, tuple[str, ...]] = {}
        for point in self.sheet.points.values():
            conditions = self.sheet.lexicon.conditions_of(point.aspects)
            ranked = sorted(conditions, key=lambda c: c.polarity == "sound")
            readings = (f"{point.full_name} {reading.name}" for reading in point.readings)
            found[point.id] = (*readings, *(f"{point.full_name} {c.say[0]}" for c in ranked))
        return found

    @cached_property
    def _sound(self) -> frozenset[str]:
        said = (c.say[0] for c in self.sheet.lexicon.conditions.values() if c.polarity == "sound")
        names = [p.full_name for p in self.sheet.points.values()]
        return frozenset(f"{name} {words}" for words in said for name in names)


def claims_from_words(
    sheet: Sheet, words: str, stop_id: str, about: Claim | None = None
) -> tuple[Claim, ...]:
    """Return the claims that typed words can mean; see :meth:`Phrases.claims`.

    For more than one line, keep a :class:`Phrases`: it compiles the sheet's phrases once.
    """
    return Phrases(sheet).claims(words, stop_id, about)


def spellings(typed: str, sheet: Sheet) -> Iterator[str]:
    """Yield the typed words with figures and unit symbols as they are spoken, at most 32 ways.

    ``12.6 v`` gives "twelve point six volts". One figure can be spoken differently for different
    resolutions; a figure that cannot be spoken is left as it is, and so is refused later.
    """
    figures = _FIGURES.findall(typed)
    resolutions = dict.fromkeys(r.resolution for p in sheet.points.values() for r in p.readings)
    spoken = [tuple(dict.fromkeys(f for r in resolutions if (f := _spoken(text, r)))) for text in figures]
    between = _FIGURES.split(typed)
    after = [_with_units(text, sheet) for text in between[1:]]
    options = [forms or (text,) for forms, text in zip(spoken, figures, strict=True)]
    for chosen in itertools.islice(itertools.product(*options), _MOST_SPELLINGS):
        pairs = (f" {number} {rest}" for number, rest in zip(chosen, after, strict=True))
        yield between[0] + "".join(pairs)


def _tidy(words: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in words).lower().split())


def _spoken(figure: str, resolution: Fraction) -> str:
    text = "0" + figure if figure.startswith(".") else figure
    try:
        return spoken_forms(parse_quantity(text), resolution)[0]
    except (ValueError, GrammarError):
        return ""


def _with_units(rest: str, sheet: Sheet) -> str:
    """Return the words after a figure, with a unit's symbol put as it is spoken."""
    first, _, others = rest.strip().partition(" ")
    for measure in sheet.lexicon.measures.values():
        if first and first == measure.symbol.lower():
            many = measure.say[1] if len(measure.say) > 1 else measure.say[0]
            return f"{many} {others}"
    return rest


def _score(typed: str, phrase: str, **_: object) -> float:
    """Score from 0 to 100; words may be cut short while they are being typed."""
    return 0.5 * fuzz.token_set_ratio(typed, phrase) + 0.5 * fuzz.partial_ratio(typed, phrase)
