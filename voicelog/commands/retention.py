"""``voicelog retention``: what the local policy no longer asks to be kept."""

from __future__ import annotations

from pathlib import Path

import click

from voicelog.clock import now
from voicelog.commands.across import local_policy
from voicelog.commands.shop import opened


@click.command()
@click.option(
    "--policy",
    "policy_file",
    type=click.Path(path_type=Path),
    help="The local policy; by default policy.toml of the data folder, or else the shipped example.",
)
@click.pass_obj
def retention(data: Path | None, policy_file: Path | None) -> None:
    """List what need no longer be kept.

    Walks and repairs that the local policy no longer asks to be kept. Removes nothing.
    """
    from voicelog.defects.retention import past_retention, walks_past_retention
    from voicelog.defects.wording import title
    from voicelog.screens.outside_text import visible

    with opened(data) as store:
        policy = local_policy(data, policy_file, store)
        walks = {found.walk: found for found in store.walks()}
        defects = {
            defect_id: defect
            for unit in dict.fromkeys(found.unit_id for found in walks.values())
            for defect_id, defect in store.defects.book(unit).defects.items()
        }
    today = now().date()
    said = f"{policy.walks_months} months" if policy.walks_months else "without end: the policy does not say"
    click.echo(
        visible(f"walks are kept {said}, repairs {policy.repairs_months or 3} months ({policy.title})")
    )
    past = walks_past_retention(
        {name: found.last.date() for name, found in walks.items()},
        defects.values(),
        today,
        policy.walks_months,
        policy.repairs_months,
    )
    for kept in past:
        found = walks[kept.name]
        what = f"{kept.name}  {found.unit_name}  {found.sheet_title}"
        click.echo(visible(f"{what}  last {kept.last}, to be kept until {kept.until}"))
    ended = past_retention(defects.values(), today, policy.repairs_months)
    for kept in ended:
        what = f"{kept.name}  {title(defects[kept.name])}"
        click.echo(visible(f"{what}  ended {kept.last}, to be kept until {kept.until}"))
    if not past and not ended:
        click.echo("nothing is past its time")
    else:
        click.echo("voicelog removes nothing by itself; an officer decides with the local policy")
