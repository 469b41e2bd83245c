"""Where each spoken phrase of a sheet and its lexicon is written. Pure: tables in, places out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from voicelog.sheet.caution_checks import cautions
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.schema import LexiconFile, SheetFile


@dataclass(frozen=True, slots=True)
class SpokenPhrase:
    """A phrase that can be said, and the place where it is written."""

    text: str
    path: str
    """Of the file."""
    line: int


def sheet_phrases(file: SheetFile) -> Iterator[tuple[KeyPath, str]]:
    """Yield the spoken phrases of a sheet with their key paths."""
    for path, caution in cautions(file):
        yield from _said(path, caution.say or ())
    for i, stop in enumerate(file.stop):
        yield from _named(("stop", i), stop.name, stop.say)
        for j, point in enumerate(stop.point):
            yield from _named(("stop", i, "point", j), point.name, point.say)
            for k, reading in enumerate(point.reading):
                yield from _named(("stop", i, "point", j, "reading", k), reading.name, reading.say)
            for k, test in enumerate(point.timed):
                yield from _named(("stop", i, "point", j, "timed", k), test.name, test.say)


def lexicon_phrases(file: LexiconFile) -> Iterator[tuple[KeyPath, str]]:
    """Yield the spoken phrases of a lexicon with their key paths."""
    tables: dict[str, list[list[str]]] = {
        "condition": [row.say for row in file.condition],
        "measure": [row.say for row in file.measure],
        "side": [row.say for row in file.side],
        "command": [row.say for row in file.command],
    }
    for table, rows in tables.items():
        for i, say in enumerate(rows):
            yield from _said((table, i), say)
    if file.language is not None:
        for key, said in file.language.model_dump(by_alias=True, exclude={"name"}).items():
            yield from ((("language", key, j), phrase) for j, phrase in enumerate(said))


def _named(path: KeyPath, name: str, say: Iterable[str] | None) -> Iterator[tuple[KeyPath, str]]:
    yield (*path, "name"), name
    yield from _said(path, say or ())


def _said(path: KeyPath, say: Iterable[str]) -> Iterator[tuple[KeyPath, str]]:
    yield from (((*path, "say", j), phrase) for j, phrase in enumerate(say))
