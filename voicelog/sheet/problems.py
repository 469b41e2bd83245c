"""What is wrong with a file, and where: found all at once, raised or listed by the caller.

A problem with severity ``error`` stops the file from being used; a ``warning`` does not.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from rapidfuzz import fuzz, process, utils

from voicelog.errors import SheetError, at

Severity = Literal["error", "warning"]

_LISTED = 5
"""How many further problems an error message lists."""

_ALIKE = 65.0
"""Percentage of likeness (rapidfuzz ratio) from which a word is offered as the one meant."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing to put right in a sheet, lexicon or unit file."""

    path: str
    line: int
    """Counted from 1; 0 when the problem belongs to no line (a missing file)."""
    what: str
    remedy: str
    severity: Severity = "error"

    def __str__(self) -> str:
        """Return the problem as it is printed: place, severity, what, remedy."""
        return f"{at(self.path, self.line)}: {self.severity}: {self.what}\n  What to do: {self.remedy}"


class Unreadable(Exception):
    """Carries the problems that stopped a file from being read; private to this package."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        """Keep the problems for the caller."""
        self.problems = tuple(problems)
        super().__init__(self.problems)


def errors_of(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Return the problems that stop a file from being used."""
    return tuple(problem for problem in problems if problem.severity == "error")


def raise_errors(problems: Iterable[Problem]) -> None:
    """Raise :class:`SheetError` worded from the errors among ``problems``, if there are any."""
    errors = errors_of(problems)
    if not errors:
        return
    first, *rest = errors
    remedy = first.remedy
    if rest:
        noun = "problem" if len(rest) == 1 else "problems"
        listed = [f"    {at(p.path, p.line)}: {p.what}" for p in rest[:_LISTED]]
        if len(rest) > _LISTED:
            listed.append(f"    and {len(rest) - _LISTED} more")
        remedy += f"\n  {len(rest)} more {noun}:\n" + "\n".join(listed)
    raise SheetError(first.what, where=at(first.path, first.line), remedy=remedy)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like ``word``, or None when none is much like it."""
    found = process.extractOne(
        word, list(known), scorer=fuzz.ratio, processor=utils.default_process, score_cutoff=_ALIKE
    )
    return found[0] if found else None


def suggestion(word: str, known: Iterable[str], *, otherwise: str = "") -> str:
    """Return ``did you mean "x"?`` or, when nothing is near, what can be written instead."""
    options = list(known)
    near = nearest(word, options)
    if near is not None:
        return f'Did you mean "{near}"?'
    if otherwise:
        return otherwise
    return "Write one of: " + ", ".join(options) + "."
