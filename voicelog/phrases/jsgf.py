"""JSGF grammars, read and written (JSpeech Grammar Format, W3C Note of 5 June 2000).

Invariant: a grammar that is read is whole and regular: every rule it refers to is defined once,
at least one rule is public, and no rule leads back to itself. Words become lower case.

The Note says nothing of what a tag means. Here ``{name=value}`` is a span ``name`` with that
value, and any other tag ``{text}`` is a span ``tag`` whose value is the text.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from lark import Lark, Token, Transformer, v_args
from lark.exceptions import UnexpectedInput, VisitError

from voicelog.errors import GrammarError, at
from voicelog.phrases.expression import (
    Choice,
    Expression,
    Grammar,
    Maybe,
    Null,
    Repeat,
    Rule,
    Tag,
    Void,
    Words,
    choice,
    sequence,
    words,
)
from voicelog.phrases.jsgf_problems import syntax_error
from voicelog.phrases.jsgf_writing import GRAMMAR_NAME, RULE_NAME, SPAN, TOKEN, write_jsgf

__all__ = ["load_jsgf", "read_jsgf", "write_jsgf"]

_HEADER = re.compile(
    r"#JSGF[ \t]+V(?P<version>[^\s;]+)(?:[ \t]+(?P<encoding>[^\s;]+)(?:[ \t]+[^\s;]+)?)?[ \t]*;"
)
_HEADER_REMEDY = 'begin the file with the line "#JSGF V1.0;"'
_SYNTAX = rf"""
start: declaration imported* definition*
declaration: "grammar" GRAMMAR_NAME ";"
imported: IMPORT RULE_NAME ";"
definition: [PUBLIC] RULE_NAME "=" alternatives ";"
alternatives: alternative ("|" alternative)*
alternative: [WEIGHT] series
series: item+
item: _atom (STAR | PLUS | TAG)*
_atom: token | quoted | reference | "(" alternatives ")" | optional
token: TOKEN
quoted: QUOTED
reference: RULE_NAME
optional: "[" alternatives "]"

IMPORT: "import"
PUBLIC: "public"
STAR: "*"
PLUS: "+"
TAG: /\{{(?:[^}}\\]|\\.)*\}}/s
WEIGHT: /\/\s*(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?\s*\//
QUOTED: /"(?:[^"\\]|\\.)*"/s
RULE_NAME: /{RULE_NAME}/
GRAMMAR_NAME: /{GRAMMAR_NAME}/
TOKEN: /{TOKEN}/
COMMENT: /\/\/[^\r\n]*/ | /\/\*.*?\*\//s
%import common.WS
%ignore WS
%ignore COMMENT
"""


@cache
def _parser() -> Lark:
    return Lark(_SYNTAX, parser="lalr")


@dataclass(frozen=True, slots=True)
class _Definition:
    """A rule as it stands in the file; ``references`` are the names it leads to, with lines."""

    name: str
    line: int
    public: bool
    expression: Expression
    references: tuple[tuple[str, int], ...]


if TYPE_CHECKING:
    _Base = Transformer[Token, tuple[str, list[_Definition]]]
else:
    _Base = Transformer


@v_args(inline=True)
class _Builder(_Base):
    """Turns the parse tree into expressions, bottom up, so a rule's references come before it."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self._source = source
        self._grammar = ""
        self._references: list[tuple[str, int]] = []

    def _error(self, what: str, token: Token, remedy: str) -> GrammarError:
        return GrammarError(what, where=at(self._source, token.line), remedy=remedy)

    def start(self, *parts: str | _Definition) -> tuple[str, list[_Definition]]:
        return self._grammar, [part for part in parts if isinstance(part, _Definition)]

    def declaration(self, name: Token) -> str:
        self._grammar = str(name)
        return self._grammar

    def imported(self, keyword: Token, name: Token) -> str:
        raise self._error(
            f"rules from other grammars cannot be imported: {name}",
            keyword,
            "copy the rules of that grammar into this file and take the import line out",
        )

    def definition(self, public: Token | None, token: Token, expression: Expression) -> _Definition:
        name = self._local(token)
        if name in ("NULL", "VOID"):
            raise self._error(
                f"{token} is reserved and cannot be defined", token, "give the rule another name"
            )
        references, self._references = tuple(self._references), []
        return _Definition(name, token.line or 0, public is not None, expression, references)

    def alternatives(self, *parts: tuple[float | None, Token | None, Expression]) -> Expression:
        items = tuple(item for _, _, item in parts)
        weights = tuple(weight for weight, _, _ in parts if weight is not None)
        if not weights or len(items) == 1:
            return choice(items)
        written = next(token for _, token, _ in parts if token is not None)
        if len(weights) < len(items):
            raise self._error(
                "some alternatives have a weight and some have none",
                written,
                "give every alternative of the group a weight such as /1/, or none of them",
            )
        if not any(weights):
            raise self._error(
                "every weight is zero", written, "give at least one alternative a weight above zero"
            )
        return Choice(items, weights)

    def alternative(
        self, weight: Token | None, item: Expression
    ) -> tuple[float | None, Token | None, Expression]:
        return (None if weight is None else float(weight.strip("/")), weight, item)

    def series(self, *items: Expression) -> Expression:
        merged: list[Expression] = []
        spoken = (item for item in items if not isinstance(item, Null))
        for are_words, run in groupby(spoken, key=lambda item: isinstance(item, Words)):
            if are_words:
                merged.append(
                    Words(tuple(word for item in run if isinstance(item, Words) for word in item.words))
                )
            else:
                merged.extend(run)
        return sequence(*merged)

    def item(self, expression: Expression, *operators: Token) -> Expression:
        for operator in operators:
            if operator.type == "TAG":
                expression = _tagged(re.sub(r"\\(.)", r"\1", operator[1:-1], flags=re.DOTALL), expression)
            else:
                expression = Repeat(expression, 0 if operator.type == "STAR" else 1)
        return expression

    def token(self, token: Token) -> Expression:
        return words(token)

    def quoted(self, token: Token) -> Expression:
        return words(re.sub(r"\\(.)", r"\1", token[1:-1], flags=re.DOTALL))

    def optional(self, item: Expression) -> Expression:
        return Maybe(item)

    def reference(self, token: Token) -> Expression:
        name = self._local(token)
        if name == "NULL":
            return Null()
        if name == "VOID":
            return Void()
        self._references.append((name, token.line or 0))
        return Rule(name)

    def _local(self, token: Token) -> str:
        """Return the rule's own name; a name qualified with this grammar's name is the same rule."""
        qualifier, _, name = token[1:-1].rpartition(".")
        if qualifier and qualifier not in (self._grammar, self._grammar.rpartition(".")[2]):
            raise self._error(
                f"{token} belongs to another grammar",
                token,
                f"copy that rule into this file and call it <{name}>",
            )
        return name


