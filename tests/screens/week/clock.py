"""The station's clock: Debian's libfaketime moves the wall clock of the commands, and nothing else.

The steady clock stays true, so that timers and sound run as they do. The clock is an offset to the
real time, in a file that every process reads again each second: it always goes on, within a command
and from one to the next, and can be moved while a screen is open.
"""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path

PACKAGE = "faketime"


class NoFakeTime(Exception):
    """Raised where libfaketime is not installed."""


class StationClock:
    """The time that the station's commands see, in UTC."""

    def __init__(self, folder: Path, begin: datetime) -> None:
        """Keep the offset in ``folder``; begin at this time."""
        self._file = folder / "clock"
        self._offset = timedelta()
        self.set(begin)

    def now(self) -> datetime:
        """Return the station's time."""
        return datetime.now(UTC) + self._offset

    def set(self, when: datetime) -> None:
        """Move the clock to this time. It is only ever moved forward."""
        self._offset = when - datetime.now(UTC)
        self._file.write_text(f"{round(self._offset.total_seconds()):+d}\n", encoding="ascii")

    def forward(self, **by: float) -> None:
        """Move the clock forward: ``minutes=3``."""
        self.set(self.now() + timedelta(**by))

    @cached_property
    def variables(self) -> dict[str, str]:
        """Return the environment that puts a command on this clock. Raises NoFakeTime."""
        return {
            "LD_PRELOAD": _library(),
            "FAKETIME_TIMESTAMP_FILE": str(self._file),
            "FAKETIME_CACHE_DURATION": "1",
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            "DONT_FAKE_MONOTONIC": "1",
            "NO_FAKE_STAT": "1",
            "TZ": "UTC",
        }


def _library() -> str:
    """Return the library that the package's own command would load."""
    try:
        shown = subprocess.run(
            ["faketime", "-f", "+0", "printenv", "LD_PRELOAD"], capture_output=True, text=True, check=True
        )
    except (OSError, subprocess.CalledProcessError) as error:
        raise NoFakeTime(f"libfaketime is needed to move the clock: apt install {PACKAGE}") from error
    return shown.stdout.strip()
