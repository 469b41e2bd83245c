"""``voicelog shop``: the defects of all units, from heard to closed."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from voicelog.clock import now
from voicelog.commands.pins import pin_option, signer_for
from voicelog.commands.terminal import harmless
from voicelog.errors import VoicelogError
from voicelog.paths import data_folder

if TYPE_CHECKING:
    from voicelog.defects.book import Defect
    from voicelog.defects.events import OfADefect, Role
    from voicelog.records.history import PointHistory
    from voicelog.records.store import Store


@contextmanager
def opened(data: Path | None) -> Iterator[Store]:
    """Open the record, with the defects of every walk entered; tells of what could not be."""
    from voicelog.loading import load_walk
    from voicelog.records.store import Store
    from voicelog.screens.outside_text import visible
    from voicelog.taking_up import take_up_all

    with Store.open(data_folder(data), clock=now, make=False) as store:
        for left in take_up_all(store, lambda walk: load_walk(store, walk, None)[0]):
            click.echo(visible(f"voicelog: {left}"), err=True)
        yield store


def _by(command: Callable[..., Any]) -> Callable[..., Any]:
    """Return the command with who does it, and where their PIN is."""
    command = pin_option("pin-file", "the acting person's")(command)
    return click.option("--by", required=True, help="Who does this.")(command)


def _role(default: str | None = None) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    return click.option(
        "--role",
        type=click.Choice(["officer", "mechanic"]),
        default=default,
        show_default=True,
        help="In which role.",
    )


@click.group(invoke_without_command=True)
@click.option("--plain", is_flag=True, help="The queue as lines instead of the screen.")
@click.pass_context
def shop(context: click.Context, plain: bool) -> None:
    """Work on the open defects of all units.

    Worst class first, then the oldest.
    """
    if context.invoked_subcommand is not None:
        return
    data: Path | None = context.obj
    if plain:
        _list(data, None)
        return
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise VoicelogError("the screen needs a terminal", remedy="give --plain for lines instead")
    from voicelog.playing import player
    from voicelog.reports.work_order import work_order, write_order
    from voicelog.screens.shop_screen import ShopApp

    with opened(data) as store:

        def write(defect: Defect, history: PointHistory) -> Path:
            return write_order(work_order(defect, history, now()), defect.defect_id, Path("."), store.clip)[0]

        ShopApp(store, player(), clock=now, write_order=write).run()


@shop.command("list")
@click.option("--unit", help="Every defect that this unit (its id) ever had, closed ones too.")
@click.pass_obj
def list_defects(data: Path | None, unit: str | None) -> None:
    """List the open defects of all units.

    Worst class first, then the oldest.
    """
    _list(data, unit)


def _list(data: Path | None, unit: str | None) -> None:
    from voicelog.screens.outside_text import visible
    from voicelog.screens.shop_text import queue_lines

    with opened(data) as store:
        found = store.defects.of_unit(unit) if unit else store.defects.queue()
        if unit and not found:
            click.echo(visible(f"{unit} has no defect on record"))
            return
        for line in queue_lines(found, now()):
            click.echo(line)


@shop.command()
@click.argument("defect_id")
@click.pass_obj
def show(data: Path | None, defect_id: str) -> None:
    """Show a defect with its history.

    Its life, what was said of its point before, and its notes.
    """
    from voicelog.screens.shop_text import defect_lines

    with opened(data) as store:
        defect = store.defects.book(store.defects.unit_of(defect_id)).defect(defect_id)
        history = store.point_history(defect.worst.unit_id, defect.worst.sheet_id, defect.worst.point_id)
        for label, text in defect_lines(defect, history, now()):
            click.echo(f"{label + ':':<13}{text}")


@shop.command()
@click.argument("defect_id")
@_by
@click.option("--reason", default="", help="Why, or what was seen.")
@click.pass_obj
def confirm(data: Path | None, defect_id: str, by: str, reason: str, pin_file: Path | None) -> None:
    """Confirm, as the officer, that a defect is one."""
    from voicelog.defects import acts

    _do(data, defect_id, by, pin_file, lambda d: acts.confirm(d, by=by, role="officer", reason=reason))


@shop.command()
@click.argument("defect_id")
@_by
@click.option("--until", type=click.DateTime(["%Y-%m-%d"]), required=True, help="The day, as YYYY-MM-DD.")
@click.option("--reason", required=True, help="Why it can wait.")
@click.pass_obj
def defer(
    data: Path | None, defect_id: str, by: str, until: datetime, reason: str, pin_file: Path | None
) -> None:
    """Defer a defect to a day, as the officer."""
    from voicelog.defects import acts

    today = now().date()
    _do(
        data,
        defect_id,
        by,
        pin_file,
        lambda d: acts.defer(d, until=until.date(), today=today, by=by, role="officer", reason=reason),
    )


@shop.command()
@click.argument("defect_id")
@_by
@_role("officer")
@click.option("--reason", default="", help="What the shop should know.")
@click.pass_obj
def send(data: Path | None, defect_id: str, by: str, role: Role, reason: str, pin_file: Path | None) -> None:
    """Send a defect to the shop."""
    from voicelog.defects import acts

    _do(data, defect_id, by, pin_file, lambda d: acts.send(d, by=by, role=role, reason=reason))


@shop.command()
@click.argument("defect_id")
@_by
@click.option("--findings", required=True, help="What was found, and what was done.")
@click.option("--part", "parts", multiple=True, help='A part fitted: "2 x hose clamp # 40-117"; repeatable.')
@click.option("--minutes", type=int, default=0, help="Time worked.")
@click.option("--not-needed", is_flag=True, help="It was looked at and needs no repair.")
@click.pass_obj
def repair(
    data: Path | None,
    defect_id: str,
    by: str,
    findings: str,
    parts: tuple[str, ...],
    minutes: int,
    not_needed: bool,
    pin_file: Path | None,
) -> None:
    """Record a repair as the mechanic, or that none is needed."""
    from voicelog.defects import acts

    if not_needed and parts:
        raise click.UsageError("--not-needed fits no parts: leave out --part")
    fitted = tuple(acts.part(text) for text in parts)

    def act(defect: Defect) -> OfADefect:
        if not_needed:
            return acts.need_no_repair(defect, by=by, role="mechanic", findings=findings, minutes=minutes)
        return acts.repair(defect, by=by, role="mechanic", findings=findings, parts=fitted, minutes=minutes)

    _do(data, defect_id, by, pin_file, act)


@shop.command()
@click.argument("defect_id")
@_by
@click.option("--reason", default="", help="What it rests on, where that is not plain.")
@click.pass_obj
def certify(data: Path | None, defect_id: str, by: str, reason: str, pin_file: Path | None) -> None:
    """Certify a repair, or that none is needed.

    As the mechanic.
    """
    from voicelog.defects import acts

    _do(data, defect_id, by, pin_file, lambda d: acts.certify(d, by=by, role="mechanic", reason=reason))


@shop.command()
@click.argument("defect_id")
@_by
@_role("officer")
@click.option("--reason", required=True, help="What is wrong with the repair.")
@click.pass_obj
def reopen(
    data: Path | None, defect_id: str, by: str, role: Role, reason: str, pin_file: Path | None
) -> None:
    """Open again what was repaired, or needed no repair."""
    from voicelog.defects import acts

    _do(data, defect_id, by, pin_file, lambda d: acts.reopen(d, by=by, role=role, reason=reason))


@shop.command()
@click.argument("defect_id")
@_by
@click.option("--reason", required=True, help="Why no walk needs to look at the point first.")
@click.pass_obj
def close(data: Path | None, defect_id: str, by: str, reason: str, pin_file: Path | None) -> None:
    """Close what is certified and acknowledged.

    As the officer. Otherwise a walk closes it, by a look at the point.
    """
    from voicelog.defects import acts

    _do(data, defect_id, by, pin_file, lambda d: acts.close(d, by=by, role="officer", reason=reason))


@shop.command()
@click.argument("defect_id")
@click.option("--out", type=click.Path(path_type=Path), default=Path("."), show_default=True, help="Folder.")
@click.pass_obj
def order(data: Path | None, defect_id: str, out: Path) -> None:
    """Write a work order.

    One HTML file with its sound, and one of plain text.
    """
    from voicelog.reports.work_order import work_order, write_order

    with opened(data) as store:
        defect = store.defects.book(store.defects.unit_of(defect_id)).defect(defect_id)
        worst = defect.worst
        history = store.point_history(worst.unit_id, worst.sheet_id, worst.point_id)
        for path in write_order(work_order(defect, history, now()), defect_id, out, store.clip):
            click.echo(harmless(path))


def _do(
    data: Path | None,
    defect_id: str,
    by: str,
    pin_file: Path | None,
    act: Callable[[Defect], OfADefect],
) -> None:
    """Let one act be done, and say what came of it and what comes next."""
    from voicelog.defects.wording import happened, next_step, title
    from voicelog.screens.outside_text import visible

    with opened(data) as store:
        defect = store.defects.do(defect_id, act, signer=signer_for(store, by, pin_file))
    last = defect.history[-1][1]
    click.echo(visible(f"{defect_id}, {title(defect)}: {happened(last)}"))
    click.echo(f"next: {next_step(defect)}")
