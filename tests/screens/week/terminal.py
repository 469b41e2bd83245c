"""A terminal in software: tmux with a shell in it, whose keys we press and whose screen we read.

It is a tmux server of its own, with no configuration, and is ended with what runs in it. Nothing
here waits a fixed time: every wait is for something to be seen, with a bound in seconds.
"""

from __future__ import annotations

import os
import re
import subprocess
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from rich.ansi import AnsiDecoder
from rich.console import Console
from rich.style import Style

PROMPT = re.compile(r"^\[(\d+)\] \$$")
"""The shell's prompt: the exit code of the last command."""
LOOK_EVERY = 0.05
"""Seconds between two looks at the screen."""
FIRST_LETTER = 4
"""Column where the text of a list's row has begun."""
CONSOLE = Console()
ALIKE = 5.0
"""Seconds after which a row that looks as the one before it is taken for the next."""
LAST = 12
"""Letters of a typed text that are looked for: a field shows the end of a longer one."""
BOUND = 60.0
"""Seconds that something is waited for; a loaded machine is slow, a hanging one must be told."""


class NotSeen(AssertionError):
    """Raised when the screen does not show what it should within the bound."""


@dataclass(frozen=True, slots=True)
class Screen:
    """What a terminal shows: its rows as text."""

    rows: tuple[str, ...]

    def has(self, text: str) -> bool:
        """Return whether the text is seen, also where it is wrapped within its part of the screen."""
        wanted = _plain(text)
        return any(wanted in part for part in self._parts())

    def _parts(self) -> list[str]:
        """The rows as one text, and each part between upright rules as one."""
        cells = [re.split("[│┃▏▕]", row) for row in self.rows]
        widest = max(map(len, cells), default=0)
        columns = [" ".join(row[n] for row in cells if n < len(row)) for n in range(widest)]
        return [_plain(" ".join(self.rows)), *map(_plain, columns)]

    def __str__(self) -> str:
        return "\n".join(self.rows)


def _plain(text: str) -> str:
    return " ".join(text.split())


