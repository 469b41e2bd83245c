"""Published limits as tables: rows by what the unit is, each with its source and how it is known.

Values are exact, in the table's own unit. A value equal to a bound is within it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from voicelog.sheet.model import Basis
from voicelog.sheet.quantities import parse_quantity

Known = Literal["seen", "from memory"]
"""``seen``: the figure was read in its source or a reprint. Otherwise it must be checked first."""

_OR_LESS = " or less"


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One figure of a table, and what it is the limit of."""

    keys: tuple[tuple[str, str], ...]
    """What the unit must be: ``(("chamber_type", "30"), ("stroke", "long"))``."""
    minimum: Fraction | None
    maximum: Fraction | None
    known: Known
    read_in: str
    """Where this figure was read; of one from memory, where else the same figure was read, if anywhere."""

    def fits(self, attributes: Mapping[str, str]) -> bool:
        """Return whether the row is of what has these attributes."""
        return all(key in attributes and _matches(wanted, attributes[key]) for key, wanted in self.keys)


@dataclass(frozen=True, slots=True)
class LimitRows:
    """A table of limits of one thing."""

    name: str
    unit: str
    by: tuple[str, ...]
    """The keys that choose a row; empty for a table of one row."""
    source: str
    edition: str
    basis: Basis
    note: str
    rows: tuple[LimitRow, ...]

    def row(self, attributes: Mapping[str, str]) -> LimitRow | None:
        """Return the row of what has these attributes; None where there is none."""
        return next((row for row in self.rows if row.fits(attributes)), None)

    def cited(self, row: LimitRow) -> str:
        """Return where a row's figure comes from, with its edition and how it is known."""
        keys = " ".join(value for _, value in row.keys)
        parts = (self.source, self.edition, keys, "" if self.basis == "common practice" else how_known(row))
        return ", ".join(part for part in parts if part)


def how_known(row: LimitRow) -> str:
    """Return whether a figure was seen or is from memory, in words."""
    if row.known == "from memory" and row.read_in:
        return "from memory, the same figure seen elsewhere"
    return row.known


@dataclass(frozen=True, slots=True)
class Curve:
    """Rest voltage of a twelve-volt battery against its state of charge."""

    chemistry: str
    points: tuple[tuple[Fraction, Fraction], ...]
    """(volts, percent), the most first."""
    at: Fraction
    """Degrees Fahrenheit of the table."""
    per_degree: Fraction
    """Volts that the same charge reads more for each degree above ``at``; 0 where none is given."""
    source: str
    edition: str
    known: Known
    read_in: str

    @property
    def cited(self) -> str:
        """Where the curve comes from, with its edition and how it is known."""
        return ", ".join(part for part in (self.source, self.edition, self.known) if part)


@dataclass(frozen=True, slots=True)
class Limits:
    """Everything that a file of limits holds."""

    edition: str
    tables: Mapping[str, LimitRows]
    """By name."""
    curves: tuple[Curve, ...]
    sha256: str
    path: str

    def curve(self, chemistry: str) -> Curve | None:
        """Return the curve of a chemistry; None where there is none."""
        return next((curve for curve in self.curves if curve.chemistry == chemistry), None)


def _matches(wanted: str, given: str) -> bool:
    """Return whether a key's value, such as ``16 or less``, is that of the unit."""
    if wanted.endswith(_OR_LESS):
        return parse_quantity(given) <= parse_quantity(wanted.removesuffix(_OR_LESS))
    return wanted == given
