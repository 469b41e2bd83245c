"""Drive a week of Engine 61 through the installed command in tmux, from first defect to closed repair.

``python -m tests.screens.week_in_tmux --out FOLDER`` types and presses what the operators, the
officer and the mechanic would, on a clock that is moved from day to day. After every step it looks
at the screen and at the record, and keeps a picture. It ends with exit code 1 at the first step that
is not as it should be, and names it. It needs tmux and faketime (``apt install tmux faketime``).
"""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable
from pathlib import Path

import click

from .week import later, monday
from .week.clock import NoFakeTime
from .week.station import NotOnRecord, Station
from .week.terminal import NotSeen

PARTS: tuple[tuple[str, Callable[[Station], None]], ...] = (
    ("people", monday.people),
    ("policy", monday.policy),
    ("monday-heard", monday.heard_walk),
    ("monday-typed", monday.typed_walk),
    ("monday-review", monday.review),
    ("monday-proof", monday.proof),
    ("tuesday-shop", later.tuesday_shop),
    ("wednesday-walk", later.wednesday_walk),
    ("thursday-repairs", later.thursday_repairs),
    ("friday-commands", later.friday_commands),
    ("saturday-walk", later.saturday_walk),
    ("sunday-walk", later.sunday_walk),
    ("sunday-reports", later.sunday_reports),
)
NAMES = [name for name, _ in PARTS]


def drive(folder: Path, size: tuple[int, int], begin: str, end: str, *, png: bool) -> str:
    """Drive the parts from ``begin`` to ``end``; return what failed, empty when nothing did."""
    kept = folder / "kept"
    first = NAMES.index(begin)
    if first:
        shutil.rmtree(folder / "record", ignore_errors=True)
        shutil.copytree(kept / NAMES[first - 1], folder / "record")
    else:
        shutil.rmtree(folder, ignore_errors=True)
    station = Station(folder, size, png=png)
    try:
        for name, part in PARTS[first : NAMES.index(end) + 1]:
            began = time.monotonic()
            print(f"{name}", flush=True)
            part(station)
            shutil.rmtree(kept / name, ignore_errors=True)
            shutil.copytree(station.data, kept / name)
            print(f"  ({time.monotonic() - began:.0f} s)", flush=True)
    except (NotSeen, NotOnRecord) as error:
        station.shot("failed")
        return f"{name}: {station.step_now}: {error}"
    finally:
        station.end()
    return ""


@click.command(help=__doc__)
@click.option("--out", required=True, type=click.Path(file_okay=False, path_type=Path), help="Folder.")
@click.option(
    "--size", "sizes", multiple=True, default=("80x24", "120x40"), help="COLUMNSxROWS; may be given again."
)
@click.option(
    "--from", "begin", type=click.Choice(NAMES), default=NAMES[0], help="Go on from here in an earlier run."
)
@click.option(
    "--to", "end", type=click.Choice(NAMES), default=NAMES[-1], help="The last part that is driven."
)
@click.option("--png", is_flag=True, help="Pictures as PNG too, drawn by Chromium.")
def main(out: Path, sizes: tuple[str, ...], begin: str, end: str, png: bool) -> None:
    """Drive the week at each size."""
    for program in ("tmux", "faketime"):
        if shutil.which(program) is None:
            raise click.ClickException(f"{program} is not installed: apt install {program}")
    for text in sizes:
        columns, rows = map(int, text.split("x"))
        print(f"== {text}", flush=True)
        try:
            failed = drive(out / text, (columns, rows), begin, end, png=png)
        except NoFakeTime as error:
            raise click.ClickException(str(error)) from error
        if failed:
            print(f"NOT AS IT SHOULD BE: {failed}", file=sys.stderr)
            sys.exit(1)
    print("the week is as it should be")


if __name__ == "__main__":
    main()
