"""The shape of the TOML files, before anything is compared with anything else.

Private to this package: the rest of voicelog sees :mod:`voicelog.sheet.model`. Unknown keys
are refused, so that a misspelt ``required`` cannot be silently ignored.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, Field, ValidationError

from voicelog.sheet.limit_model import Known
from voicelog.sheet.limit_schema import LIMIT_TABLES
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.model import Basis, ComputedKind, Extent, Polarity, Side, TimedKind
from voicelog.sheet.problems import suggestion
from voicelog.sheet.quantities import FORMS
from voicelog.sheet.tables import Quantity, Table
from voicelog.sheet.unit_model import (
    AirSystem,
    Assist,
    AxlePosition,
    ChamberKind,
    Chemistry,
    Fitted,
    StrokeClass,
    TyrePosition,
)
from voicelog.sheet.unit_schema import UNIT_TABLES

ForEach = Literal["axle", "wheel end", "tyre", "battery", "belt"]


class LimitTable(Table):
    """``limit = { min, max, source, basis }`` or ``limit = { table, row }``."""

    min: Quantity | None = None
    max: Quantity | None = None
    source: str = ""
    basis: Basis | None = None
    table: str | None = None
    row: dict[str, str] = {}
    or_none: bool = False
    unless: str | None = None


class ResolvedLimit(LimitTable):
    """A limit as it is for one unit; never written in a file."""

    own: bool = False
    replaces: LimitTable | None = None


class ReadingTable(Table):
    """``[[stop.point.reading]]``."""

    id: str
    name: str
    say: list[str] | None = None
    unit: str
    range: list[Quantity]
    resolution: Quantity
    required: bool = True
    limit: LimitTable | None = None


class ComputedTable(Table):
    """``[[stop.point.computed]]``."""

    id: str
    name: str
    kind: ComputedKind
    inputs: dict[str, str | int | Decimal] = {}
    range: list[Quantity]
    required: bool = True
    limit: LimitTable | None = None


class TimedTable(Table):
    """``[[stop.point.timed]]``."""

    id: str
    name: str
    say: list[str] | None = None
    kind: TimedKind
    reading: str | None = None
    span: list[Quantity] | None = None
    planned: Quantity | None = None
    tell: list[Quantity] = []
    by_reading: bool = False
    required: bool = True
    limit: LimitTable | None = None


class PointTable(Table):
    """``[[stop.point]]``."""

    id: str
    for_each: ForEach | None = None
    where: dict[str, str] = {}
    name: str
    say: list[str] | None = None
    side: Side | None = None
    look_for: str = ""
    aspects: list[str] = []
    required: bool = True
    extent: Extent = "daily"
    reading: list[ReadingTable] = []
    computed: list[ComputedTable] = []
    timed: list[TimedTable] = []

    @property
    def limits(self) -> list[LimitTable]:
        """The limits of everything that is measured at it."""
        said, computed = (r.limit for r in self.reading), (c.limit for c in self.computed)
        every = (*said, *computed, *(t.limit for t in self.timed))
        return [limit for limit in every if limit is not None]


class CautionTable(Table):
    """``{ text, ask, say }`` in a list of cautions; a sentence alone is its text."""

    text: str
    ask: str = ""
    say: list[str] | None = None


def _caution(written: object) -> object:
    return {"text": written} if isinstance(written, str) else written


Cautions = list[Annotated[CautionTable, BeforeValidator(_caution)]]


class StopTable(Table):
    """``[[stop]]``."""

    id: str
    name: str
    say: list[str] | None = None
    side: Side = "none"
    cautions: Cautions = []
    point: list[PointTable] = []


class SheetTable(Table):
    """``[sheet]``."""

    id: str
    title: str
    edition: str
    lexicon: str = "lexicon.toml"
    limits: str | None = None
    cautions: Cautions = []


class SheetFile(Table):
    """A whole check sheet."""

    sheet: SheetTable
    stop: list[StopTable] = []


class AspectTable(Table):
    """``[[aspect]]``."""

    id: str
    name: str


class ClassTable(Table):
    """``[[class]]``."""

    id: str
    name: str
    meaning: str
    source: str
    rank: int


class ConditionTable(Table):
    """``[[condition]]``."""

    id: str
    name: str | None = None
    aspect: str
    polarity: Polarity
    class_id: str | None = Field(default=None, alias="class")
    say: list[str]


class MeasureTable(Table):
    """``[[measure]]``."""

    unit: str
    symbol: str
    say: list[str]


class SideTable(Table):
    """``[[side]]``."""

    id: Side
    say: list[str]


class LanguageTable(Table):
    """``[language]``: the small words of a lexicon that is not English."""

    name: str
    is_: list[str] = Field(default=[], alias="is")
    at: list[str] = []
    on: list[str] = []
    the: list[str] = []
    and_: list[str] = Field(default=[], alias="and")
    go_to: list[str] = []
    one: list[str] = []


class CommandTable(Table):
    """``[[command]]``: how a control word is said in that language."""

    id: str
    say: list[str]


class LexiconFile(Table):
    """A whole lexicon."""

    language: LanguageTable | None = None
    command: list[CommandTable] = []
    aspect: list[AspectTable] = []
    class_: list[ClassTable] = Field(default=[], alias="class")
    condition: list[ConditionTable] = []
    measure: list[MeasureTable] = []
    side: list[SideTable] = []


Tables = Mapping[tuple[str, ...], type[BaseModel]]
"""The tables of a file by their names."""

_TABLES: Tables = {
    ("sheet",): SheetTable,
    ("sheet", "cautions"): CautionTable,
    ("stop",): StopTable,
    ("stop", "cautions"): CautionTable,
    ("stop", "point"): PointTable,
    ("stop", "point", "reading"): ReadingTable,
    ("stop", "point", "reading", "limit"): LimitTable,
    ("stop", "point", "timed"): TimedTable,
    ("stop", "point", "timed", "limit"): LimitTable,
    ("stop", "point", "computed"): ComputedTable,
    ("stop", "point", "computed", "limit"): LimitTable,
    ("aspect",): AspectTable,
    ("class",): ClassTable,
    ("condition",): ConditionTable,
    ("measure",): MeasureTable,
    ("side",): SideTable,
    ("language",): LanguageTable,
    ("command",): CommandTable,
    **LIMIT_TABLES,
    **UNIT_TABLES,
}

_CHOICES: dict[str, tuple[str, ...]] = {
    "side": get_args(Side),
    "basis": get_args(Basis),
    "extent": get_args(Extent),
    "polarity": get_args(Polarity),
    "for_each": get_args(ForEach),
    "stroke": get_args(StrokeClass),
    "chemistry": get_args(Chemistry),
    "assist": get_args(Assist),
    "air_system": get_args(AirSystem),
    "known": get_args(Known),
    "fitted": get_args(Fitted),
}

_WANTED: dict[str, str] = {
    "string_type": 'words in quotes, such as "left front"',
    "list_type": 'a list in square brackets, such as ["lift cylinder"]',
    "bool_type": "true or false, without quotes",
    "int_type": "a whole number, without quotes",
    "model_type": "a table with keys of its own",
    "value_error": FORMS,
}


def faults(
    error: ValidationError, root: type[BaseModel], tables: Tables | None = None
) -> list[tuple[KeyPath, str, str]]:
    """Return each fault of ``error`` as key path, what is wrong and what to write."""
    return [_fault(dict(found), root, tables or _TABLES) for found in error.errors()]


def _fault(found: dict[str, Any], root: type[BaseModel], tables: Tables) -> tuple[KeyPath, str, str]:
    path: KeyPath = found["loc"]
    names = tuple(part for part in path if isinstance(part, str))
    key = names[-1] if names else ""
    kind: str = found["type"]
    table = tables.get(names[:-1], root)
    place = f"[{'.'.join(names[:-1])}]" if names[:-1] else "the file"
    if kind == "extra_forbidden":
        known = _keys(table)
        return path, f'unknown key "{key}" in {place}', suggestion(key, known, otherwise=_or_remove(known))
    if kind == "missing":
        return path[:-1], f'"{key}" is missing from {place}', _how_to_add(key)
    if kind == "literal_error":
        options = _choices(names)
        value = str(found["input"])
        what = f'unknown {key} "{value}"'
        return path, what, suggestion(value, options)
    wanted = _WANTED.get(kind)
    what = f'"{key}" in {place} cannot be {_seen(found["input"])}'
    return path, what, f"Write {wanted}." if wanted else f"Put it right: {found['msg'].lower()}."


def _choices(names: tuple[str, ...]) -> tuple[str, ...]:
    """Return the words that a key may have; ``kind`` and ``position`` mean more than one thing."""
    *tables, key = names
    if key == "kind":
        kinds = {"computed": get_args(ComputedKind), "timed": get_args(TimedKind)}
        return kinds.get(tables[-1], get_args(ChamberKind))
    if key == "position":
        return get_args(TyrePosition) if "tyres" in tables else get_args(AxlePosition)
    return _CHOICES.get(key, get_args(Side))


def _keys(table: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in table.model_fields.items()]


def _or_remove(known: list[str]) -> str:
    return "Take it out; the keys here are: " + ", ".join(known) + "."


def _how_to_add(key: str) -> str:
    if (key,) in _TABLES:
        return f"Add a [{key}] table."
    example: dict[str, str] = {
        "say": '["first way", "second way"]',
        "sheets": '["engine_bay"]',
        "range": "[0, 2]",
        "resolution": '"1/8"',
        "rank": "1",
        "basis": '"common practice"',
        "polarity": '"defect"',
        "kind": '"loss"',
        "known": '"from memory"',
        "pressure": "110",
        "wheel_diameter": "20",
    }
    return f"Add a line: {key} = {example.get(key, _quoted_blank(key))}."


def _quoted_blank(key: str) -> str:
    return f'"the {key.replace("_", " ")}"'


_SHOWN: tuple[tuple[type, Callable[[Any], str]], ...] = (
    (bool, lambda value: str(value).lower()),
    (str, lambda value: f'"{value}"'),
    (list, lambda value: "a list"),
    (dict, lambda value: "a table"),
)


def _seen(value: object) -> str:
    for kind, shown in _SHOWN:
        if isinstance(value, kind):
            return shown(value)
    return str(value)
