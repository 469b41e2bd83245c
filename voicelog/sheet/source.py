"""Reading one TOML file: its tables, its edition, and where everything in it is written.

Private to this package.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from voicelog.sheet import checks
from voicelog.sheet.lines import KeyPath, LineMap
from voicelog.sheet.places import SpokenPhrase
from voicelog.sheet.problems import Problem, Unreadable
from voicelog.sheet.schema import Tables, faults

_Table = TypeVar("_Table", bound=BaseModel)

_SYNTAX_LINE = re.compile(r"\s*\(at line (\d+), column (\d+)\)")


@dataclass(frozen=True, slots=True)
class Source:
    """A TOML file as read: its tables, and where they are written."""

    path: Path
    sha256: str
    data: dict[str, object]
    lines: LineMap

    def phrase(self, where: KeyPath, text: str) -> SpokenPhrase:
        """Return a spoken phrase with its place."""
        return SpokenPhrase(text, str(self.path), self.lines.line(where))

    def problem(self, fault: checks.Fault) -> Problem:
        """Return a fault with its place."""
        where, what, remedy, severity = fault
        return Problem(str(self.path), self.lines.line(where), what, remedy, severity)


def read_toml(path: Path, kind: str) -> Source:
    """Return the file at ``path``; ``kind`` names it to people. Raises Unreadable."""
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise Unreadable([Problem(str(path), 0, f"there is no such {kind}", _look_around(path))]) from None
    except OSError as error:
        what = f"the {kind} cannot be read: {error.strerror or error}"
        remedy = "Name a file that you may read."
        raise Unreadable([Problem(str(path), 0, what, remedy)]) from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        what = f"the {kind} is not UTF-8 text"
        raise Unreadable([Problem(str(path), line, what, "Save the file again as UTF-8.")]) from error
    try:
        data = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise Unreadable([_syntax_problem(path, text, error)]) from error
    return Source(path, hashlib.sha256(raw).hexdigest(), data, LineMap(text))


def _look_around(path: Path) -> str:
    if not path.parent.is_dir():
        return f"Check the name of the folder {path.parent}."
    here = sorted(file.name for file in path.parent.glob("*.toml"))
    return f"The TOML files there are: {', '.join(here)}." if here else "There is no TOML file there."


def _syntax_problem(path: Path, text: str, error: tomllib.TOMLDecodeError) -> Problem:
    message = str(error)
    found = _SYNTAX_LINE.search(message)
    line = int(found[1]) if found else text.count("\n") + 1
    words = _SYNTAX_LINE.sub("", message).replace(" (at end of document)", "")
    what = f"not valid TOML: {words[0].lower()}{words[1:]}"
    remedy = "Put quotes around words, commas between list items, and write every key once in its table."
    return Problem(str(path), line, what, remedy)


def as_tables(source: Source, kind: type[_Table], tables: Tables | None = None) -> _Table:
    """Return the file as ``kind``; ``tables`` names the tables of a file that is no sheet's.

    Raises Unreadable.
    """
    try:
        return kind.model_validate(source.data)
    except ValidationError as error:
        found = faults(error, kind, tables)
        raise Unreadable(source.problem((*fault, "error")) for fault in found) from error
