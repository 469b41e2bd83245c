"""``voicelog export``, ``verify`` and ``backup``: proof that the record is whole, and copies of it."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from voicelog.clock import now
from voicelog.commands.terminal import harmless
from voicelog.errors import RecordError, WalkError
from voicelog.paths import data_folder

if TYPE_CHECKING:
    from voicelog.records.export_proof import FileProof
    from voicelog.records.store import Store
    from voicelog.walk.events import Event


@click.command()
@click.argument("walk_id")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="The file to write.")
@click.option("--sheet", "sheet_path", type=click.Path(path_type=Path), help="The sheet it was made with.")
@click.pass_obj
def export(data: Path | None, walk_id: str, out: Path, sheet_path: Path | None) -> None:
    """Write a walk as one file that proves itself.

    It has the walk's events, sound, public keys and sheet.
    """
    from voicelog.loading import load_walk
    from voicelog.records.export import pack
    from voicelog.records.store import Store

    if out.exists():
        raise RecordError("There is a file of this name already.", where=str(out), remedy="Name another.")
    with Store.open(data_folder(data), clock=now, make=False) as store:
        _, sheet = load_walk(store, walk_id, sheet_path)
        if problems := store.verify(walk_id):
            raise RecordError(
                "this record is not whole: " + " ".join(problems),
                where=walk_id,
                remedy="keep the data folder as it is, and compare it with a backup",
            )
        record = store.exported(walk_id, sheet)
    part = out.with_name(f".{out.name}.{os.getpid()}.part")
    with part.open("wb") as file:
        file.write(pack(record))
        file.flush()
        os.fsync(file.fileno())
    part.replace(out)
    click.echo(harmless(f"{out}: {len(record.rows)} events, {len(record.clips)} sound clips"))


@click.command()
@click.argument("what", metavar="[WALK|FILE|FOLDER]", required=False)
@click.option("--station", help="The station whose keys count, as `voicelog people list` shows it.")
@click.option(
    "--holds",
    multiple=True,
    help="A hash that a report shows, or its first 16 digits: that event must be in it. Again for more.",
)
@click.pass_obj
def verify(data: Path | None, what: str | None, station: str | None, holds: tuple[str, ...]) -> None:
    """Prove a record whole, or name what is wrong.

    It names what was altered, missing, moved or not signed. Exit code 1 then.

    Of a walk, of a file made by `voicelog export`, or of a whole data folder; without an argument,
    of everything on record here.
    """
    from voicelog.records.held import digits_of

    path = Path(what) if what is not None else data_folder(data)
    wanted = tuple(digits_of(printed) for printed in holds)
    if path.is_file():
        sys.exit(_file(path, station, wanted, data_folder(data)))
    if what is None or path.is_dir():
        sys.exit(_everything(path, station, wanted))
    sys.exit(_walk(data_folder(data), what, station, wanted))


def _file(path: Path, station: str | None, wanted: Sequence[str], data: Path) -> int:
    from voicelog.defects.wording import certificate
    from voicelog.records.export_proof import NOT_SIGNED, prove
    from voicelog.records.held import not_held
    from voicelog.records.removed import told
    from voicelog.screens.outside_text import visible
    from voicelog.walk.wording import show_key, show_signing_key

    found = prove(path.read_bytes(), str(path))
    removed, differs = _removed_here(data, found)
    problems = [
        *found.problems,
        *not_held(wanted, found.hashes),
        *_other_station(found.station, station),
        *differs,
    ]
    for problem in problems:
        click.echo(visible(problem), err=True)
    # Nothing was found altered in a record that nobody sealed; but it could have been made anew.
    state = "not proved" if problems == [NOT_SIGNED] else "not whole" if problems else "whole"
    click.echo(visible(f"{found.walk}: {found.events} events, {state}"))
    for signed in found.signatures:
        click.echo(visible(f"{signed.meaning} {signed.by}, {signed.role}; {show_signing_key(signed)}"))
    if found.defect_events:
        click.echo(f"{found.defect_events} events of the unit's defects")
    for at, made in found.certificates:
        click.echo(visible(f"{made.defect_id}: {certificate(datetime.fromisoformat(at), made)}"))
    if found.without_sound is not None:
        click.echo(visible(f"its sound {told(found.without_sound)}"))
    for line in removed:
        click.echo(visible(line))
    if found.station and station is None:
        click.echo(f"station {show_key(found.station)}: compare it with what the station itself tells")
    return 1 if problems else 0


def _removed_here(folder: Path, found: FileProof) -> tuple[list[str], list[str]]:
    """Return what the record here says of a file's walk if it removed it, and where the two differ."""
    from voicelog.records.removed import told
    from voicelog.records.store import DATABASE, Store

    if not (folder / DATABASE).is_file():
        return [], []
    try:
        with Store.open(folder, clock=now, make=False) as store:
            gone = store.removal.walk(found.walk)
            here = store.people.now().root
    except RecordError:
        return [], []  # the file is proved without it
    if gone is None or found.station != here:
        return [], []
    if (gone.walk.head, gone.walk.events) != (found.head, found.events):
        return [], ["This is not the walk as it was when it was removed here: its last event is another."]
    return [f"this walk {told(gone)}: the file holds it to its last event"], []


