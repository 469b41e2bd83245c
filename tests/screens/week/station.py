"""The station that the week is driven at: its terminal, its clock, its record and its pictures."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import soundfile

from tests.conftest import ROOT
from voicelog.defects.book import Defect
from voicelog.records.defects import Listed
from voicelog.records.store import Store
from voicelog.records.summary import WalkSummary
from voicelog.screens.palette import RULE
from voicelog.walk.events import Event

from .clock import StationClock
from .pictures import as_svg, draw_png
from .terminal import NotSeen, Screen, Terminal

MONDAY = datetime(2026, 11, 23, 7, 0, tzinfo=UTC)
UNIT = ROOT / "samples" / "engine_61.toml"
UNIT_ID = "engine_61"
OFFICER, OPERATOR, SECOND_OPERATOR, MECHANIC = "M. Ruiz", "R. Alder", "J. Okafor", "K. Osei"
PINS = {OFFICER: "481516", OPERATOR: "507294", SECOND_OPERATOR: "860317", MECHANIC: "392758"}
WRONG_PIN = "000000"
SECRET = {*PINS.values(), WRONG_PIN}


class NotOnRecord(AssertionError):
    """Raised when the record does not hold what it should."""


class Station:
    """Runs voicelog's commands as a person at the station would, one terminal for all of them."""

    def __init__(self, folder: Path, size: tuple[int, int], *, png: bool) -> None:
        """Begin on Monday at seven, with an empty record in ``folder``."""
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self._png = folder, png
        self.data = folder / "record"
        self.clock = StationClock(folder, MONDAY)
        self.step_now, self._shots = "nothing yet", 0
        commands = str(Path(sys.executable).parent)
        variables = {
            **self.clock.variables,
            "PATH": f"{commands}:/usr/bin:/bin",
            "PYTHONPATH": str(ROOT),
            "VOICELOG_DATA": str(self.data),
        }
        self.terminal = Terminal(*size, folder, variables)

    def end(self) -> None:
        """End the terminal."""
        self.terminal.end()

    def day(self, number: int, hour: int = 7) -> None:
        """Move the clock to a day of the week: 0 is Monday."""
        self.clock.set(MONDAY + timedelta(days=number, hours=hour - MONDAY.hour))

    def date(self, number: int) -> str:
        """Return a day of the week as year-month-day."""
        return f"{MONDAY + timedelta(days=number):%Y-%m-%d}"

    # what is seen ---------------------------------------------------------------------------

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Name what is done, for whoever reads a failure."""
        self.step_now = name
        print(f"  {name}", flush=True)
        yield

    def see(self, *texts: str) -> Screen:
        """Wait until the screen shows all the texts."""
        return self.terminal.see(*texts)

    def shot(self, name: str) -> None:
        """Keep a picture of the screen as it is."""
        self._shots += 1
        stem = self.folder / f"{self._shots:02d}-{name}"
        stem.with_suffix(".txt").write_text(f"{self.terminal.screen()}\n", encoding="utf-8")
        svg = stem.with_suffix(".svg")
        drawn = as_svg(self.terminal.coloured(), self.terminal.columns, self.step_now)
        svg.write_text(drawn, encoding="utf-8")
        if self._png:
            draw_png(svg, stem.with_suffix(".png"))

    # what is typed --------------------------------------------------------------------------

    def start(self, command: str, *pins_of: str) -> None:
        """Start a command and answer its questions for PINs, in order."""
        self.terminal.start(command)
        for name in pins_of:
            self.pin(name)

    def pin(self, name: str) -> None:
        """Answer the prompt for a person's PIN; it must not be shown."""
        self.see(f"PIN of {name}:")
        self.terminal.type(PINS[name])
        self.terminal.press("Enter")

    def run(self, command: str, *pins_of: str, code: int = 0, shows: tuple[str, ...] = ()) -> str:
        """Run a command to its end; check what it printed."""
        self.start(command, *pins_of)
        printed = self.terminal.ended(code)
        line = " ".join(printed.split())
        for text in shows:
            if text not in line:
                raise NotSeen(f"{command!r} did not print {text!r}, but:\n{printed}")
        return printed

    def fill(self, *texts: str) -> None:
        """Type the lines of a form, Enter after each; a PIN is not shown."""
        self.terminal.wait(lambda _: self.terminal.has_ground(RULE), "a field that has the focus")
        for number, text in enumerate(texts, 1):
            self.terminal.enter(text, secret=text in SECRET)
            if number < len(texts):
                self.terminal.move("Enter", RULE)
            else:
                self.terminal.press("Enter")

    # what is on record ----------------------------------------------------------------------

    @contextmanager
    def store(self) -> Iterator[Store]:
        """The record, to look at."""
        with Store.open(self.data, clock=self.clock.now, make=False) as opened:
            yield opened

    def walks(self) -> tuple[WalkSummary, ...]:
        """Return the walks on record, oldest first."""
        with self.store() as store:
            return tuple(sorted(store.walks(), key=lambda walk: walk.started))

    def last_walk(self) -> str:
        """Return the name of the latest walk."""
        return self.walks()[-1].walk

    def events(self, walk: str) -> list[Event]:
        """Return a walk's events."""
        with self.store() as store:
            return [stored.event for stored in store.events(walk)]

    def queue(self) -> tuple[Listed, ...]:
        """Return the open defects."""
        with self.store() as store:
            return store.defects.queue()

    def defect_of(self, point: str, what: str = "") -> Listed:
        """Return the unit's latest defect of a point, by the names that the queue shows."""
        with self.store() as store:
            found = [d for d in store.defects.of_unit(UNIT_ID) if d.point == point and what in d.what]
        if not found:
            raise NotOnRecord(f"no defect of {point} {what}")
        return found[-1]

    def defect(self, defect_id: str) -> Defect:
        """Return a defect with its history."""
        with self.store() as store:
            return store.defects.book(UNIT_ID).defect(defect_id)

    def expect(self, holds: object, what: str) -> None:
        """Raise NotOnRecord where what must be on the record is not."""
        if not holds:
            raise NotOnRecord(f"not on the record: {what}")


def monday_sound(folder: Path) -> Path:
    """Write what is said on Monday, cut from the recorded walk, as one file; return it.

    It is the first two stops, and at the third the wiring harness with the note that is dictated
    about it.
    """
    sample = ROOT / "samples" / "engine_61_walk.opus"
    lines = json.loads((ROOT / "samples" / "engine_61_walk.times.json").read_text(encoding="utf-8"))["lines"]
    said = [line["say"] for line in lines]
    third = said.index("Next stop.") + 3
    """Its first line after "Next stop." and two cautions."""
    harness, after = said.index("Left wiring harness, copper showing."), said.index("End of remark.") + 1
    with soundfile.SoundFile(sample) as sound:
        samples, rate = sound.read(), sound.samplerate
    pause_s = 0.3

    def at(line: int) -> int:
        return int((lines[line]["start_s"] - pause_s) * rate)

    path = folder / "monday.flac"
    soundfile.write(path, np.concatenate((samples[: at(third)], samples[at(harness) : at(after)])), rate)
    return path
