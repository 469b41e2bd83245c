"""Whether a unit of measurement is one that pint can calculate with."""

from __future__ import annotations

from functools import cache

import pint


@cache
def known_to_pint(unit: str) -> bool:
    """Return whether pint's default registry defines ``unit``."""
    try:
        return unit in pint.application_registry
    except (pint.PintError, AttributeError, TypeError, ValueError):
        return False
