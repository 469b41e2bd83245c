"""What every table of a TOML file is: closed, strict, frozen; and how a quantity is read in one.

Private to this package.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict

from voicelog.sheet.quantities import parse_quantity


def _quantity(value: object) -> Fraction:
    return value if isinstance(value, Fraction) else parse_quantity(value)


Quantity = Annotated[Fraction, BeforeValidator(_quantity)]


class Table(BaseModel):
    """Refuses unknown keys, so that a misspelt one cannot be silently ignored."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
