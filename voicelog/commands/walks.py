"""``voicelog walks``, ``review``, ``settle``, ``sign`` and ``report``: what becomes of a walk."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

import click

from voicelog.clock import now
from voicelog.commands.pins import pin_option, signer_for
from voicelog.commands.policy import policy_for, policy_path
from voicelog.commands.terminal import check_screen, harmless, say
from voicelog.errors import RecordError, WalkError
from voicelog.paths import data_folder

if TYPE_CHECKING:
    from voicelog.records.store import Store
    from voicelog.reports.write import Form, Paper
    from voicelog.sheet.model import Sheet
    from voicelog.sheet.policy import Policy
    from voicelog.walk.events import Event
    from voicelog.walk.fitness import OpenBefore
    from voicelog.walk.state import WalkState


@contextmanager
def _store(data: Path | None) -> Iterator[Store]:
    from voicelog.records.store import Store

    with Store.open(data_folder(data), clock=now, make=False) as store:
        yield store


def _loaded(
    store: Store, walk_id: str, sheet_path: Path | None, *, to_sign: bool = False
) -> tuple[WalkState, Sheet]:
    """Return a walk and its sheet; says so when the record is not whole, and then nobody may sign it."""
    from voicelog.loading import load_walk

    loaded = load_walk(store, walk_id, sheet_path)
    if problems := store.verify(walk_id):
        error = RecordError(
            "this record is not whole: " + " ".join(problems),
            where=walk_id,
            remedy="keep the data folder as it is, and compare it with a backup",
        )
        if to_sign:
            raise error
        say(str(error))
    return loaded


def _open_before(store: Store, state: WalkState) -> tuple[OpenBefore, ...]:
    """Return the unit's defects of other walks that are open still."""
    from voicelog.defects.open_before import open_before

    unit = state.started.unit_id if state.started else ""
    return open_before(store.defects.book(unit), state, now().date())


_POLICY = click.option(
    "--policy",
    "policy_file",
    type=click.Path(path_type=Path),
    help="The local policy; by default policy.toml of the data folder, or else the shipped example.",
)
_SHEET = click.option(
    "--sheet", "sheet_path", type=click.Path(path_type=Path), help="The sheet it was made with."
)


@click.command()
@click.option("--removed", is_flag=True, help="Those that were removed under retention.")
@click.pass_obj
def walks(data: Path | None, removed: bool) -> None:
    """List the walks on record."""
    from voicelog.records.removed import told, told_copy
    from voicelog.screens.outside_text import visible

    with _store(data) as store:
        if removed:
            for walk, gone in store.removal.removed().walks.items():
                what = f"{walk}  {gone.event.unit_name}  {gone.walk.sheet_title}  {gone.walk.operator}"
                line = f"{what}  {gone.walk.started:%Y-%m-%d %H:%M}  {told(gone)}; {told_copy(gone)}"
                click.echo(visible(line))
            return
        changed = store.changed_since_signed()
        for found in store.walks():
            state = "signed" if found.signed else "complete" if found.finished else "unfinished"
            state += ", CHANGED SINCE" if found.walk in changed else ""
            line = (
                f"{found.walk}  {found.unit_name}  {found.sheet_title}  {found.operator}  "
                f"{found.started:%Y-%m-%d %H:%M}  {state}"
            )
            click.echo(visible(line))


@click.command()
@click.argument("walk_id")
@click.option("--plain", is_flag=True, help="Lines instead of a screen.")
@_POLICY
@_SHEET
@click.pass_obj
def review(
    data: Path | None, walk_id: str, plain: bool, policy_file: Path | None, sheet_path: Path | None
) -> None:
    """Review a walk: settle, correct, sign.

    As the officer. Doubts and defects come first.
    """
    from voicelog.playing import player

    check_screen(plain)
    with _store(data) as store:
        state, loaded = _loaded(store, walk_id, sheet_path)
        store.defects.take_up(walk_id, state)
        local = policy_for(data, policy_file, loaded)
        if plain:
            from voicelog.screens.review_plain import review_lines

            for line in review_lines(state, local, now(), _open_before(store, state)):
                click.echo(line)
            return
        from voicelog.hearing.engines import Engines, make_recogniser
        from voicelog.later_transcripts import LaterTranscripts
        from voicelog.screens.review_screen import ReviewApp

        def policy_now() -> Policy:
            same = policy_path(data, policy_file).read_bytes()
            return local if local.is_of(same) else policy_for(data, policy_file, loaded)

        transcripts = LaterTranscripts(store, loaded.lexicon, lambda: make_recogniser(Engines()))
        with transcripts.behind():
            ReviewApp(
                store,
                walk_id,
                loaded,
                player(),
                policy=local,
                policy_now=policy_now,
                transcripts=transcripts,
            ).run()