def _tagged(text: str, item: Expression) -> Tag:
    span = SPAN.fullmatch(text)
    return Tag(span["name"], span["value"], item) if span else Tag("tag", text, item)


def _check(definitions: list[_Definition], source: str) -> None:
    """Raise :class:`GrammarError` unless the rules are whole and regular."""
    known: dict[str, _Definition] = {}
    for rule in definitions:
        if rule.name in known:
            raise GrammarError(
                f"<{rule.name}> is defined twice, first on line {known[rule.name].line}",
                where=at(source, rule.line),
                remedy="give one of them another name, or join them with |",
            )
        known[rule.name] = rule
    for rule in definitions:
        for name, line in rule.references:
            if name not in known:
                raise GrammarError(
                    f"<{name}> is not defined", where=at(source, line), remedy=f'write "<{name}> = ...;"'
                )
    if not any(rule.public for rule in definitions):
        raise GrammarError(
            "no rule is public, so nothing can be said" if definitions else "the grammar has no rules",
            where=at(source),
            remedy='write "public" before the rule that holds whole phrases, as in "public <phrase> = ...;"',
        )
    _check_regular(known, source)


def _check_regular(known: dict[str, _Definition], source: str) -> None:
    done: set[str] = set()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        if name in done:
            return
        for referred, line in known[name].references:
            if referred in (*trail, name):
                whole = (*trail, name)
                cycle = (*whole[whole.index(referred) :], referred)
                raise GrammarError(
                    "a rule leads back to itself: " + " to ".join(f"<{step}>" for step in cycle),
                    where=at(source, line),
                    remedy="repeat with * (none or more) or + (one or more) instead of naming the rule again",
                )
            visit(referred, (*trail, name))
        done.add(name)

    for name in known:
        visit(name, ())


def read_jsgf(text: str, source: str = "") -> Grammar:
    """Return the grammar written in ``text``; ``source`` is the file's name for messages.

    The grammar has ``rule_spans``: a named rule is a slot. Raises :class:`GrammarError` with the
    line and what to write.
    """
    source = source or "the grammar"
    text = text.removeprefix("\N{BYTE ORDER MARK}")
    if not text.strip():
        raise GrammarError("the file is empty", where=at(source), remedy=_HEADER_REMEDY)
    header = _HEADER.match(text)
    if header is None:
        raise GrammarError("this is not a JSGF grammar", where=at(source, 1), remedy=_HEADER_REMEDY)
    if header["version"] != "1.0":
        raise GrammarError(
            f"JSGF version {header['version']} is not known", where=at(source, 1), remedy=_HEADER_REMEDY
        )
    body = " " * header.end() + text[header.end() :]
    try:
        name, definitions = _Builder(source).transform(_parser().parse(body))
        _check(definitions, source)
    except UnexpectedInput as problem:
        raise syntax_error(problem, source) from None
    except (VisitError, RecursionError) as problem:
        if isinstance(problem, VisitError) and not isinstance(problem.orig_exc, RecursionError):
            raise problem.orig_exc from None
        raise GrammarError(
            "the rules are nested too deeply",
            where=at(source),
            remedy="take brackets that group nothing out, or give inner groups a rule of their own",
        ) from None
    return Grammar(
        name=name,
        rules={rule.name: rule.expression for rule in definitions},
        public=tuple(rule.name for rule in definitions if rule.public),
        rule_spans=True,
        source=source,
    )


def load_jsgf(path: Path | str) -> Grammar:
    """Read the grammar file at ``path``, in the encoding its header names (UTF-8 if none).

    Raises :class:`GrammarError` for a file that cannot be opened, decoded or read.
    """
    try:
        data = Path(path).read_bytes()
    except OSError as problem:
        raise GrammarError(
            f"the grammar cannot be opened: {problem.strerror or problem}",
            where=at(path),
            remedy="check the file's name and that you may read it",
        ) from None
    header = _HEADER.match(data[:200].decode("latin-1").removeprefix("\u00ef\u00bb\u00bf"))
    encoding = (header["encoding"] if header else None) or "utf-8"
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    try:
        text = data.decode(encoding)
    except LookupError:
        raise GrammarError(
            f'the encoding "{encoding}" is not known',
            where=at(path, 1),
            remedy='save the file as UTF-8 and begin it with "#JSGF V1.0 UTF-8;"',
        ) from None
    except UnicodeDecodeError as problem:
        raise GrammarError(
            f"the file is not written in {encoding}",
            where=at(path, data[: problem.start].count(b"\n") + 1),
            remedy='save the file as UTF-8 and begin it with "#JSGF V1.0 UTF-8;"',
        ) from None
    return read_jsgf(text, str(path))
