"""Read check sheets, lexicons and units from TOML files.

A file is used only when it has no error at all; every message names the file and the line,
what is wrong and what to write. Quantities are read exactly, never through binary floats.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from voicelog.sheet import caution_checks, checks, lexicon_checks
from voicelog.sheet.build import build_lexicon, build_sheet, build_unit
from voicelog.sheet.lines import KeyPath, LineMap
from voicelog.sheet.model import Lexicon, Sheet, Unit
from voicelog.sheet.places import SpokenPhrase, lexicon_phrases, sheet_phrases
from voicelog.sheet.problems import Problem, Unreadable, errors_of, raise_errors
from voicelog.sheet.schema import LexiconFile, SheetFile, Tables, UnitFile, faults

_Table = TypeVar("_Table", bound=BaseModel)

_SYNTAX_LINE = re.compile(r"\s*\(at line (\d+), column (\d+)\)")


def load_sheet(path: Path | str, *, lexicon_path: Path | str | None = None) -> Sheet:
    """Return the check sheet at ``path`` with its lexicon.

    ``lexicon_path`` takes the place of the lexicon the sheet names. Raises SheetError.
    """
    sheet, problems = _read_sheet(Path(path), lexicon_path)
    raise_errors(problems)
    assert sheet is not None
    return sheet


def load_lexicon(path: Path | str) -> Lexicon:
    """Return the lexicon at ``path``. Raises SheetError."""
    lexicon, problems = _read_lexicon(Path(path))
    raise_errors(problems)
    assert lexicon is not None
    return lexicon


def load_unit(path: Path | str) -> Unit:
    """Return the unit at ``path``. Raises SheetError."""
    unit, problems = _read_unit(Path(path))
    raise_errors(problems)
    assert unit is not None
    return unit


def check_sheet(path: Path | str, *, lexicon_path: Path | str | None = None) -> tuple[Problem, ...]:
    """Return everything wrong with a sheet and its lexicon, in file and line order."""
    return _ordered(_read_sheet(Path(path), lexicon_path)[1])


def check_lexicon(path: Path | str) -> tuple[Problem, ...]:
    """Return everything wrong with a lexicon, in line order."""
    return _ordered(_read_lexicon(Path(path))[1])


def check_unit(path: Path | str) -> tuple[Problem, ...]:
    """Return everything wrong with a unit file, in line order."""
    return _ordered(_read_unit(Path(path))[1])


def spoken_phrases(path: Path | str) -> tuple[SpokenPhrase, ...]:
    """Return every phrase that a sheet and its lexicon write, with its place. Raises SheetError."""
    path = Path(path)
    raise_errors(check_sheet(path))
    source = read_toml(path, "check sheet")
    file = as_tables(source, SheetFile)
    words = read_toml(path.parent / file.sheet.lexicon, "lexicon")
    return (
        *(source.phrase(*found) for found in sheet_phrases(file)),
        *(words.phrase(*found) for found in lexicon_phrases(as_tables(words, LexiconFile))),
    )


@dataclass(frozen=True, slots=True)
class Source:
    """A TOML file as read: its tables, and where they are written."""

    path: Path
    sha256: str
    data: dict[str, object]
    lines: LineMap

    def phrase(self, where: KeyPath, text: str) -> SpokenPhrase:
        """Return a phrase with its place."""
        return SpokenPhrase(text, str(self.path), self.lines.line(where))

    def problem(self, fault: checks.Fault) -> Problem:
        """Return a fault with its file and line."""
        where, what, remedy, severity = fault
        return Problem(str(self.path), self.lines.line(where), what, remedy, severity)


def _ordered(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    return tuple(sorted(problems, key=lambda problem: (problem.path, problem.line)))


def _read_sheet(path: Path, lexicon_path: Path | str | None) -> tuple[Sheet | None, list[Problem]]:
    try:
        source = read_toml(path, "check sheet")
        file = as_tables(source, SheetFile)
    except Unreadable as unreadable:
        return None, list(unreadable.problems)
    named = Path(lexicon_path) if lexicon_path is not None else path.parent / file.sheet.lexicon
    lexicon, problems = _read_lexicon(named)
    if lexicon_path is None and not named.is_file():
        where = source.lines.line(("sheet", "lexicon"))
        problems = [Problem(str(path), where, p.what, p.remedy) for p in problems]
    problems += [source.problem(fault) for fault in checks.check(file, lexicon)]
    problems += [source.problem(fault) for fault in caution_checks.check(file, lexicon)]
    if lexicon is None or errors_of(problems):
        return None, problems
    return build_sheet(file, lexicon, source.sha256, path), problems


def _read_lexicon(path: Path) -> tuple[Lexicon | None, list[Problem]]:
    try:
        source = read_toml(path, "lexicon")
        file = as_tables(source, LexiconFile)
    except Unreadable as unreadable:
        return None, list(unreadable.problems)
    problems = [source.problem(fault) for fault in lexicon_checks.check(file)]
    if errors_of(problems):
        return None, problems
    return build_lexicon(file, source.sha256), problems


def _read_unit(path: Path) -> tuple[Unit | None, list[Problem]]:
    try:
        source = read_toml(path, "unit file")
        file = as_tables(source, UnitFile)
    except Unreadable as unreadable:
        return None, list(unreadable.problems)
    problems: list[Problem] = []
    if not file.unit.sheets:
        fault: checks.Fault = (
            ("unit", "sheets"),
            "the unit has no sheet",
            'Name the sheets that apply to it, such as sheets = ["engine_bay"].',
            "error",
        )
        problems.append(source.problem(fault))
    problems += [source.problem(fault) for fault in checks.check_id(("unit", "id"), file.unit.id)]
    if not file.unit.name.strip():
        fault = ("unit", "name"), "the unit has no name", "Write how it is spoken of.", "error"
        problems.append(source.problem(fault))
    return build_unit(file, path), problems


def read_toml(path: Path, kind: str) -> Source:
    """Return the TOML file at ``path``, ``kind`` of file in words. Raises :class:`Unreadable`."""
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

    Raises :class:`Unreadable`.
    """
    try:
        return kind.model_validate(source.data)
    except ValidationError as error:
        found = faults(error, kind, tables)
        raise Unreadable(source.problem((*fault, "error")) for fault in found) from error
