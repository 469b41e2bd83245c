"""Kills a walk at random moments and looks for what it had acknowledged.

``python -m tests.benchmarks.kill_walk --runs 50`` runs the recorded walk through the real engine
and kills it with SIGKILL 4 to 40 s after its start; ``--fast`` runs made-up phrases and sound
instead (:mod:`tests.faults.talking`) and kills within two seconds. After each kill every line it
had printed must have its event, the record must be proven whole with its sound, and the same
command must take the walk up where it stood. The moments come from ``--seed``. Exit code 1 if
anything was lost.
"""

from __future__ import annotations

import argparse
import os
import random
import selectors
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.faults.acknowledged import kept, taken_up
from tests.faults.talking import talk
from tests.opening import without_gate
from voicelog.clock import now
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.records.store import Store
from voicelog.sheet import load_sheet, load_unit
from voicelog.sheet.model import Sheet, Unit

ROOT = Path(__file__).parents[2]
UNIT = ROOT / "samples" / "engine_61.toml"
SHEET = ROOT / "grammars" / "engine_bay.toml"
RECORDING = ROOT / "samples" / "engine_61_walk.opus"
OPERATOR = "R. Alder"
PATIENCE_S = 120.0
"""How long a second run may take to say where the walk stood."""


@dataclass(frozen=True, slots=True)
class Running:
    """A walk in another process: its id, and the reading end of its standard output."""

    pid: int
    out: int


Start = Callable[[Path, int], Running]
"""Starts a walk in a data folder; the number is a seed."""


@dataclass(slots=True)
class Run:
    """What one kill came to."""

    moment_s: float
    acknowledged: int = 0
    events: int = 0
    silent: int = 0
    lost: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    resumed: str = ""
    """``resumed``, ``begun anew`` where nothing had been begun, or why it was not resumed."""

    @property
    def good(self) -> bool:
        """Whether nothing was lost, all is whole, and the walk was taken up."""
        return not self.lost and not self.problems and self.resumed in ("resumed", "begun anew")


# starting and killing -----------------------------------------------------------------------


def listening(recording: Path) -> Start:
    """Return how to start the recorded walk, as a user would."""
    walk = ["walk", "--plain", "--unit", str(UNIT), "--operator", OPERATOR, "--from", str(recording)]

    def start(folder: Path, seed: int) -> Running:
        del seed
        command = [sys.executable, "-m", "voicelog.cli", "--data", str(folder), *walk]
        reading, writing = os.pipe()
        with (folder.parent / "errors.txt").open("ab") as errors:
            child = subprocess.Popen(command, cwd=ROOT, stdout=writing, stderr=errors)
        os.close(writing)
        return Running(child.pid, reading)

    return start


def talking(sheet: Sheet, unit: Unit, graphs: Mapping[str, PhraseGraph]) -> Start:
    """Return how to start a walk of made-up phrases: as a fork, so that it is in it at once."""

    def start(folder: Path, seed: int) -> Running:
        reading, writing = os.pipe()
        sys.stdout.flush()
        pid = os.fork()
        if pid:
            os.close(writing)
            return Running(pid, reading)
        os.close(reading)
        try:
            with (folder.parent / "errors.txt").open("ab") as errors:
                os.dup2(errors.fileno(), 2)
            os.dup2(writing, 1)
            talk(folder, sheet, unit, graphs, seed, OPERATOR)
        except BaseException:
            traceback.print_exc()
            sys.stderr.flush()
        finally:
            os._exit(70)

    return start


def _read(running: Running, until_s: float, enough: Callable[[bytes], bool] = lambda _: False) -> bytes:
    """Return what is printed until a moment of the monotonic clock, until ``enough`` or the end."""
    said = b""
    with selectors.DefaultSelector() as waiting:
        waiting.register(running.out, selectors.EVENT_READ)
        while (left := until_s - time.monotonic()) > 0 and not enough(said):
            if waiting.select(left):
                piece = os.read(running.out, 65_536)
                if not piece:
                    break
                said += piece
    return said


def _kill(running: Running) -> bytes:
    """Kill with SIGKILL; return what had been printed and not yet read."""
    os.kill(running.pid, signal.SIGKILL)
    os.waitpid(running.pid, 0)
    said = b""
    while piece := os.read(running.out, 65_536):
        said += piece
    os.close(running.out)
    return said


def _lines(said: bytes) -> list[str]:
    """Return the whole lines; one that was cut off acknowledges nothing."""
    return said.decode().split("\n")[:-1]


# one run ------------------------------------------------------------------------------------