class Terminal:
    """A shell in a tmux window of ``columns`` by ``rows``."""

    def __init__(self, columns: int, rows: int, folder: Path, variables: Mapping[str, str]) -> None:
        """Start the shell in ``folder`` with these environment variables beside our own."""
        self.columns, self.rows = columns, rows
        self._home = TemporaryDirectory(prefix="voicelog-week-")
        self._socket = f"{self._home.name}/tmux"
        prompt = folder / "prompt.sh"
        prompt.write_text("PS1='[$?] $ '\n", encoding="ascii")
        # The tmux server itself keeps to the real clock: only the shell's commands are given the other.
        self._environment = {k: v for k, v in os.environ.items() if k != "TMUX"} | {"LC_ALL": "C.UTF-8"}
        # tmux gives a new session its client's path, whatever -e says.
        self._environment["PATH"] = variables.get("PATH", os.defpath)
        size = ("-x", str(columns), "-y", str(rows))
        given = [word for name, value in variables.items() for word in ("-e", f"{name}={value}")]
        self._tmux(
            "start-server", ";", "set-option", "-g", "default-terminal", "screen-256color", ";",
            "set-option", "-g", "status", "off", ";", "set-option", "-g", "history-limit", "20000", ";",
            "new-session", "-d", *size, "-c", str(folder), *given,
            "-e", "COLORTERM=truecolor", "bash", "--noprofile", "--rcfile", str(prompt),
        )  # fmt: skip
        self.wait(lambda screen: _prompt(screen) is not None, "the shell's prompt")

    def end(self) -> None:
        """End the shell and what runs in it."""
        self._tmux("kill-server", check=False)
        self._home.cleanup()

    # what is pressed ------------------------------------------------------------------------

    def press(self, *keys: str) -> None:
        """Press keys by their tmux names: ``Enter``, ``Escape``, ``Down``, ``a``, ``C-c``."""
        self._tmux("send-keys", *keys)

    def type(self, text: str) -> None:
        """Type text as it is."""
        self._tmux("send-keys", "-l", "--", text)

    def enter(self, text: str, *, secret: bool = False) -> None:
        """Type into the field that has the focus, and wait until it is there."""
        if text:
            self.type(text)
            last = "•" * len(text) if secret else text[-LAST:]
            self.wait(lambda screen: screen.has(last), f"{last!r} in its field")

    def move(self, key: str, ground: str) -> None:
        """Press a key that moves the focus, which has this ground, and wait until it has moved.

        What is typed before that would go to the field that had it. A cursor that blinks is no move.
        """
        before = self._rows_on(ground)
        self.press(key)
        self.wait(lambda _: self._rows_on(ground) != before, f"the focus moved by {key}")

    def change(self, key: str) -> None:
        """Press a key, and wait until the screen is another."""
        before = self.coloured()
        self.press(key)
        self.wait(lambda _: self.coloured() != before, f"what {key} changes")

    def start(self, command: str) -> None:
        """Give the shell a command on a cleared screen, and do not wait for its end."""
        self._tmux("send-keys", "C-l")
        self.wait(lambda s: PROMPT.match(s.rows[0]) is not None and not any(s.rows[1:]), "an empty screen")
        self._tmux("clear-history")
        self.type(command)
        # Until the shell has echoed it, the prompt above would be taken for the command's end.
        self.wait(lambda s: _prompt(s) is None, "the command on its line")
        self.press("Enter")

    def ended(self, code: int = 0, seconds: float = BOUND) -> str:
        """Wait until the command has ended; return all it printed. Raises NotSeen for another exit code."""
        screen = self.wait(lambda s: _prompt(s) is not None, "the end of the command", seconds)
        found = _prompt(screen)
        if found != code:
            raise NotSeen(f"the command ended with {found}, not with {code}:\n{self._printed()}")
        return self._printed()

    def run(self, command: str, code: int = 0, seconds: float = BOUND) -> str:
        """Run a command to its end; return what it printed, as one line without breaks."""
        self.start(command)
        return self.ended(code, seconds)

    # what is seen ---------------------------------------------------------------------------

    def screen(self) -> Screen:
        """Return what is shown now."""
        return Screen(
            tuple(row.rstrip() for row in self._tmux("capture-pane", "-p").split("\n")[: self.rows])
        )

    def see(self, *texts: str, seconds: float = BOUND) -> Screen:
        """Wait until all the texts are on the screen. Raises NotSeen, with those that are not."""
        return self.wait(lambda screen: all(map(screen.has, texts)), f"all of {texts}", seconds)

    def see_no(self, text: str, seconds: float = BOUND) -> Screen:
        """Wait until the text is gone from the screen."""
        return self.wait(lambda s: not s.has(text), f"no more {text!r}", seconds)

    def wait(self, met: Callable[[Screen], bool], what: str, seconds: float = BOUND) -> Screen:
        """Wait until the screen is as it should be; return it. Raises NotSeen after ``seconds``."""
        end = time.monotonic() + seconds
        while not met(screen := self.screen()):
            if time.monotonic() > end:
                raise NotSeen(f"not seen within {seconds:g} s: {what}\n{screen}")
            time.sleep(LOOK_EVERY)
        return screen

    def coloured(self) -> str:
        """Return what is shown now with its colours, as ANSI text."""
        return self._tmux("capture-pane", "-p", "-e", "-N")

    def highlighted(self, colour: str) -> tuple[str, int]:
        """Return a list's chosen row, which has this ground: its text, and the last screen row of it."""
        rows, last = [], 0
        for number, row in enumerate(AnsiDecoder().decode(self.coloured())):
            ground = (
                row.get_style_at_offset(CONSOLE, FIRST_LETTER).bgcolor if len(row) > FIRST_LETTER else None
            )
            if ground is not None and ground.triplet is not None and ground.triplet.hex == colour.lower():
                # The list ends at its rule, or at its scroll bar.
                rows.append(re.split("[│▁▂▃▄▅▆▇█]", row.plain)[0])
                last = number
        return _plain(" ".join(rows)), last

    def _rows_on(self, colour: str) -> list[int]:
        """Return the rows of the screen where anything is shown on this ground."""
        red, green, blue = (int(colour[n : n + 2], 16) for n in (1, 3, 5))
        wanted = (red, green, blue)
        rows = []
        for number, row in enumerate(AnsiDecoder().decode(self.coloured())):
            grounds = (Style.parse(str(span.style)).bgcolor for span in row.spans)
            if any(g is not None and g.triplet is not None and tuple(g.triplet) == wanted for g in grounds):
                rows.append(number)
        return rows

    def has_ground(self, colour: str) -> bool:
        """Return whether anything is shown on this ground."""
        return bool(self._rows_on(colour))

    def next_row(self, colour: str) -> None:
        """Press Down, and wait until another row is the chosen one."""
        before = self.highlighted(colour)
        self.press("Down")
        # Rows that look alike in a list that scrolls cannot be told apart: then the bound is waited for.
        with suppress(NotSeen):
            self.wait(lambda _: self.highlighted(colour) != before, "the next row", ALIKE)

    def _printed(self) -> str:
        lines = self._tmux("capture-pane", "-p", "-J", "-S", "-").split("\n")
        return "\n".join(line for line in lines[1:] if not PROMPT.match(line.rstrip())).rstrip()

    def _tmux(self, *words: str, check: bool = True) -> str:
        done = subprocess.run(
            ["tmux", "-f", "/dev/null", "-S", self._socket, *words],
            capture_output=True, text=True, encoding="utf-8", check=False,
            env=self._environment,
        )  # fmt: skip
        if check and done.returncode:
            raise RuntimeError(f"tmux {words[0]}: {done.stderr.strip()}")
        return done.stdout


def _prompt(screen: Screen) -> int | None:
    """Return the exit code that the prompt at the end of the screen tells; None while a command runs."""
    written = [row for row in screen.rows if row]
    found = PROMPT.match(written[-1]) if written else None
    return int(found[1]) if found else None
