"""``voicelog retention``: what the local policy no longer asks to be kept, and an officer's removal of it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from voicelog.clock import now
from voicelog.commands.across import local_policy
from voicelog.commands.pins import pin_option, signer_for
from voicelog.commands.policy import policy_path
from voicelog.commands.shop import opened
from voicelog.commands.terminal import say
from voicelog.errors import RecordError, WalkError

if TYPE_CHECKING:
    from voicelog.defects.removal_events import Removal
    from voicelog.records.store import Store
    from voicelog.removing import PastWalk
    from voicelog.sheet.policy import Policy

_MORE_IN_A_COPY = 300_000
"""Bytes, about: the editions that a walk was made with, and its unit's events."""
NOTHING_PAST = "nothing is past its time"


def _policy(command: Callable[..., Any]) -> Callable[..., Any]:
    return click.option(
        "--policy",
        "policy_file",
        type=click.Path(path_type=Path),
        help="The local policy; by default policy.toml of the data folder, or else the shipped example.",
    )(command)


@click.group(invoke_without_command=True)
@_policy
@click.pass_context
def retention(context: click.Context, policy_file: Path | None) -> None:
    """List what need no longer be kept, and remove it.

    Walks and repairs that the local policy no longer asks to be kept.
    """
    if context.invoked_subcommand is not None:
        if policy_file is not None:
            raise click.UsageError("give --policy after the command: voicelog retention remove --policy FILE")
        return
    data: Path | None = context.obj
    with opened(data) as store:
        policy = local_policy(data, policy_file, store)
        _finish(store)
        for line in _listed(store, policy):
            click.echo(line)


def _listed(store: Store, policy: Policy) -> Iterator[str]:
    from voicelog.defects.retention import past_retention
    from voicelog.defects.wording import title
    from voicelog.removing import past_walks
    from voicelog.screens.outside_text import visible

    today = now().date()
    yield visible(f"{_asked(policy)} ({policy.title})")
    past = past_walks(store, policy, today)
    yield from _walks(past)
    whole = {one.found.walk for one in past if not one.holds}
    silent = [one for one in past_walks(store, policy, today, sound=True) if one.found.walk not in whole]
    if silent:
        yield "sound past its time:"
        yield from _walks(silent)
    books = (store.defects.book(unit) for unit in dict.fromkeys(f.unit_id for f in store.walks()))
    defects = {defect_id: defect for book in books for defect_id, defect in book.defects.items()}
    ended = past_retention(defects.values(), today, policy.repairs_months)
    for kept in ended:
        what = f"{kept.name}  {title(defects[kept.name])}"
        yield visible(f"{what}  ended {kept.last}, to be kept until {kept.until}; its history stays, as text")
    if not past and not ended and not silent:
        yield NOTHING_PAST
    elif whole or any(not one.holds for one in silent):
        yield "voicelog removes nothing by itself: an officer does, with voicelog retention remove"
    if gone := store.removal.removed().walks:
        yield f"{len(gone)} walks were removed before: voicelog walks --removed"


def _asked(policy: Policy) -> str:
    def months(count: int) -> str:
        return f"{count} months"

    walks = months(policy.walks_months) if policy.walks_months else "without end: the policy does not say"
    sound = f"their sound {months(policy.sound_months)}" if policy.sound_months else "their sound as long"
    return f"walks are kept {walks}, {sound}, repairs {months(policy.repairs_months or 3)}"


def _walks(past: Sequence[PastWalk]) -> Iterator[str]:
    from voicelog.screens.outside_text import visible

    for one in past:
        found = one.found
        what = f"{found.walk}  {found.unit_name}  {found.sheet_title}"
        yield visible(f"{what}  last {one.kept.last}, to be kept until {one.kept.until}  {size(one.bytes)}")
        for hold in one.holds:
            yield "   stays: " + visible(f"{hold.why}; {hold.remedy}")


def size(count: int) -> str:
    """Return a number of bytes as people read it: ``12.4 MB``, ``310 kB``."""
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{count / 1e3:.0f} kB"


