"""Asking for a PIN: typed without being shown, or read from a file; never from the command line.

What stands on a command line can be seen by everybody on the machine, and stays in its history.
"""

from __future__ import annotations

import stat
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from voicelog.errors import PersonError

if TYPE_CHECKING:
    from voicelog.people.keys import Signer
    from voicelog.records.store import Store


def pin_option(name: str, whose: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return the option ``--<name>``: the file that ``whose`` PIN is read from."""
    return click.option(
        f"--{name}",
        type=click.Path(path_type=Path, allow_dash=True),
        help=f"Read {whose} PIN from this file, or from standard input with -; otherwise it is asked.",
    )


def ask_pin(name: str, file: Path | None, *, new: bool = False) -> str:
    """Return the PIN of ``name``; a new one is typed twice. Raises PersonError."""
    if file is not None:
        return _read(file)
    text = f"New PIN of {name}" if new else f"PIN of {name}"
    try:
        return str(click.prompt(text, hide_input=True, confirmation_prompt=new, err=True))
    except click.Abort as error:
        raise PersonError(
            "no PIN was given", remedy="type it when it is asked, or give it with --pin-file FILE"
        ) from error


def signer_for(store: Store, name: str, file: Path | None) -> Signer | None:
    """Return the open key of ``name`` after asking for the PIN; None where nobody is on record.

    Raises PersonError for a name that is not on record, and for a wrong PIN.
    """
    people = store.people.now()
    if not people:
        return None
    return store.people.unlock(name, ask_pin(people.person(name).name, file))


def _read(file: Path) -> str:
    if str(file) == "-":
        line = sys.stdin.readline()
    else:
        with file.open(encoding="utf-8") as opened:
            mode = stat.S_IMODE(file.stat().st_mode)
            if mode & (stat.S_IRWXG | stat.S_IRWXO):
                raise PersonError(
                    "others can read this file, and so this PIN",
                    where=str(file),
                    remedy="make it yours alone (chmod 600), and replace the key: voicelog people key",
                )
            line = opened.readline()
    pin = line.rstrip("\r\n")
    if not pin:
        raise PersonError("there is no PIN in it", where=str(file), remedy="write it on the first line")
    return pin
