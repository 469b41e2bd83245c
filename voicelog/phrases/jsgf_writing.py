"""Writing a grammar as JSGF text, and the shapes of JSGF names and words.

Invariant: what is written here, :func:`voicelog.phrases.jsgf.read_jsgf` reads as a grammar with
the same phrases and the same tags.
"""

from __future__ import annotations

import math
import re

from voicelog.errors import GrammarError, at
from voicelog.phrases.expression import (
    Choice,
    Expression,
    Grammar,
    Maybe,
    Null,
    Repeat,
    Rule,
    Sequence,
    Tag,
    Void,
    Words,
)

TOKEN = r"""[^\s;=|*+<>()\[\]{}"\/](?:[^\s;=|*+<>()\[\]{}"\/]|\/(?![\/*]))*"""
"""A word that needs no quotation marks."""
RULE_NAME = r"<[^<>\s]+>"
GRAMMAR_NAME = r"[\w$][\w$.-]*"
SPAN = re.compile(r"(?P<name>[^\W\d][\w.-]*)=(?P<value>.*)", re.DOTALL)
"""The text of a tag that names a span."""

_WIDTH = 100
"""Columns after which a rule's alternatives are written one to a line."""


def write_jsgf(grammar: Grammar) -> str:
    """Return the grammar as the text of a JSGF file; reading it gives the same phrases and tags.

    Two things JSGF cannot hold: ``rule_spans``, and a :class:`Tag` without a value, which is
    written ``{name}``. Raises :class:`GrammarError` for names, weights or words it has no way to
    write.
    """
    if not re.fullmatch(GRAMMAR_NAME, grammar.name):
        raise GrammarError(
            f'"{grammar.name}" cannot be the name of a JSGF grammar',
            remedy="use letters, digits, dots, hyphens and underscores",
        )
    missing = [name for name in grammar.public if name not in grammar.rules]
    if missing or not grammar.public:
        raise GrammarError(
            f"the public rule <{missing[0]}> is not defined" if missing else "no rule is public",
            where=at(grammar.source),
            remedy="name a rule of the grammar as public",
        )
    lines = ["#JSGF V1.0 UTF-8;", "", f"grammar {grammar.name};", ""]
    lines.extend(
        _written_rule(name, expression, name in grammar.public) for name, expression in grammar.rules.items()
    )
    return "\n".join(lines) + "\n"


def _written_rule(name: str, expression: Expression, public: bool) -> str:
    head = f"{'public ' if public else ''}{_written_name(name)} ="
    alternatives = _written_alternatives(expression)
    line = f"{head} {' | '.join(alternatives)};"
    if len(line) <= _WIDTH or len(alternatives) == 1:
        return line
    return f"{head}\n    " + "\n  | ".join(alternatives) + ";"


def _written_name(name: str) -> str:
    if not re.fullmatch(RULE_NAME, f"<{name}>") or "." in name or name in ("NULL", "VOID"):
        raise GrammarError(
            f'"{name}" cannot be the name of a JSGF rule',
            remedy="use a name without spaces, dots or angle brackets, other than NULL and VOID",
        )
    return f"<{name}>"


def _written_alternatives(expression: Expression) -> list[str]:
    if not isinstance(expression, Choice):
        return [_written_series(expression)]
    if not expression.items:
        return ["<VOID>"]
    if not expression.weights:
        return [_written_series(item) for item in expression.items]
    weights = expression.weights
    usable = all(math.isfinite(weight) and weight >= 0 for weight in weights) and any(weights)
    if len(weights) != len(expression.items) or not usable:
        raise GrammarError(
            f"the weights {weights} do not fit {len(expression.items)} alternatives",
            remedy="give each alternative a weight of zero or more, at least one above zero",
        )
    return [
        f"/{weight:.17g}/ {_written_series(item)}"
        for weight, item in zip(weights, expression.items, strict=True)
    ]


def _written_series(expression: Expression) -> str:
    """Return what may stand in a sequence, or be a whole alternative, without brackets."""
    match expression:
        case Words(said):
            return " ".join(_written_word(word) for word in said) or "<NULL>"
        case Sequence(items):
            return " ".join(_written_series(item) for item in items) or "<NULL>"
        case Choice():
            return f"({' | '.join(_written_alternatives(expression))})"
        case Maybe(item):
            return f"[{' | '.join(_written_alternatives(item))}]"
        case Repeat(item, minimum):
            return f"{_written_operand(item)}{'+' if minimum else '*'}"
        case Rule(name):
            return _written_name(name)
        case Tag(name, value, item):
            return f"{_written_operand(item)} {{{_written_tag(name, value)}}}"
        case Null():
            return "<NULL>"
        case Void():
            return "<VOID>"


def _written_operand(expression: Expression) -> str:
    """Return what ``*``, ``+`` or a tag can follow: one word, one rule or a group."""
    single = isinstance(expression, Rule | Null | Void | Maybe | Choice)
    written = _written_series(expression)
    return written if single else f"({written})"


def _written_word(word: str) -> str:
    if not word.strip():
        raise GrammarError("a word of the grammar is empty", remedy="take it out")
    if re.fullmatch(TOKEN, word):
        return word
    return '"' + re.sub(r'(["\\])', r"\\\1", word) + '"'


def _written_tag(name: str, value: str | None) -> str:
    text = name if value is None else f"{name}={value}"
    span = SPAN.fullmatch(f"{name}=")
    if span is None or span["name"] != name:
        raise GrammarError(
            f'"{name}" cannot be the name of a tag',
            remedy="begin it with a letter and go on with letters, digits, dots, hyphens and underscores",
        )
    return re.sub(r"([\\{}])", r"\\\1", text)
