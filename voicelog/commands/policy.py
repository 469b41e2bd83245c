"""``voicelog policy``: the local policy file, and which one applies."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from voicelog.errors import SheetError
from voicelog.paths import data_folder, shipped

if TYPE_CHECKING:
    from voicelog.sheet.model import Sheet
    from voicelog.sheet.policy import Policy

POLICY_FILE = "policy.toml"


def policy_path(data: Path | None, given: Path | None) -> Path:
    """Return the policy that applies: the one given, the data folder's, or the shipped example."""
    if given is not None:
        return given
    own = data_folder(data) / POLICY_FILE
    return own if own.is_file() else shipped("grammars", POLICY_FILE)


def policy_for(data: Path | None, given: Path | None, sheet: Sheet) -> Policy:
    """Return the policy that applies to walks of ``sheet``. Raises SheetError for one with a fault.

    The shipped example is only an example: where it does not fit the sheet's own lexicon, there is no
    local policy, and that is told on standard error.
    """
    from voicelog.sheet.policy import NO_POLICY, load_policy

    path = policy_path(data, given)
    own = data_folder(data) / POLICY_FILE
    if given is not None and own.is_file() and own.read_bytes() != given.read_bytes():
        # Otherwise whoever signs would choose what they are held against.
        raise SheetError(
            "this data folder has a local policy of its own, and it is the one that counts",
            where=str(own),
            remedy="leave out --policy, or put the new policy in its place",
        )
    try:
        # The whole sheet, for a rule may name a point that this walk's extent leaves out.
        return load_policy(path, sheet.whole or sheet)
    except SheetError:
        if path != shipped("grammars", POLICY_FILE) or given is not None:
            raise
        click.echo(
            f"voicelog: {NO_POLICY.title}; write your own as {data_folder(data) / POLICY_FILE}", err=True
        )
        return NO_POLICY


@click.group()
def policy() -> None:
    """Check the local policy.

    It says what takes a unit out of service, and who may sign.
    """


@policy.command("check")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--sheet",
    "sheets",
    type=click.Path(path_type=Path),
    multiple=True,
    help="A sheet it is for; again for more. By default all that are shipped.",
)
@click.option(
    "--unit",
    "units",
    type=click.Path(path_type=Path),
    multiple=True,
    help="A unit that the sheets are written out for; again for more.",
)
@click.pass_obj
def policy_check(
    data: Path | None, file: Path | None, sheets: tuple[Path, ...], units: tuple[Path, ...]
) -> None:
    """Say what is wrong with a policy, and what it asks.

    By line. Exit code 1 if it cannot be used.

    Without FILE, the policy that applies here.
    """
    from voicelog.screens.outside_text import visible
    from voicelog.sheet.policy import check_policy, load_policy
    from voicelog.sheet.problems import errors_of

    path = policy_path(data, file)
    loaded = _sheets(sheets, units)
    problems = check_policy(path, loaded)
    for problem in problems:
        for line in str(problem).split("\n"):
            click.echo(line[: len(line) - len(line.lstrip())] + visible(line), err=True)
    if errors_of(problems):
        sys.exit(1)
    for line in policy_lines(load_policy(path, loaded[0])):
        click.echo(visible(line))


def _sheets(sheets: tuple[Path, ...], units: tuple[Path, ...]) -> tuple[Sheet, ...]:
    """Return the sheets, each as it is for every unit; without units those that need none."""
    from voicelog.sheet import load_sheet, load_unit
    from voicelog.sheet.load import sheet_needs_unit

    of = tuple(load_unit(path) for path in units)
    found: list[Sheet] = []
    for path in sheets or _shipped_sheets():
        if of:
            found += [load_sheet(path, unit=unit) for unit in of]
        elif sheets or not sheet_needs_unit(path):
            found.append(load_sheet(path))
    return tuple(found)


def _shipped_sheets() -> tuple[Path, ...]:
    """Return the sheets that come with voicelog."""
    others = {"lexicon.toml", POLICY_FILE}
    return tuple(path for path in sorted(shipped("grammars").glob("*.toml")) if path.name not in others)


def policy_lines(found: Policy) -> list[str]:
    """Return what a policy asks for, in words."""
    lines = [f"{found.path}: {found.title}, edition {found.edition}; usable"]
    for rule in found.rules:
        of = [f"class {rule.class_id}"] if rule.class_id else []
        of += [" or ".join(rule.conditions)] if rule.conditions else []
        of += ["a value outside its limit"] if rule.outside_limit else []
        of += [f"at {' or '.join(rule.points)}"] if rule.points else []
        demand = "out of service" if rule.demand == "out_of_service" else "restrictions at least"
        lines.append(f"{demand}: {', '.join(of)} ({rule.why})")
    lines.append(f"a doubt is overdue after {found.doubt_hours} hours")
    lines.append("who walked may" + ("" if found.own_walk else " not") + " also confirm the walk")
    lines.append("may be overridden by " + (", ".join(found.override_by) or "any officer"))
    kept = (
        ("walks are", found.walks_months),
        ("the sound of walks is", found.sound_months),
        ("repairs are", found.repairs_months),
    )
    for what, months in kept:
        if months:
            lines.append(f"{what} kept {months} months at least, and until an officer removes what is past")
    for interval in found.intervals:
        what = f"{interval.extent} check" + (f" with {interval.sheet}" if interval.sheet else "")
        due = f"due again after {interval.days} days" if interval.days else "not due by itself"
        lines.append(f"the {what} is {due}")
    return lines
