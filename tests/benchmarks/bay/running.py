"""Runs cases in one or more processes and writes a row as each is done.

The rows file can be read while it grows, and a run that was broken off goes on where it stopped:
a case whose id is in the file is not heard again.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.bay.listening import Listener
from tests.benchmarks.bay.said import Case, Row
from tests.benchmarks.bay.sounds import sound_of
from voicelog.errors import VoicelogError
from voicelog.hearing.whisper import WhisperOptions, WhisperRecogniser

TELL_EVERY_S = 30.0


@dataclass(frozen=True, slots=True)
class Run:
    """Where a run keeps what it makes, and with what it hears."""

    rows: Path
    cache: Path
    jobs: int = 1
    model: Path | None = None
    noise_file: Path | None = None
    """Noise around words; None for engines."""


_listener: Listener | None = None
_run: Run | None = None


def add_options(parser: argparse.ArgumentParser, *, sample: str = "hear only the first N cases") -> None:
    """Add the options of every benchmark that runs cases."""
    parser.add_argument("--seed", type=int, default=1, help="another seed is another set")
    parser.add_argument("--sample", type=int, metavar="N", help=sample)
    parser.add_argument("--jobs", type=int, default=1, help="processes; each takes some 600 MB")
    parser.add_argument("--model", type=Path, metavar="FOLDER", help="another Whisper model")
    parser.add_argument("--rows", type=Path, metavar="FILE", help="where the JSON rows go; goes on from it")
    parser.add_argument("--from", dest="source", type=Path, metavar="FILE", help="only read rows")
    parser.add_argument(
        "--cache", type=Path, default=Path("/tmp/voicelog-bay"), metavar="FOLDER", help="of synthetic speech"
    )
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="write the sound of what is listed")


def rows_of(args: argparse.Namespace, cases: Sequence[Case], noise_file: Path | None = None) -> list[Row]:
    """Return the rows that the options ask for: read, or heard now."""
    if args.source:
        return read_rows(args.source)
    rows = args.rows or Path(args.cache) / "rows.jsonl"
    if args.rows is None:
        rows.unlink(missing_ok=True)
    run = Run(rows, args.cache, args.jobs, args.model, noise_file)
    return hear_all(cases, run)


def read_rows(path: Path) -> list[Row]:
    """Return the rows of a file; a last line that was cut off is left out.

    VoicelogError where the file cannot be read, or holds something else.
    """
    try:
        lines = path.read_text().split("\n")
        return [Row.model_validate_json(line) for line in lines[:-1] if line]
    except (OSError, ValueError) as error:
        raise VoicelogError(
            f"the rows cannot be read ({error})", where=str(path), remedy="give the file a run wrote"
        ) from error


def hear_all(cases: Sequence[Case], run: Run) -> list[Row]:
    """Hear the cases that the rows file has not, and return the rows of all of them, in order."""
    run.rows.parent.mkdir(parents=True, exist_ok=True)
    known = {row.case.id: row for row in read_rows(run.rows)} if run.rows.exists() else {}
    # Compared whole: with another seed the same number is another phrase.
    todo = [case for case in cases if case.id not in known or known[case.id].case != case]
    if len(todo) < len(cases):
        _tell(f"{len(cases) - len(todo)} rows are in {run.rows} already")
    started, told = time.monotonic(), 0.0
    with run.rows.open("a") as file:
        for number, row in enumerate(_heard(todo, run), 1):
            known[row.case.id] = row
            file.write(row.model_dump_json() + "\n")
            file.flush()
            elapsed = time.monotonic() - started
            if number == 10 or elapsed - told > TELL_EVERY_S:
                told = elapsed
                left = elapsed / number * (len(todo) - number)
                _tell(f"{number} of {len(todo)}, {elapsed / number:.2f} s each, {_minutes(left)} left")
    return [known[case.id] for case in cases]


def _heard(todo: Sequence[Case], run: Run) -> Iterator[Row]:
    if run.jobs == 1:
        _begin(run)
        yield from map(_hear, todo)
        return
    with ProcessPoolExecutor(
        run.jobs, multiprocessing.get_context("spawn"), initializer=_begin, initargs=(run,)
    ) as pool:
        yield from pool.map(_hear, todo, chunksize=4)


def _begin(run: Run) -> None:
    global _listener, _run
    options = WhisperOptions() if run.jobs == 1 else WhisperOptions(threads=1)
    _listener, _run = Listener(WhisperRecogniser(run.model, options)), run


def _hear(case: Case) -> Row:
    assert _listener is not None and _run is not None
    return _listener.hear(case, sound_of(case, _run.cache, _run.noise_file))


def _minutes(seconds: float) -> str:
    return f"{seconds / 3600:.1f} h" if seconds > 5400 else f"{seconds / 60:.0f} min"


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)
