"""The errors a user can meet: what happened, where, and what to do about it.

Raised in the core, worded once at the edge (:mod:`voicelog.cli`), never shown as a traceback.
"""

from __future__ import annotations

from pathlib import Path


class VoicelogError(Exception):
    """Something the user can act on.

    ``what`` says what happened, ``where`` names the file (and line) or the thing concerned,
    ``remedy`` says what to do now.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.remedy = remedy

    def __str__(self) -> str:
        lead = f"{self.where}: " if self.where else ""
        tail = f"\n  What to do: {self.remedy}" if self.remedy else ""
        return f"{lead}{self.what}{tail}"


class SheetError(VoicelogError):
    """A check sheet, lexicon or unit file that cannot be used as it is written."""


class GrammarError(VoicelogError):
    """A grammar that cannot be read or cannot be compiled to a phrase graph."""


class AudioError(VoicelogError):
    """Sound that cannot be read, or a device that cannot be opened."""


class ModelError(VoicelogError):
    """A recogniser's model that is missing, altered or of a form that cannot be used."""


class RecordError(VoicelogError):
    """The record store cannot be opened, read or written."""


class PersonError(RecordError):
    """Something that a person, or whoever gives a name, may not do to the record."""


class WalkError(VoicelogError):
    """Something asked of a walk that its state does not allow."""


class DefectError(VoicelogError):
    """Something asked of a defect that its state, or the person's role, does not allow."""


def at(path: Path | str, line: int | None = None) -> str:
    """Return ``path`` or ``path:line``, the form editors can jump to."""
    return f"{path}:{line}" if line else str(path)