def one_run(
    start: Start, sheet: Sheet, unit: Unit, folder: Path, seed: int, moment_s: float, go_on_s: float
) -> Run:
    """Start a walk, kill it, look for what it acknowledged, take it up, and kill it again.

    ``moment_s`` is seconds from the start; ``go_on_s`` how long the second run goes on once it has
    said where the walk stood.
    """
    folder.mkdir(parents=True)
    run = Run(moment_s)
    running = start(folder, seed)
    lines = _lines(_read(running, time.monotonic() + moment_s) + _kill(running))
    with _store(folder) as store:
        walk = store.open_walk(unit.id, sheet.id) or ""
        first = kept(store, walk, sheet, lines)
        before = store.events(walk) if walk else ()
    running = start(folder, seed + 1)
    said = _read(running, time.monotonic() + PATIENCE_S, lambda said: b"  answer" in said)
    said += _read(running, time.monotonic() + go_on_s)
    lines = _lines(said + _kill(running))
    with _store(folder) as store:
        if walk:
            run.resumed = taken_up(before, store.events(walk), sheet, lines) or "resumed"
        else:
            walk = store.open_walk(unit.id, sheet.id) or ""
            run.resumed = "begun anew" if walk else "nothing was begun"
        second = kept(store, walk, sheet, lines, after=len(before))
        walks = len(store.walks())
        run.events = len(store.events(walk))
    run.acknowledged = first.acknowledged + second.acknowledged
    run.silent = first.silent + second.silent
    run.lost = first.lost + second.lost
    run.problems = first.problems + second.problems
    if walks != 1:
        run.problems += (f"{walks} walks where there should be one",)
    if errors := (folder.parent / "errors.txt").read_text():
        run.problems += (f"on standard error: {errors}",)
    return run


@contextmanager
def _store(folder: Path) -> Iterator[Store]:
    with Store.open(folder, clock=now) as store:
        yield store


# the table ----------------------------------------------------------------------------------


def main() -> None:
    """Run, print a line a run and the sums."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--runs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=61)
    parser.add_argument("--fast", action="store_true", help="made-up phrases instead of the engine")
    parser.add_argument("--sheet", type=Path, default=SHEET, help="for --fast: another sheet")
    parser.add_argument("--recording", type=Path, default=RECORDING, help="what the engine hears")
    parser.add_argument("--moments", type=float, nargs=2, metavar="S", help="earliest and latest kill")
    args = parser.parse_args()
    # A walk that talks at random would stay at its first caution, so it has none.
    sheet, unit = without_gate(load_sheet(args.sheet)) if args.fast else load_sheet(SHEET), load_unit(UNIT)
    start = listening(args.recording.absolute())
    if args.fast:
        graphs = {stop.id: compile_grammar(sheet_grammar(sheet, stop.id)) for stop in sheet.stops}
        start = talking(sheet, unit, graphs)
    earliest, latest = args.moments or ((0.02, 2.0) if args.fast else (4.0, 40.0))
    rng = random.Random(args.seed)
    runs = []
    print(f"{'run':>4} {'killed at':>9} {'events':>7} {'acknowledged':>13} {'lost':>5} {'silent':>7}  then")
    with tempfile.TemporaryDirectory(prefix="voicelog-kill-") as folder:
        for number in range(1, args.runs + 1):
            moment = rng.uniform(earliest, latest)
            if args.fast and number % 5 == 0:
                moment = rng.uniform(0.0, 0.1)  # while it begins
            data = Path(folder) / str(number) / "data"
            run = one_run(start, sheet, unit, data, rng.randrange(10**6), moment, 0.5 if args.fast else 4.0)
            runs.append(run)
            print(
                f"{number:>4} {moment:>7.2f} s {run.events:>7} {run.acknowledged:>13} {len(run.lost):>5} "
                f"{run.silent:>7}  {run.resumed}",
                flush=True,
            )
            for what in (*run.lost, *run.problems):
                print(f"       {what}", flush=True)
    print(
        f"runs {len(runs)}, acknowledged {sum(r.acknowledged for r in runs)}, "
        f"lost {sum(len(r.lost) for r in runs)}, "
        f"resumed {sum(r.resumed == 'resumed' for r in runs)}, "
        f"begun anew {sum(r.resumed == 'begun anew' for r in runs)}, "
        f"kept unacknowledged {sum(r.silent for r in runs)}, "
        f"problems {sum(len(r.problems) for r in runs)}"
    )
    sys.exit(0 if all(run.good for run in runs) else 1)


if __name__ == "__main__":
    main()
