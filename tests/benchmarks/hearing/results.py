"""What a run leaves behind: settings, who was measured, and one row per decoded utterance.

Everything shown is computed from this (:mod:`summary`), so a run can be shown anew without decoding.
While it goes on, rows are appended to a file of lines; a line is one JSON object.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import IO

from pydantic import BaseModel, ConfigDict, ValidationError

from voicelog.errors import VoicelogError

FORMAT = 1


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Claim(_Frozen):
    """One slot of the best hypothesis, and the posterior that the slot has this value."""

    slot: str
    value: str
    posterior: float


class Answer(_Frozen):
    """What a system made of one utterance."""

    slots: dict[str, str] | None
    """Slot to words; None when it refused."""
    text: str
    """The words of the best phrase, also when refused; empty when there is none."""
    heard: str = ""
    """What was read without the grammar, where the system does that."""
    refused: str = ""
    posterior: float | None = None
    """Of the best phrase, also when refused; None where the system has no posterior."""
    best_slots: dict[str, str] | None = None
    """Slots of the best phrase, also when refused; None when there is no phrase."""
    claims: tuple[Claim, ...] = ()
    decode_s: float = 0.0
    """From samples to words, by the clock."""
    cpu_s: float = 0.0
    """The same by the processors' time, all threads together."""
    match_s: float = 0.0
    """From words to slots, outside of ``decode_s``."""


class Row(_Frozen):
    """One utterance at one ratio through one system."""

    system: str
    utterance: str
    ratio_db: float | None
    """None is the recording as it is."""
    audio_s: float
    answer: Answer


class Identity(_Frozen):
    """Which system exactly: rows of two identities are never put together."""

    system: str
    title: str
    version: str
    note: str = ""
    """How it was set up, in a sentence."""


class Start(_Frozen):
    """One start of a system's process: seconds from there until it can take sound, and until the
    answer to a first utterance."""

    ready_s: float
    first_answer_s: float


class Session(_Frozen):
    """One process of a system, from start to end."""

    identity: Identity
    starts: tuple[Start, ...]
    peak_mb: float
    """Highest resident memory (VmHWM), in 10^6 bytes."""
    comparable: bool
    """False when other processes of the run decoded at the same time."""


class Settings(_Frozen):
    """What was asked for."""

    data: str
    fingerprint: str
    utterances: tuple[str, ...]
    ratios: tuple[float, ...]
    """Those that are averaged, in decibels."""
    beyond: tuple[float, ...]
    """Reported apart."""
    clean: bool
    systems: tuple[str, ...]
    seed: int
    threads: int
    jobs: int
    prompt: str
    cutoff: float

    def must_match(self) -> dict[str, object]:
        """Return what must be the same for rows of two runs to be put together."""
        return self.model_dump(include={"fingerprint", "threads", "prompt", "cutoff"})

    @property
    def conditions(self) -> tuple[float | None, ...]:
        """Every ratio decoded, the best sound first."""
        return (*([None] if self.clean else []), *self.ratios, *self.beyond)


class Results(_Frozen):
    """A whole run."""

    format: int = FORMAT
    settings: Settings
    machine: str
    labels: dict[str, dict[str, str]]
    sessions: tuple[Session, ...]
    rows: tuple[Row, ...]


def write_results(results: Results, path: Path) -> None:
    """Write a run as JSON."""
    path.write_text(results.model_dump_json(indent=1) + "\n", encoding="utf-8")


def read_results(path: Path) -> Results:
    """Read a run. Raises :class:`VoicelogError` for a file that is none."""
    try:
        return Results.model_validate_json(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise VoicelogError(f"the results cannot be read ({error.strerror})", where=str(path)) from error
    except ValidationError as error:
        first = error.errors()[0]
        raise VoicelogError(
            f"these are no results of this benchmark ({'.'.join(map(str, first['loc']))}: {first['msg']})",
            where=str(path),
            remedy="give the results.json that this version wrote",
        ) from error


class Journal:
    """Rows and sessions as they come, in a file of lines; whole lines survive an interruption."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.rows: list[Row] = []
        self.sessions: list[Session] = []
        self.settings: Settings | None = None
        self.identities: dict[str, Identity] = {}
        self._file: IO[str] | None = None
        self._read()

    def _read(self) -> None:
        if not self.path.exists():
            return
        for number, line in enumerate(self.path.read_text(encoding="utf-8").splitlines(), start=1):
            try:
                kind, value = json.loads(line)
                match kind:
                    case "row":
                        self.rows.append(Row.model_validate(value))
                    case "session":
                        self.sessions.append(Session.model_validate(value))
                    case "settings":
                        self.settings = Settings.model_validate(value)
                    case "identity":
                        identity = Identity.model_validate(value)
                        self.identities[identity.system] = identity
            except ValueError as error:
                if number == 1:
                    raise VoicelogError(
                        "this is no journal of a run",
                        where=str(self.path),
                        remedy="choose another folder with --out, or begin anew with --fresh",
                    ) from error
                # The line that was being written when the run was stopped: its row is decoded again.

    def keep_only(self, wanted: Iterable[str]) -> None:
        """Drop all rows of systems that are not ``wanted``."""
        kept = set(wanted)
        self.rows = [row for row in self.rows if row.system in kept]
        self.sessions = [s for s in self.sessions if s.identity.system in kept]
        self.identities = {name: i for name, i in self.identities.items() if name in kept}

    def open(self, settings: Settings) -> None:
        """Write what is known so far, then be ready to append."""
        self.settings = settings
        lines = [_line("settings", settings)]
        lines += [_line("identity", identity) for identity in self.identities.values()]
        lines += [_line("session", session) for session in self.sessions]
        lines += [_line("row", row) for row in self.rows]
        whole = self.path.with_suffix(".new")
        whole.write_text("".join(lines), encoding="utf-8")
        whole.replace(self.path)
        self._file = self.path.open("a", encoding="utf-8")

    def add(self, kind: str, value: Row | Session | Identity) -> None:
        """Append one line and put it on its way to the disk."""
        assert self._file is not None, "open() comes first"
        self._file.write(_line(kind, value))
        self._file.flush()
        match value:
            case Row():
                self.rows.append(value)
            case Session():
                self.sessions.append(value)
            case Identity():
                self.identities[value.system] = value


def _line(kind: str, value: BaseModel) -> str:
    return json.dumps([kind, value.model_dump(mode="json")]) + "\n"
