"""Every limit as a line: what it is of, its value in the unit spoken and in SI, and where it comes from."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from fractions import Fraction

from voicelog.meaning.wording import show_limit
from voicelog.reports.si import show_si
from voicelog.sheet.limit_model import LimitRows, Limits, how_known
from voicelog.sheet.model import Lexicon, Limit, Reading, Sheet

_WIDTH = 100


@dataclass(frozen=True, slots=True)
class LimitLine:
    """One limit."""

    of: str
    """``pushrod stroke``; of a sheet's limit, the sheet, point and reading."""
    applies_to: str
    """What chooses the row: ``clamp 30 long``; empty where nothing does."""
    value: str
    si: str
    source: str
    edition: str
    known: str
    """``seen`` or ``from memory``; of a sheet's own limit empty, since its source says it."""
    basis: str
    read_in: str = ""
    note: str = ""


def table_lines(limits: Limits, lexicon: Lexicon) -> Iterator[LimitLine]:
    """Yield every row of every published table, then the curves and the classes of leak."""
    for table in limits.tables.values():
        for row in table.rows:
            reading = _reading(table, row.minimum, row.maximum)
            yield LimitLine(
                of=table.name,
                applies_to=" ".join(value for _, value in row.keys),
                value=show_limit(reading, lexicon),
                si=_si(reading, lexicon),
                source=table.source,
                edition=table.edition,
                known=how_known(row),
                basis=table.basis,
                read_in=row.read_in,
                note=table.note,
            )
    for curve in limits.curves:
        points = ", ".join(f"{float(volts):g} V {percent} %" for volts, percent in curve.points)
        yield LimitLine(
            "rest voltage and state of charge",
            curve.chemistry,
            points,
            "",
            curve.source,
            curve.edition,
            curve.known,
            "published",
            curve.read_in,
        )
    for known in lexicon.classes.values():
        if known.id.startswith("leak"):
            yield LimitLine("class of leak", known.name, known.meaning, "", known.source, "", "", "published")


def sheet_lines(sheet: Sheet) -> Iterator[LimitLine]:
    """Yield the limits that a sheet's readings are judged by, those of its unit included."""
    for point in sheet.points.values():
        for reading in point.measured:
            limit = reading.limit
            if limit is None:
                continue
            yield LimitLine(
                of=f"{sheet.id}: {point.full_name} {reading.name}",
                applies_to="",
                value=show_limit(reading, sheet.lexicon),
                si=_si(reading, sheet.lexicon),
                source=limit.source,
                edition="",
                known="",
                basis=limit.basis,
            )


def without_source(lines: Iterable[LimitLine]) -> Iterator[LimitLine]:
    """Yield the limits that no published source stands behind."""
    return (line for line in lines if line.basis == "common practice")


def as_json(line: LimitLine) -> dict[str, str]:
    """Return a line as plain data."""
    return asdict(line)


def as_text(line: LimitLine) -> Iterator[str]:
    """Yield a limit as lines to be read: what and how much, then where it comes from."""
    of = f"{line.of}, {line.applies_to}" if line.applies_to else line.of
    si = f" ({line.si})" if line.si else ""
    yield from textwrap.wrap(f"{of}: {line.value}{si}", _WIDTH, subsequent_indent="    ")
    origin = ", ".join(part for part in (line.source, line.edition, line.known) if part)
    yield from _wrapped(f"{line.basis}: {origin}")
    if line.read_in:
        yield from _wrapped(f"read in: {line.read_in}")
    if line.note:
        yield from _wrapped(line.note)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="    ", subsequent_indent="      ")


def _reading(table: LimitRows, minimum: Fraction | None, maximum: Fraction | None) -> Reading:
    bounds = [bound for bound in (minimum, maximum) if bound is not None]
    finest = max((bound.denominator for bound in bounds), default=1)
    limit = Limit(minimum, maximum, table.source, table.basis)
    # Inches are written in eighths at least, so that none becomes 2.5.
    resolution = Fraction(1, 100 if 100 % finest == 0 and table.unit != "inch" else max(finest, 8))
    return Reading(
        table.name, table.name, (table.name,), table.unit, Fraction(0), Fraction(1), resolution, limit, True
    )


def _si(reading: Reading, lexicon: Lexicon) -> str:
    """Return a reading's limit in SI; empty where it is so already or has none."""
    limit = reading.limit
    if limit is None:
        return ""
    already = show_limit(reading, lexicon)
    parts = []
    for words, bound in (("at least", limit.minimum), ("at most", limit.maximum)):
        shown = show_si(bound, reading.unit) if bound is not None else ""
        if shown and shown not in already:
            parts.append(f"{words} {shown}")
    return ", ".join(parts)
