"""The script of a recorded walk, read from TOML, with the time of each line.

Invariant: a :class:`Script` is whole. Every expectation names something of its sheet, and every
line has its times, taken from the same words. Times are seconds from the start of the sound.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from voicelog.demo.outcomes import Outcome, read_outcome
from voicelog.errors import VoicelogError, at
from voicelog.phrases.commands import CORRECTION
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet

NOTHING = "nothing"
"""The expectation of a line that is not for us."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the script."""

    number: int
    """From 1."""
    voice: str
    say: str
    gap_s: float
    snr_db: float
    expected: tuple[Outcome, ...]
    """Empty when the line is not for us."""
    start_s: float = 0.0
    end_s: float = 0.0
    """The speech in the sound; both 0 when the script was read without times."""

    @property
    def for_us(self) -> bool:
        """Whether something must come of the line."""
        return bool(self.expected)

    @property
    def words(self) -> tuple[str, ...]:
        """The words alone, lower case, as a phrase graph has them."""
        plain = "".join(c if c.isalpha() or c == "'" else " " for c in self.say.lower())
        return tuple(plain.split())


@dataclass(frozen=True)
class Script:
    """A whole recorded walk."""

    title: str
    sheet: Sheet
    unit_path: Path
    sound_path: Path
    times_path: Path
    noise_seed: int
    lines: tuple[Line, ...]
    path: Path

    def claims_that_stand(self) -> tuple[tuple[Line, Outcome], ...]:
        """Return the claims that hold at the end, with the line that made each.

        A line that begins with a correction word replaces the last claim before it; where a
        question must be asked first, the next claim replaces it. A withdrawn claim is gone.
        """
        standing: list[tuple[Line, Outcome]] = []
        replacing = False
        for line in self.lines:
            claims = [(line, outcome) for outcome in line.expected if outcome.kind == "claim"]
            replacing = replacing or (line.for_us and line.words[0] in CORRECTION)
            withdrawn = any(outcome.kind == "withdrawn" for outcome in line.expected)
            if standing and (withdrawn or (claims and replacing)):
                standing.pop()
            replacing = replacing and not claims
            standing += claims
        return tuple(standing)


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _LineFile(_Strict):
    voice: str = Field(min_length=1)
    say: str = Field(min_length=1)
    gap: float = Field(default=1.2, ge=0.8, le=30)
    """Not below the quiet that ends an utterance, or two lines would be heard as one."""
    snr: float | None = Field(default=None, ge=-10, le=60)
    expect: tuple[str, ...] = Field(min_length=1)


class _Head(_Strict):
    title: str
    sheet: str
    unit: str
    sound: str
    times: str
    noise_seed: int = 0
    snr: float = Field(default=20.0, ge=-10, le=60)
    """For lines that do not say their own, in decibels."""


class _ScriptFile(_Strict):
    script: _Head
    line: tuple[_LineFile, ...] = Field(min_length=1)


class _LineTimes(_Strict):
    say: str
    start_s: float
    end_s: float


class _TimesFile(_Strict):
    seconds: float
    lines: tuple[_LineTimes, ...]


_File = TypeVar("_File", bound=BaseModel)


def load_script(path: Path, *, with_times: bool = True) -> Script:
    """Read a script, its sheet and, unless told not to, the times of its lines.

    VoicelogError when a file cannot be read, an expectation names nothing of the sheet, or the
    times were made from other words.
    """
    data = _validated(_ScriptFile, _read(path, tomllib.loads), path)
    folder = path.parent
    sheet = load_sheet(folder / data.script.sheet)
    lines = tuple(_line(number, raw, data.script.snr, sheet, path) for number, raw in enumerate(data.line, 1))
    times_path = folder / data.script.times
    if with_times:
        lines = _timed(lines, _validated(_TimesFile, _read(times_path, json.loads), times_path), times_path)
    return Script(
        title=data.script.title,
        sheet=sheet,
        unit_path=folder / data.script.unit,
        sound_path=folder / data.script.sound,
        times_path=times_path,
        noise_seed=data.script.noise_seed,
        lines=lines,
        path=path,
    )


def _line(number: int, raw: _LineFile, snr_db: float, sheet: Sheet, path: Path) -> Line:
    expected: tuple[Outcome, ...] = ()
    if raw.expect != (NOTHING,):
        try:
            expected = tuple(read_outcome(text, sheet) for text in raw.expect)
        except ValueError as error:
            raise VoicelogError(
                f"Line {number} of the script, {raw.say!r}, expects something that cannot be: {error}.",
                where=at(path),
                remedy="correct its 'expect'; the top of the script lists the forms",
            ) from error
    own_snr_db = snr_db if raw.snr is None else raw.snr
    return Line(number, raw.voice, raw.say, raw.gap, own_snr_db, expected)


def _timed(lines: tuple[Line, ...], times: _TimesFile, path: Path) -> tuple[Line, ...]:
    if [line.say for line in lines] != [line.say for line in times.lines]:
        raise VoicelogError(
            "The times do not belong to this script: the words differ.",
            where=at(path),
            remedy="make the sound again: python -m samples.make_walk",
        )
    return tuple(
        Line(n.number, n.voice, n.say, n.gap_s, n.snr_db, n.expected, t.start_s, t.end_s)
        for n, t in zip(lines, times.lines, strict=True)
    )


def _read(path: Path, parse: Any) -> object:
    try:
        return parse(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise VoicelogError(
            f"The file cannot be read: {error}.", where=at(path), remedy="check the path and the file's form"
        ) from error


def _validated(model: type[_File], data: object, path: Path) -> _File:
    try:
        # From JSON-like data: lists become tuples, numbers stay numbers.
        return model.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part + 1 if isinstance(part, int) else part) for part in first["loc"])
        raise VoicelogError(
            f"{place}: {first['msg']}.",
            where=at(path),
            remedy="correct that key; the top of the script says what is written there",
        ) from error
