"""What a check found, in words that say what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from voicelog.errors import VoicelogError

Verdict = Literal["good", "look", "fix"]
"""``good``; ``look``: a walk can be made, but a person should look; ``fix``: no walk before it is mended."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was checked."""

    about: str
    verdict: Verdict
    what: str
    remedy: str = ""

    @property
    def lines(self) -> tuple[str, ...]:
        """The finding as lines: the verdict, what it is about, what was found; then what to do."""
        first = f"{self.verdict:<5} {self.about}: {self.what}"
        return (first, f"      What to do: {self.remedy}") if self.remedy else (first,)


def of_error(about: str, error: VoicelogError) -> Finding:
    """Return an error as something that must be mended."""
    where = f" ({error.where})" if error.where not in ("", about) else ""
    return Finding(about, "fix", f"{error.what.rstrip('.')}{where}", error.remedy)