@click.command()
@click.argument("walk_id")
@click.argument("entry_id")
@click.argument("number", type=int)
@click.option("--by", required=True, help="Who decides.")
@click.option("--reason", default="", help="Why; needed when a possible defect is settled as sound.")
@_SHEET
@pin_option("pin-file", "the officer's")
@click.pass_obj
def settle(
    data: Path | None,
    walk_id: str,
    entry_id: str,
    number: int,
    by: str,
    reason: str,
    sheet_path: Path | None,
    pin_file: Path | None,
) -> None:
    """Settle a doubt of a walk.

    Chooses candidate NUMBER of ENTRY_ID, as `voicelog review --plain` numbers them.
    """
    from voicelog.loading import load_walk
    from voicelog.screens.outside_text import visible
    from voicelog.screens.review_plain import settle_by_number
    from voicelog.walk.computing import follow_up
    from voicelog.walk.wording import say_claim

    with _store(data) as store:
        state, loaded = _loaded(store, walk_id, sheet_path)
        event = settle_by_number(state, entry_id, number, by, reason)
        events: tuple[Event, ...] = (event, *follow_up(state, (event,)))
        signer = signer_for(store, by, pin_file)
        with store.lock(walk_id) if state.finished is None else nullcontext():
            store.append(walk_id, events, signer=signer, after=state.events)
        store.defects.take_up(walk_id, load_walk(store, walk_id, sheet_path)[0])
        click.echo(visible(f"settled: {say_claim(event.claim, loaded)}"))


@click.command()
@click.argument("walk_id")
@click.option("--by", required=True, help="Who signs.")
@click.option("--role", type=click.Choice(["operator", "officer"]), default="officer", show_default=True)
@click.option(
    "--decision",
    type=click.Choice(["none", "in service", "in service with restrictions", "out of service"]),
    default=None,
    help="The officer's decision about the unit.",
)
@click.option("--reason", default="", help="Why; needed in service with defects of the worst rank.")
@click.option("--override", default="", help="Why the decision is against the local policy, where it is.")
@_POLICY
@_SHEET
@pin_option("pin-file", "the signer's")
@click.pass_obj
def sign(
    data: Path | None,
    walk_id: str,
    by: str,
    role: str,
    decision: str | None,
    reason: str,
    override: str,
    policy_file: Path | None,
    sheet_path: Path | None,
    pin_file: Path | None,
) -> None:
    """Sign a complete walk.

    The operator signs that it was inspected, the officer that it is confirmed.
    """
    from voicelog.screens.outside_text import visible
    from voicelog.walk.review import sign as signed

    if role == "officer" and decision is None:
        raise WalkError(
            "the officer's signature needs a decision",
            remedy='give --decision "in service", "in service with restrictions" or "out of service"',
        )
    with _store(data) as store:
        state, loaded = _loaded(store, walk_id, sheet_path, to_sign=True)
        local = policy_for(data, policy_file, loaded)
        event = signed(
            state,
            by=by,
            role=role,  # type: ignore[arg-type]
            meaning="inspected by" if role == "operator" else "confirmed by",
            decision=decision or "none",  # type: ignore[arg-type]
            reason=reason,
            # Of what was read, not of what the record may have become since.
            head=store.head(walk_id, state.events),
            policy=local,
            override=override,
            open_before=_open_before(store, state),
        )
        signer = signer_for(store, by, pin_file)
        store.keep_policy(local)
        store.append(walk_id, (event,), signer=signer)
        click.echo(
            visible(f"signed: {event.meaning} {event.by}") + (f"; {event.decision}" if decision else "")
        )
        for what in event.overridden:
            click.echo(visible(f"against the local policy: {what}"))
        if signer is None:
            click.echo("not signed with a key: nobody is on record (voicelog people)")


@click.command()
@click.argument("walk_id")
@click.option("--out", type=click.Path(path_type=Path), default=Path("."), show_default=True, help="Folder.")
@click.option(
    "--form",
    "forms",
    multiple=True,
    type=click.Choice(["html", "txt", "pdf", "csv", "json"]),
    help="May be given several times; by default html and txt.",
)
@click.option(
    "--paper", type=click.Choice(["Letter", "A4"]), default="Letter", show_default=True, help="For the PDF."
)
@_SHEET
@click.pass_obj
def report(
    data: Path | None,
    walk_id: str,
    out: Path,
    forms: tuple[Form, ...],
    paper: Paper,
    sheet_path: Path | None,
) -> None:
    """Write a walk's report.

    One HTML file with its sound, and one of plain text, or other forms.
    """
    from voicelog.reports.write import USUAL, write_report

    with _store(data) as store:
        _, loaded = _loaded(store, walk_id, sheet_path)
        for path in write_report(store, walk_id, loaded, out, forms or USUAL, paper):
            click.echo(harmless(path))
