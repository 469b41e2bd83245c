"""``voicelog people``: who is on record, with which roles and keys."""

from __future__ import annotations

import stat
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from voicelog.clock import now
from voicelog.commands.pins import ask_pin, pin_option, signer_for
from voicelog.errors import PersonError
from voicelog.paths import data_folder

if TYPE_CHECKING:
    from voicelog.people.keys import Signer
    from voicelog.records.store import Store

_ROLES = click.Choice(["operator", "officer", "mechanic"])

_BY = click.option("--by", required=True, help="The officer who does this.")
_REASON = click.option("--reason", default="", help="Why.")
_PIN = pin_option("pin-file", "the acting person's")


def _roles(command: Callable[..., Any]) -> Callable[..., Any]:
    return click.option(
        "--role", "roles", type=_ROLES, multiple=True, required=True, help="A role; give it again for more."
    )(command)


@click.group()
def people() -> None:
    """Keep the people on record.

    Operators, officers and mechanics, each with a key behind a PIN.
    """


@people.command("list")
@click.pass_obj
def list_people(data: Path | None) -> None:
    """List who is on record, their roles and keys."""
    from voicelog.people.lockout import NEVER, locked_until, others_who_lift
    from voicelog.records.store import Store
    from voicelog.walk.wording import show_key

    with Store.open(data_folder(data), clock=now, make=False) as store:
        found = store.people.now()
        if not found:
            click.echo("nobody is on record: names are taken as given, and nothing is signed with a key")
        for person in found.persons.values():
            roles = ", ".join(role for role in ("operator", "officer", "mechanic") if role in person.roles)
            state = ""
            if person.retired is not None:
                state = f"  retired {person.retired:%Y-%m-%d}"
            elif until := locked_until(person, now(), others=others_who_lift(found, person)):
                state = f"  locked until {until:%Y-%m-%d %H:%M:%S}" if until is not NEVER else "  locked"
            click.echo(f"{person.name}  {roles}  key {show_key(person.key.key_id)}{state}")
        if found.root:
            click.echo(f"station {show_key(found.root)}")


@people.command()
@click.argument("name")
@_roles
@click.option("--by", help="The officer who adds this person; left out for the first, who adds themselves.")
@_PIN
@pin_option("new-pin-file", "the new person's")
@click.pass_obj
def add(
    data: Path | None,
    name: str,
    roles: tuple[Any, ...],
    by: str | None,
    pin_file: Path | None,
    new_pin_file: Path | None,
) -> None:
    """Put a person on record.

    The first is an officer. From then on nothing is recorded without a PIN.
    """
    from voicelog.people.names import checked_name
    from voicelog.records.store import Store
    from voicelog.walk.wording import show_key

    name = checked_name(name)
    with Store.open(data_folder(data), clock=now) as store:
        officer = signer_for(store, by, pin_file) if by is not None else None
        if by is not None and officer is None:
            raise PersonError(
                "nobody is on record yet, so nobody can add this person",
                remedy="add an officer first, without --by: voicelog people add NAME --role officer",
            )
        event, _ = store.people.add(name, roles, ask_pin(name, new_pin_file, new=True), by=officer)
        if stat.S_IMODE(store.folder.stat().st_mode) & (stat.S_IRWXG | stat.S_IRWXO):
            click.echo(
                f"others on this machine can open {store.folder}, and so try PINs on locked keys elsewhere: "
                "make it yours alone (chmod 700)",
                err=True,
            )
        click.echo(f"added: {event.name}, {', '.join(event.roles)}, key {show_key(event.key_id)}")


@people.command()
@click.argument("name")
@_roles
@_BY
@_REASON
@_PIN
@click.pass_obj
def role(
    data: Path | None, name: str, roles: tuple[Any, ...], by: str, reason: str, pin_file: Path | None
) -> None:
    """Give a person these roles, and no other."""
    from voicelog.records.store import Store

    with Store.open(data_folder(data), clock=now, make=False) as store:
        event = store.people.give_roles(name, roles, by=_officer(store, by, pin_file), reason=reason)
        click.echo(f"{event.name}: {', '.join(event.roles)}")


@people.command()
@click.argument("name")
@click.option("--by", help="Who does this; by default the person, with the PIN they have now.")
@_REASON
@_PIN
@pin_option("new-pin-file", "the person's new")
@click.pass_obj
def key(
    data: Path | None,
    name: str,
    by: str | None,
    reason: str,
    pin_file: Path | None,
    new_pin_file: Path | None,
) -> None:
    """Give a person a new PIN, and so a new key.

    Their own, or by an officer when it was forgotten.
    """
    from voicelog.records.store import Store
    from voicelog.walk.wording import show_key

    with Store.open(data_folder(data), clock=now, make=False) as store:
        signer = _officer(store, by or name, pin_file)
        pin = ask_pin(name, new_pin_file, new=True)
        event = store.people.replace_key(name, pin, by=signer, reason=reason)
        click.echo(f"{event.name}: new key {show_key(event.key_id)}")


@people.command()
@click.argument("name")
@_BY
@_REASON
@_PIN
@click.pass_obj
def retire(data: Path | None, name: str, by: str, reason: str, pin_file: Path | None) -> None:
    """Take a person out of service. What they did stays on record, in their name."""
    from voicelog.records.store import Store

    with Store.open(data_folder(data), clock=now, make=False) as store:
        event = store.people.retire(name, by=_officer(store, by, pin_file), reason=reason)
        click.echo(f"{event.name}: retired")


@people.command()
@click.argument("name")
@_BY
@_PIN
@click.pass_obj
def unlock(data: Path | None, name: str, by: str, pin_file: Path | None) -> None:
    """Let a person try their PIN again at once."""
    from voicelog.records.store import Store

    with Store.open(data_folder(data), clock=now, make=False) as store:
        event = store.people.lift_lock(name, by=_officer(store, by, pin_file))
        click.echo(f"{event.name}: the PIN may be tried again")


def _officer(store: Store, by: str, pin_file: Path | None) -> Signer:
    """Return the open key of who does it; PersonError where nobody is on record."""
    signer = signer_for(store, by, pin_file)
    if signer is None:
        raise PersonError(
            "nobody is on record yet",
            remedy="add an officer first: voicelog people add NAME --role officer",
        )
    return signer
