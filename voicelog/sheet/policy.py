"""The local policy: what takes a unit out of service, and who may sign; read from a TOML file.

A rule that names a class or condition that is not there fits nothing, and would let a unit pass. So
a policy is used only when these are known. A point may be one that another unit's sheet has: a sheet
is written out for its unit's parts. So a point that a walk's sheet lacks is passed over, and
:func:`check_policy` tells of one that no sheet has.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from voicelog.sheet.checks import Fault
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.model import Extent, Sheet
from voicelog.sheet.problems import Problem, Unreadable, errors_of, raise_errors, suggestion
from voicelog.sheet.schema import Tables
from voicelog.sheet.source import Source, as_tables, read_toml
from voicelog.sheet.tables import Table

LEAST_MONTHS = 3
"""What is kept whatever the policy says: see :data:`voicelog.defects.retention.DAYS`."""
Demand = Literal["out_of_service", "restrictions"]
DEMANDS: tuple[Demand, ...] = ("out_of_service", "restrictions")


class PolicyTable(Table):
    """``[policy]``."""

    title: str
    edition: str


class RuleTable(Table):
    """``[[out_of_service]]`` and ``[[restrictions]]``."""

    why: str
    class_id: str | None = Field(default=None, alias="class")
    conditions: list[str] = Field(default=[])
    sheet: str | None = None
    points: list[str] = Field(default=[])
    outside_limit: bool = False


class DoubtsTable(Table):
    """``[doubts]``."""

    longest_hours: Annotated[int, Field(ge=1)] = 24


class SigningTable(Table):
    """``[signing]``."""

    own_walk: bool = False
    override_by: list[str] = Field(default=[])


class RetentionTable(Table):
    """``[retention]``: months, at least."""

    walks_months: Annotated[int, Field(ge=0)] = 0
    repairs_months: Annotated[int, Field(ge=0)] = 0
    sound_months: Annotated[int, Field(ge=0)] = 0


class IntervalTable(Table):
    """``[[interval]]``: how often a check is due."""

    extent: Extent
    days: Annotated[int, Field(ge=0)]
    sheet: str | None = None


class PolicyFile(Table):
    """A whole policy."""

    policy: PolicyTable
    out_of_service: list[RuleTable] = Field(default=[])
    restrictions: list[RuleTable] = Field(default=[])
    doubts: DoubtsTable = DoubtsTable()
    signing: SigningTable = SigningTable()
    retention: RetentionTable = RetentionTable()
    interval: list[IntervalTable] = Field(default=[])


_TABLES: Tables = {
    ("policy",): PolicyTable,
    ("out_of_service",): RuleTable,
    ("restrictions",): RuleTable,
    ("doubts",): DoubtsTable,
    ("signing",): SigningTable,
    ("retention",): RetentionTable,
    ("interval",): IntervalTable,
}


@dataclass(frozen=True, slots=True)
class Rule:
    """What a defect must have for the rule to fit it; what is empty or None fits any."""

    demand: Demand
    why: str
    class_id: str | None
    conditions: tuple[str, ...]
    sheet: str | None
    points: tuple[str, ...]
    outside_limit: bool


USUAL_DAYS: dict[Extent, int] = {"daily": 1, "weekly": 7, "monthly": 31}
"""How often a check is due where the policy does not say: what its name says."""


@dataclass(frozen=True, slots=True)
class Interval:
    """How often a check of an extent is due."""

    extent: Extent
    days: int
    """0: it is not due by itself."""
    sheet: str | None
    """Its id; None for every sheet that has no interval of its own."""


@dataclass(frozen=True, slots=True)
class Policy:
    """A local policy. A point that the sheet it was read for lacks fits nothing there."""

    title: str
    edition: str
    rules: tuple[Rule, ...]
    """Those that take the unit out of service first."""
    doubt_hours: int
    """How long a doubt may stay open."""
    own_walk: bool
    """Whether who walked may also confirm the walk."""
    override_by: tuple[str, ...]
    """Who may decide against the policy; empty: any officer."""
    walks_months: int
    """How long walks are kept at least; 0 where the policy does not say."""
    repairs_months: int
    sha256: str
    path: str
    intervals: tuple[Interval, ...] = ()
    sound_months: int = 0
    """How long the sound of walks is kept at least; 0: as long as the walk."""

    def is_of(self, text: bytes) -> bool:
        """Return whether it was read from a file with these bytes."""
        return self.sha256 == hashlib.sha256(text).hexdigest()

    def every_days(self, sheet_id: str, extent: Extent) -> int:
        """Return after how many days a check is due again; 0 where it is not due by itself."""
        of_extent = [i for i in self.intervals if i.extent == extent]
        for sheet in (sheet_id, None):
            for interval in of_extent:
                if interval.sheet == sheet:
                    return interval.days
        return USUAL_DAYS[extent]


NO_POLICY = Policy(
    title="no local policy: the shipped example does not fit this sheet's lexicon",
    edition="none",
    rules=(),
    doubt_hours=DoubtsTable().longest_hours,
    own_walk=SigningTable().own_walk,
    override_by=(),
    walks_months=0,
    repairs_months=0,
    sha256="",
    path="",
)
"""What applies where no policy does: nothing is demanded, and the title says so wherever it is shown."""


def load_policy(path: Path | str, sheet: Sheet) -> Policy:
    """Return the policy at ``path``, for walks of ``sheet``. Raises SheetError."""
    policy, problems = _read(Path(path), (sheet,), points=False)
    raise_errors(problems)
    assert policy is not None
    return policy


def check_policy(path: Path | str, sheets: tuple[Sheet, ...]) -> tuple[Problem, ...]:
    """Return everything wrong with a policy for walks of ``sheets``, in line order.

    A point that some of them lack is a warning, one that none of them has is an error.
    """
    return tuple(sorted(_read(Path(path), sheets, points=True)[1], key=lambda problem: problem.line))


def _read(path: Path, sheets: tuple[Sheet, ...], *, points: bool) -> tuple[Policy | None, list[Problem]]:
    try:
        source = read_toml(path, "policy")
        file = as_tables(source, PolicyFile, _TABLES)
    except Unreadable as unreadable:
        return None, list(unreadable.problems)
    found = [*_faults(file, sheets), *(_point_faults(file, sheets) if points else ())]
    problems = [source.problem(fault) for fault in dict.fromkeys(found)]
    return (None if errors_of(problems) else _build(file, source)), problems


def _faults(file: PolicyFile, sheets: tuple[Sheet, ...]) -> Iterator[Fault]:
    for name in ("title", "edition"):
        if not getattr(file.policy, name).strip():
            yield ("policy", name), f"the policy has no {name}", f"Write its {name}.", "error"
    if not file.out_of_service:
        what = "no rule takes a unit out of service"
        remedy = 'Add [[out_of_service]] with class = "hold", or what your department decides.'
        yield ("policy",), what, remedy, "error"
    for demand in DEMANDS:
        for index, rule in enumerate(getattr(file, demand)):
            for sheet in sheets:
                yield from _rule_faults((demand, index), rule, sheet)
    told: set[tuple[str, str | None]] = set()
    for index, interval in enumerate(file.interval):
        if (interval.extent, interval.sheet) in told:
            what = f"how often the {interval.extent} check is due is told twice"
            yield ("interval", index), what, "Leave one of the two out.", "error"
        told.add((interval.extent, interval.sheet))
    kept = file.retention
    for name in ("walks_months", "repairs_months", "sound_months"):
        if 0 < getattr(kept, name) < LEAST_MONTHS:
            what = f"{name} is less than the {LEAST_MONTHS} months that are kept whatever is written here"
            yield ("retention", name), what, f"Write {LEAST_MONTHS} or more.", "warning"
    if 0 < kept.walks_months <= kept.sound_months:
        what = "the sound is to be kept as long as the walk, or longer, and goes with it"
        yield ("retention", "sound_months"), what, "Leave it out, or give fewer months.", "warning"
    for index, name in enumerate(file.signing.override_by):
        if not name.strip():
            yield ("signing", "override_by", index), "a name is empty", "Write a person's name.", "error"


def _rule_faults(at: KeyPath, rule: RuleTable, sheet: Sheet) -> Iterator[Fault]:
    lexicon = sheet.lexicon
    if not rule.why.strip():
        yield (*at, "why"), "the rule does not say why", "Write why, and its source.", "error"
    if rule.class_id is None and not rule.conditions and not rule.points and not rule.outside_limit:
        yield at, "the rule names nothing", "Give class, conditions, points or outside_limit.", "error"
    if rule.class_id is not None and rule.class_id not in lexicon.classes:
        what = f'unknown class "{rule.class_id}"'
        yield (*at, "class"), what, suggestion(rule.class_id, lexicon.classes), "error"
    if rule.outside_limit and (rule.class_id is not None or rule.conditions):
        what = "a value outside its limit has no class and no condition, so this rule fits nothing"
        yield (*at, "outside_limit"), what, "Write two rules.", "error"
    defects = {c.id: c for c in lexicon.conditions.values() if c.polarity == "defect"}
    for index, name in enumerate(rule.conditions):
        if name not in defects:
            known = lexicon.conditions.get(name)
            what = f'"{name}" is no defect' if known else f'unknown condition "{name}"'
            yield (*at, "conditions", index), what, suggestion(name, defects), "error"
        elif rule.class_id is not None and defects[name].class_id != rule.class_id:
            what = f'"{name}" is not of the class "{rule.class_id}", so this rule fits it nowhere'
            yield (*at, "conditions", index), what, "Leave out the class, or the condition.", "error"
    if rule.points and rule.sheet is None:
        what = "the rule names points and no sheet"
        yield (*at, "points"), what, f'Add sheet = "{sheet.id}".', "error"


def _point_faults(file: PolicyFile, sheets: tuple[Sheet, ...]) -> Iterator[Fault]:
    """Yield the points that a rule names and its sheet, or every unit's form of it, does not have."""
    for demand in DEMANDS:
        for index, rule in enumerate(getattr(file, demand)):
            if rule.sheet is None or not rule.points:
                continue
            of_rule = [(sheet.whole or sheet).points for sheet in sheets if sheet.id == rule.sheet]
            if not of_rule:
                what = f'no sheet that was looked at is called "{rule.sheet}"; its points were not checked'
                yield (
                    (demand, index, "sheet"),
                    what,
                    "Name it with --sheet, and its unit with --unit.",
                    "warning",
                )
            for place, name in enumerate(rule.points):
                at: KeyPath = (demand, index, "points", place)
                lacking = [points for points in of_rule if name not in points]
                what = f'the sheet "{rule.sheet}" has no point "{name}"'
                if of_rule and len(lacking) == len(of_rule):
                    yield at, what, suggestion(name, set().union(*of_rule)), "error"
                elif lacking:
                    yield at, f"{what} for every unit", "Nothing, if this is meant so.", "warning"


def _build(file: PolicyFile, source: Source) -> Policy:
    rules = tuple(
        Rule(
            demand,
            rule.why.strip(),
            rule.class_id,
            tuple(rule.conditions),
            rule.sheet,
            tuple(rule.points),
            rule.outside_limit,
        )
        for demand in DEMANDS
        for rule in getattr(file, demand)
    )
    return Policy(
        title=file.policy.title.strip(),
        edition=file.policy.edition.strip(),
        rules=rules,
        doubt_hours=file.doubts.longest_hours,
        own_walk=file.signing.own_walk,
        override_by=tuple(file.signing.override_by),
        walks_months=file.retention.walks_months,
        repairs_months=file.retention.repairs_months,
        sha256=source.sha256,
        path=str(source.path),
        intervals=tuple(Interval(i.extent, i.days, i.sheet) for i in file.interval),
        sound_months=file.retention.sound_months,
    )
