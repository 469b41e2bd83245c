"""Read check sheets, lexicons, units and tables of limits from TOML files.

A file is used only when it has no error at all; every message names the file and the line,
what is wrong and what to write. Quantities are read exactly, never through binary floats.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from voicelog.errors import SheetError
from voicelog.paths import shipped
from voicelog.sheet import caution_checks, checks, lexicon_checks, limit_checks
from voicelog.sheet.build import build_lexicon, build_sheet
from voicelog.sheet.expand import expand, needs_limits, needs_unit
from voicelog.sheet.limit_build import build_limits
from voicelog.sheet.limit_model import Limits
from voicelog.sheet.limit_schema import LimitsFile
from voicelog.sheet.model import Lexicon, Sheet, Unit
from voicelog.sheet.places import SpokenPhrase, lexicon_phrases, sheet_phrases
from voicelog.sheet.problems import Problem, Unreadable, errors_of, raise_errors
from voicelog.sheet.resolve import with_own_limits
from voicelog.sheet.schema import LexiconFile, SheetFile
from voicelog.sheet.source import as_tables, read_toml
from voicelog.sheet.unit_build import build_unit, check_unit_file
from voicelog.sheet.unit_schema import UnitFile


def load_sheet(
    path: Path | str,
    *,
    lexicon_path: Path | str | None = None,
    unit: Unit | None = None,
    limits_path: Path | str | None = None,
) -> Sheet:
    """Return the check sheet at ``path`` with its lexicon, written out for ``unit``.

    ``lexicon_path`` and ``limits_path`` take the place of the files the sheet names. Raises
    SheetError; also where the sheet asks about parts of a unit and none is given.
    """
    path = Path(path)
    sheet, problems = _read_sheet(path, lexicon_path, unit, limits_path)
    raise_errors(problems)
    if unit is None and sheet_needs_unit(path, limits_path=limits_path):
        raise SheetError(
            "this sheet asks about parts of a unit, and no unit was given",
            where=str(path),
            remedy="give the unit's file: --unit FILE",
        )
    assert sheet is not None
    return sheet


def outline_sheet(path: Path | str) -> Sheet:
    """Return a sheet as it is without a unit, for lists of what it holds; never for a walk.

    A point that is written for each part of a unit stands once, in the words of one part, and a limit
    that only a unit can choose is left out. Raises SheetError.
    """
    sheet, problems = _read_sheet(Path(path), None)
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


def load_limits(path: Path | str | None = None) -> Limits:
    """Return the tables of limits at ``path``, or those that come with voicelog. Raises SheetError."""
    limits, problems = _read_limits(Path(path) if path is not None else _shipped_limits())
    raise_errors(problems)
    assert limits is not None
    return limits


def sheet_needs_unit(path: Path | str, *, limits_path: Path | str | None = None) -> bool:
    """Return whether a sheet asks about parts of a unit. Raises SheetError where it cannot be read."""
    path = Path(path)
    try:
        file = as_tables(read_toml(path, "check sheet"), SheetFile)
        return needs_unit(file, _limits_of(file, path, limits_path)[0])
    except Unreadable as unreadable:
        raise_errors(unreadable.problems)
        raise


def check_sheet(
    path: Path | str,
    *,
    lexicon_path: Path | str | None = None,
    unit: Unit | None = None,
    limits_path: Path | str | None = None,
) -> tuple[Problem, ...]:
    """Return everything wrong with a sheet, its lexicon and its limits, in file and line order.

    Without a unit, each point is checked as it is said of some part; no row of a table is chosen.
    """
    return _ordered(_read_sheet(Path(path), lexicon_path, unit, limits_path)[1])


def check_limits(path: Path | str) -> tuple[Problem, ...]:
    """Return everything wrong with a file of limits, in line order."""
    return _ordered(_read_limits(Path(path))[1])


def check_lexicon(path: Path | str) -> tuple[Problem, ...]:
    """Return everything wrong with a lexicon, in line order."""
    return _ordered(_read_lexicon(Path(path))[1])


def check_unit(path: Path | str) -> tuple[Problem, ...]:
    """Return everything wrong with a unit file, in line order."""
    return _ordered(_read_unit(Path(path))[1])


def spoken_phrases(path: Path | str, *, unit: Unit | None = None) -> tuple[SpokenPhrase, ...]:
    """Return every phrase that a sheet and its lexicon write, with its place. Raises SheetError."""
    path = Path(path)
    raise_errors(check_sheet(path, unit=unit))
    source = read_toml(path, "check sheet")
    file = as_tables(source, SheetFile)
    words = read_toml(path.parent / file.sheet.lexicon, "lexicon")
    expanded = expand(file, unit, _limits_of(file, path, None)[0])
    return (
        *(source.phrase(expanded.written_at(at), said) for at, said in sheet_phrases(expanded.file)),
        *(words.phrase(*found) for found in lexicon_phrases(as_tables(words, LexiconFile))),
    )


def _ordered(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    return tuple(sorted(problems, key=lambda problem: (problem.path, problem.line)))


def _read_sheet(
    path: Path,
    lexicon_path: Path | str | None,
    unit: Unit | None = None,
    limits_path: Path | str | None = None,
) -> tuple[Sheet | None, list[Problem]]:
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
    limits, of_limits = _limits_of(file, path, limits_path)
    problems += of_limits
    expanded = expand(file, unit, limits)
    found = [source.problem(fault) for fault in expanded.faults]
    written = expanded.file
    if unit is not None:
        written, of_unit = with_own_limits(written, unit, expanded.bases)
        found += of_unit
    if unit is not None and not written.stop and any(stop.point for stop in file.stop):
        what = f"{unit.name} has nothing that this sheet asks about"
        found.append(
            Problem(str(path), 1, what, "Write its parts in the unit's file; the warnings name them.")
        )
    for fault in checks.check(written, lexicon) if written.stop or not file.stop else ():
        found.append(source.problem((expanded.written_at(fault[0]), *fault[1:])))
    found += [source.problem(fault) for fault in caution_checks.check(file, lexicon)]
    problems += dict.fromkeys(found)
    if lexicon is None or errors_of(problems):
        return None, problems
    own = any(limit.sheet == file.sheet.id for limit in unit.limits) if unit is not None else False
    depends = unit if own or needs_unit(file, limits) else None
    of_files = [(source.sha256, str(path)), (lexicon.sha256, str(named))]
    of_files += [(found.sha256, found.path) for found in (limits, depends) if found is not None]
    sheet = build_sheet(
        written,
        lexicon,
        source.sha256,
        path,
        limits=limits,
        unit=depends,
        parts=expanded.parts,
        sources=tuple(of_files),
    )
    return sheet, problems


def _limits_of(
    file: SheetFile, path: Path, limits_path: Path | str | None
) -> tuple[Limits | None, list[Problem]]:
    if not needs_limits(file):
        return None, []
    if limits_path is not None:
        return _read_limits(Path(limits_path))
    return _read_limits(path.parent / file.sheet.limits if file.sheet.limits else _shipped_limits())


def _shipped_limits() -> Path:
    return shipped("grammars", "limits", "published.toml")


def _read_limits(path: Path) -> tuple[Limits | None, list[Problem]]:
    try:
        source = read_toml(path, "file of limits")
        file = as_tables(source, LimitsFile)
    except Unreadable as unreadable:
        return None, list(unreadable.problems)
    problems = [source.problem(fault) for fault in limit_checks.check(file)]
    if errors_of(problems):
        return None, problems
    return build_limits(file, source.sha256, path), problems


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
    problems = [source.problem(fault) for fault in check_unit_file(file)]
    return build_unit(file, path, source.sha256, source.lines.line), problems
