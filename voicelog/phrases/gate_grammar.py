"""What can be said while a caution is asked, or a carried defect is read out: that, and little else.

Nothing can be said of a point but that a remark is on it: what is heard before the cautions are
affirmed, and the defects acknowledged, makes no entry, and a remark is no claim. Spans: ``affirmed``
and ``denied`` (the caution's own words, and those words denied), ``goto``, ``command``, ``remark``.
"""

from __future__ import annotations

from collections.abc import Iterable

from voicelog.phrases.commands import language_of
from voicelog.phrases.expression import Expression, Grammar, Maybe, Null, Tag, choice, phrases, sequence
from voicelog.phrases.sheet_grammar import naming_of, remark_on
from voicelog.sheet.model import Caution, Sheet

AT_A_GATE = (
    "affirmative",
    "negative",
    "say again",
    "stand by",
    "next stop",
    "previous stop",
    "where am i",
    "what is left",
    "disregard",
    "remark",
    "walk complete",
)
"""The control words that are heard while a caution is asked."""

_OPPOSITES = {
    "off": "on",
    "on": "off",
    "out": "in",
    "in": "out",
    "removed": "in",
    "engaged": "disengaged",
    "chocked": "unchocked",
    "cool": "hot",
    "empty": "full",
    "clear": "blocked",
    "nobody": "somebody",
    "everyone": "nobody",
    "set": "released",
    "neutral": "gear",
    "covered": "uncovered",
    "warned": "unwarned",
    "dry": "wet",
    "closed": "open",
    "secured": "unsecured",
    "slowly": "quickly",
    "cold": "warm",
    "outside": "inside",
    "first": "last",
}


def gate_grammar(sheet: Sheet, caution: Caution) -> Grammar:
    """Return the grammar of what can be said while ``caution`` is asked."""
    language = language_of(sheet.lexicon)
    affirmed = tuple(dict.fromkeys(caution.say))
    denied = () if sheet.lexicon.language is not None else denials(affirmed)
    said: list[Expression] = [*_commands(sheet, AT_A_GATE), *remark_on(sheet)]
    if affirmed:
        said.append(Tag("affirmed", "", phrases(affirmed)))
    if denied:
        said.append(Tag("denied", "", phrases(denied)))
    if language.go_to:
        the = Maybe(phrases(language.the)) if language.the else Null()
        stops = choice(Tag("goto", stop.id, phrases(stop.say)) for stop in sheet.stops)
        said.append(sequence(phrases(language.go_to), the, stops))
    return Grammar(f"{sheet.id}_gate", {"phrase": choice(said)}, ("phrase",), source=sheet.path)


def told_grammar(sheet: Sheet, commands: Iterable[str], point_id: str | None = None) -> Grammar:
    """Return the grammar of what can be said while a carried defect is read out.

    It may be acknowledged by its point too, ``left lift cylinder acknowledged``: what is longer is
    heard better in noise. ``point_id`` is that point; None where the sheet does not have it.
    """
    said = [*_commands(sheet, commands), *remark_on(sheet)]
    told = language_of(sheet.lexicon).commands.get("acknowledged")
    if told and point_id is not None:
        named = naming_of((sheet.points[point_id],), sheet.lexicon)
        said.append(Tag("command", "acknowledged", sequence(named, phrases(told))))
    return Grammar(f"{sheet.id}_told", {"phrase": choice(said)}, ("phrase",), source=sheet.path)


def _commands(sheet: Sheet, names: Iterable[str]) -> tuple[Expression, ...]:
    said = language_of(sheet.lexicon).commands
    return tuple(Tag("command", name, phrases(said[name])) for name in names if name in said)


def denials(affirmed: tuple[str, ...]) -> tuple[str, ...]:
    """Return the phrases that say the opposite of English ones: with a "not" anywhere, or another word.

    They are there so that "wheels not chocked" is heard as what it is, and not as its nearest
    neighbour.
    """
    found: dict[str, None] = {"not yet": None}
    for phrase in affirmed:
        said = phrase.split()
        for place in range(len(said) + 1):
            found[" ".join((*said[:place], "not", *said[place:]))] = None
        for place, word in enumerate(said):
            if word in _OPPOSITES:
                found[" ".join((*said[:place], _OPPOSITES[word], *said[place + 1 :]))] = None
    return tuple(phrase for phrase in found if phrase not in affirmed)