@retention.command()
@click.argument("walk_ids", metavar="[WALK]...", nargs=-1)
@click.option("--copies", type=click.Path(path_type=Path, file_okay=False), help="Folder of the copies.")
@click.option("--no-copies", is_flag=True, help="Make no copies; what is removed is then gone for good.")
@click.option("--sound", is_flag=True, help="Only the sound, where the policy has sound_months.")
@click.option("--by", default="", help="The officer who removes it.")
@click.option("--reason", default="", help="Why.")
@click.option("--carry-out", is_flag=True, help="Do it; without this it is only told what would be done.")
@_policy
@pin_option("pin-file", "the officer's")
@click.pass_obj
def remove(
    data: Path | None,
    walk_ids: tuple[str, ...],
    copies: Path | None,
    no_copies: bool,
    sound: bool,
    by: str,
    reason: str,
    carry_out: bool,
    policy_file: Path | None,
    pin_file: Path | None,
) -> None:
    """Remove walks past their time, as an officer.

    Each is first copied to a folder, and the copy is proved. What was removed is told in a sealed event
    of the unit. Without --carry-out nothing is done.

    Of the WALKs named, or of all that are past their time.
    """
    from voicelog.records.copies import check_folder, check_room
    from voicelog.removing import Act, check_reason, past_walks, remove_all

    if (copies is None) is not no_copies:
        raise click.UsageError("give --copies FOLDER, or --no-copies")
    with opened(data) as store:
        policy = _in_force(data, policy_file, store)
        if sound and not policy.sound_months:
            raise RecordError(
                "The policy does not say how long sound is kept: it is kept as long as the walk.",
                where=policy.path,
                remedy="Write sound_months under [retention], and have it approved.",
            )
        past = past_walks(store, policy, now().date(), sound=sound, only=walk_ids)
        _check_named(store, walk_ids, past)
        going = [one for one in past if not one.holds]
        if copies is not None:
            check_folder(copies, store.folder)
        _tell(store, policy, past, copies, sound)
        if not carry_out:
            if going:
                click.echo("nothing was removed: add --carry-out, --by and --reason to do it")
            return
        _finish(store)
        if not going:
            return
        act = Act(policy, check_reason(reason), signer_for(store, by, pin_file), copies, sound)
        store.removal.check_may(act.signer)
        if copies is not None:
            # A copy also has the sheet and the unit's events.
            check_room(copies, sum(one.bytes + _MORE_IN_A_COPY for one in going))
        done, failed = remove_all(store, going, act, click.echo)
        _close(store, done)
        for error in failed:
            say(str(error))
        if failed:
            sys.exit(2)


def _in_force(data: Path | None, policy_file: Path | None, store: Store) -> Policy:
    """Return the department's own policy; the shipped one is an example, and nothing is removed by it."""
    from voicelog.paths import shipped

    if policy_path(data, policy_file) == shipped("grammars", "policy.toml") and policy_file is None:
        raise RecordError(
            "No local policy is in force here, and nothing is removed by an example.",
            where=str(store.folder),
            remedy="Write your department's as policy.toml in this folder, or name it with --policy FILE.",
        )
    return local_policy(data, policy_file, store)


def _check_named(store: Store, walk_ids: Sequence[str], past: Sequence[PastWalk]) -> None:
    found = {one.found.walk for one in past}
    on_record = {walk.walk for walk in store.walks()}
    for walk in walk_ids:
        if walk not in on_record:
            store.removal.check_there(walk)
            raise WalkError(f"there is no walk {walk}", remedy="list them with: voicelog walks")
        if walk not in found:
            raise WalkError(
                "this is not past its time by the local policy, or has no sound left",
                where=walk,
                remedy="see what is: voicelog retention",
            )


def _tell(store: Store, policy: Policy, past: Sequence[PastWalk], copies: Path | None, sound: bool) -> None:
    """Say what is removed, what stays and why, and where the copies go."""
    from voicelog.records.copies import same_disk
    from voicelog.screens.outside_text import visible

    going = [one for one in past if not one.holds]
    click.echo(
        visible(f"{_asked(policy)} ({policy.title}, edition {policy.edition}); today is {now():%Y-%m-%d}")
    )
    for line in _walks(past):
        click.echo(line)
    clips, total = sum(one.clips for one in going), sum(one.bytes for one in going)
    what = f"the sound of {len(going)} walks" if sound else f"{len(going)} walks"
    if not going:
        click.echo("nothing can be removed" if past else NOTHING_PAST)
        return
    click.echo(f"to remove: {what}, {clips} sound clips, about {size(total)}")
    if copies is None:
        click.echo("no copies are made: what is removed is gone for good")
        return
    click.echo(visible(f"each is copied to {copies} first, and the copy is proved"))
    if same_disk(copies, store.folder):
        click.echo(
            "this folder is on the same disk: it has no more room afterwards, unless you move the copies"
        )


def _close(store: Store, done: Sequence[Removal]) -> None:
    """Give the room back, and say what was done."""
    from voicelog.screens.outside_text import visible

    of_unit: dict[str, int] = {}
    for event in done:
        of_unit[event.unit_name] = of_unit.get(event.unit_name, 0) + len(event.walks)
    for unit, count in of_unit.items():
        what = "the sound of " if done[0].kind == "sound removed" else ""
        walks = "1 walk" if count == 1 else f"{count} walks"
        click.echo(visible(f"removed: {what}{walks} of {unit}, by {done[0].by}: {done[0].reason}"))
    if done and not store.removal.give_back():
        say(
            "the record's file keeps its size for now: another program has it open, or the disk is full. "
            "It is made shorter with the next removal."
        )


def _finish(store: Store) -> None:
    """Take off the disk what an earlier removal that was cut off has left there."""
    count = store.removal.finish()
    if count:
        click.echo(f"finished an earlier removal: {count} sound files were still on the disk")
