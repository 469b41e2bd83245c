"""``voicelog history`` and ``voicelog overview``: reports over many walks."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from voicelog.clock import now
from voicelog.commands.shop import opened
from voicelog.commands.terminal import harmless

if TYPE_CHECKING:
    from voicelog.records.store import Store
    from voicelog.reports.across_write import AcrossForm
    from voicelog.reports.walk_rows import SheetOf
    from voicelog.reports.write import Paper
    from voicelog.sheet.model import Sheet
    from voicelog.sheet.policy import Policy
    from voicelog.walk.events import WalkStarted


def _written(command: Callable[..., Any]) -> Callable[..., Any]:
    """Return the command with where it writes, in which forms."""
    for option in reversed(
        (
            click.option(
                "--out", type=click.Path(path_type=Path), default=Path("."), show_default=True, help="Folder."
            ),
            click.option(
                "--form",
                "forms",
                multiple=True,
                type=click.Choice(["html", "pdf", "csv", "json"]),
                help="May be given several times; by default html.",
            ),
            click.option(
                "--paper",
                type=click.Choice(["Letter", "A4"]),
                default="Letter",
                show_default=True,
                help="For the PDF.",
            ),
        )
    ):
        command = option(command)
    return command


def _sheets(store: Store) -> SheetOf:
    """Return what gives the sheet of a walk, reading each edition once."""
    from voicelog.loading import sheet_as_made

    known: dict[tuple[str, ...], Sheet | None] = {}

    def sheet_of(started: WalkStarted) -> Sheet | None:
        key = (started.sheet_id, *started.edition_key)
        if key not in known:
            known[key] = sheet_as_made(store, started)
        return known[key]

    return sheet_of


@click.command()
@click.argument("unit_id", metavar="UNIT")
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), help="Only walks from this day on, YYYY-MM-DD.")
@_written
@click.pass_obj
def history(
    data: Path | None,
    unit_id: str,
    since: datetime | None,
    out: Path,
    forms: tuple[AcrossForm, ...],
    paper: Paper,
) -> None:
    """Write a unit's history.

    Its walks, its defects with their lives, its readings over time. UNIT is its id.
    """
    from voicelog.reports.across import gather_history
    from voicelog.reports.across_write import write_history

    with opened(data) as store:
        found = gather_history(store, unit_id, _sheets(store), now(), since.date() if since else None)
        for path in write_history(found, unit_id, out, forms or ("html",), paper):
            click.echo(harmless(path))


@click.command()
@click.option(
    "--unit",
    "unit_paths",
    type=click.Path(path_type=Path),
    multiple=True,
    help="A unit's file, again for more: its sheets are asked for even if never walked.",
)
@click.option(
    "--days", type=click.IntRange(min=1), default=90, show_default=True, help="Of coverage and pace."
)
@click.option(
    "--policy",
    "policy_file",
    type=click.Path(path_type=Path),
    help="The local policy; by default policy.toml of the data folder, or else the shipped example.",
)
@_written
@click.pass_obj
def overview(
    data: Path | None,
    unit_paths: tuple[Path, ...],
    days: int,
    policy_file: Path | None,
    out: Path,
    forms: tuple[AcrossForm, ...],
    paper: Paper,
) -> None:
    """Write the station's overview.

    Checks due, open defects, readings near their limit, coverage.
    """
    from voicelog.loading import sheets_of
    from voicelog.reports.across import gather_overview
    from voicelog.reports.across_write import write_overview
    from voicelog.sheet import load_unit

    units = tuple(load_unit(path) for path in unit_paths)
    unit_sheets = [(unit.id, sheet) for unit in units for sheet in sheets_of(unit)]
    with opened(data) as store:
        sheet_of = _sheets(store)
        policy = local_policy(data, policy_file, store, sheet_of)
        found = gather_overview(store, sheet_of, now(), policy, units, unit_sheets, days)
        for path in write_overview(found, out, forms or ("html",), paper):
            click.echo(harmless(path))


def local_policy(
    data: Path | None, policy_file: Path | None, store: Store, sheet_of: SheetOf | None = None
) -> Policy:
    """Return the policy that applies, held against a sheet on record; against the shipped one without."""
    from voicelog.commands.policy import policy_for
    from voicelog.paths import shipped
    from voicelog.sheet import load_sheet

    sheet_of = sheet_of or _sheets(store)
    begun = (store.across.started(walk) for walk in store.across.latest().values())
    on_record = (sheet for started in begun if started and (sheet := sheet_of(started)))
    sheet = next(on_record, None) or load_sheet(shipped("grammars", "engine_bay.toml"))
    return policy_for(data, policy_file, sheet)
