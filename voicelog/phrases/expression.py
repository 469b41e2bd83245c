"""The pieces a grammar is made of.

One small algebra serves both sources of grammars: JSGF files (:mod:`voicelog.phrases.jsgf`)
and check sheets (:mod:`voicelog.phrases.sheet_grammar`). :mod:`voicelog.phrases.graph`
compiles it to a finite-state phrase graph.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Words:
    """One or more words said in this order; lower case, as they are spoken."""

    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sequence:
    """Items said one after another."""

    items: tuple[Expression, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """Exactly one of the items. ``weights`` are the JSGF weights, or empty."""

    items: tuple[Expression, ...]
    weights: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Maybe:
    """The item, or nothing."""

    item: Expression


@dataclass(frozen=True, slots=True)
class Repeat:
    """The item said ``minimum`` (0 or 1) times or more."""

    item: Expression
    minimum: int = 1


@dataclass(frozen=True, slots=True)
class Rule:
    """A reference to a named rule of the grammar."""

    name: str


@dataclass(frozen=True, slots=True)
class Tag:
    """A tagged span: whatever ``item`` matches is reported as ``name`` with ``value``.

    A ``value`` of None stands for the words matched.
    """

    name: str
    value: str | None
    item: Expression


@dataclass(frozen=True, slots=True)
class Null:
    """Always matches, without a word (JSGF ``<NULL>``)."""


@dataclass(frozen=True, slots=True)
class Void:
    """Never matches (JSGF ``<VOID>``)."""


Expression = Words | Sequence | Choice | Maybe | Repeat | Rule | Tag | Null | Void


@dataclass(frozen=True, slots=True)
class Grammar:
    """Named rules. A phrase of the grammar is a phrase of any of its ``public`` rules.

    With ``rule_spans``, every rule reached by reference is reported as a span of that name
    (what ``voicelog decode`` calls a slot); without it only :class:`Tag` makes spans. ``likely`` names
    a rule that what is said next probably is a phrase of, such as the answer to a question.
    """

    name: str
    rules: dict[str, Expression]
    public: tuple[str, ...]
    rule_spans: bool = False
    source: str = field(default="", compare=False)
    likely: str = ""


def words(text: str) -> Expression:
    """Return the expression for the words of ``text``; :class:`Null` when there are none."""
    split = tuple(text.lower().split())
    return Words(split) if split else Null()


def sequence(*items: Expression) -> Expression:
    """Return the items in order, flattened; a single item stands for itself."""
    flat: list[Expression] = []
    for item in items:
        flat.extend(item.items if isinstance(item, Sequence) else (item,))
    kept = tuple(item for item in flat if not isinstance(item, Null))
    if not kept:
        return Null()
    return kept[0] if len(kept) == 1 else Sequence(kept)


def choice(items: Iterable[Expression]) -> Expression:
    """Return one of the items; no item at all can never match."""
    kept = tuple(items)
    if not kept:
        return Void()
    return kept[0] if len(kept) == 1 else Choice(kept)


def phrases(texts: Iterable[str]) -> Expression:
    """Return one of the phrases written in ``texts``."""
    return choice(words(text) for text in texts)


def all_words(grammar: Grammar) -> frozenset[str]:
    """Return every word that a grammar's rules write, sayable or not."""
    found: set[str] = set()
    todo: list[Expression] = list(grammar.rules.values())
    while todo:
        match todo.pop():
            case Words(said):
                found.update(said)
            case Sequence(items) | Choice(items):
                todo.extend(items)
            case Maybe(item) | Repeat(item) | Tag(_, _, item):
                todo.append(item)
            case _:
                pass
    return frozenset(found)