def _other_station(found: str, named: str | None) -> Iterator[str]:
    """Yield that the keys are not those of the station ``named``; nothing where none was named."""
    digits = "".join((named or "").split()).lower()
    if named is not None and not (len(digits) >= 16 and found.startswith(digits)):
        yield "The keys are not those of the station that was named."


def _everything(folder: Path, station: str | None = None, wanted: Sequence[str] = ()) -> int:
    from voicelog.records.proof import prove_folder
    from voicelog.records.removed import told_act
    from voicelog.screens.outside_text import visible

    found = prove_folder(folder, wanted)
    problems = [*found.problems, *_other_station(found.station, station)]
    for problem in problems:
        click.echo(visible(problem), err=True)
    state = "not whole" if problems else "whole"
    click.echo(visible(f"{folder}: {found.walks} walks, {found.events} events, {state}"))
    for done_at, event in found.removed.acts:
        click.echo(visible(told_act(done_at, event)))
    if found.newest is not None:
        walk, at, digits = found.newest.walk, found.newest.at, found.newest.hash
        click.echo(visible(f"newest event: of {walk}, {at}, hash {digits}"))
    return 1 if problems else 0


def _walk(folder: Path, walk_id: str, station: str | None, wanted: Sequence[str]) -> int:
    from voicelog.records.held import not_held
    from voicelog.records.removed import told, told_copy
    from voicelog.records.store import Store
    from voicelog.screens.outside_text import visible
    from voicelog.walk.events import SignedOff
    from voicelog.walk.wording import show_signing_key

    with Store.open(folder, clock=now, make=False) as store:
        events = store.events(walk_id)
        gone = store.removal.removed()
        if not events and (was := gone.walks.get(walk_id)):
            problems = [
                *store.verify(walk_id),
                *not_held(wanted, (was.walk.head,)),
                *_other_station(store.people.now().root, station),
            ]
            for problem in problems:
                click.echo(visible(problem), err=True)
            click.echo(visible(f"{walk_id} {told(was)}; {told_copy(was)}"))
            return 1 if problems else 0
        if not events:
            raise WalkError(f"there is no walk {walk_id}", remedy="list them with: voicelog walks")
        problems = [
            *store.verify(walk_id),
            *not_held(wanted, (stored.hash for stored in events)),
            *_other_station(store.people.now().root, station),
        ]
        certified = () if problems else tuple(_certified(store, walk_id, events[0].event))
    for problem in problems:
        click.echo(visible(problem), err=True)
    click.echo(f"{walk_id}: {len(events)} events, " + ("not whole" if problems else "whole"))
    signed = [stored.event for stored in events if isinstance(stored.event, SignedOff)]
    for made in signed:
        click.echo(visible(f"{made.meaning} {made.by}, {made.role}; {show_signing_key(made)}"))
    if not signed:
        click.echo("not signed")
    if silent := gone.sound.get(walk_id):
        click.echo(visible(f"its sound {told(silent)}; {told_copy(silent)}"))
    for line in certified:
        click.echo(visible(line))
    return 1 if problems else 0


def _certified(store: Store, walk_id: str, started: Event) -> Iterator[str]:
    """Yield the certificates of the defects that a walk brought or acknowledged."""
    from voicelog.defects.events import RepairCertified
    from voicelog.defects.wording import certificate

    book = store.defects.book(getattr(started, "unit_id", ""))
    for defect in book.defects.values():
        if any(getattr(event, "walk", "") == walk_id for _, event in defect.history):
            for at, event in defect.history:
                if isinstance(event, RepairCertified):
                    yield f"{defect.defect_id}: {certificate(at, event)}"


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.pass_obj
def backup(data: Path | None, folder: Path) -> None:
    """Copy the whole record to FOLDER.

    Also while a walk is running; again to bring the copy up to date.

    The copy is put in place only when all of it is there, so that FOLDER always holds a whole record.
    """
    from voicelog.records.store import Store

    with Store.open(data_folder(data), clock=now, make=False) as store:
        store.backup(folder)
    sys.exit(_everything(folder))
