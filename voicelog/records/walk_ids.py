"""The names of walks in a record: such as ``engine_61-20261125-0710-1``."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from voicelog.errors import RecordError

_WALK_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,99}")


def check_walk_id(walk: str, folder: Path) -> None:
    """Raise RecordError for what cannot be the name of a walk in ``folder``."""
    if not _WALK_ID.fullmatch(walk):
        raise RecordError(
            f"'{walk}' cannot be the name of a walk.",
            where=str(folder),
            remedy="Use letters, digits, '-' and '_' only, 100 at most.",
        )


def new_walk_id(db: Database, unit_id: str, at: datetime) -> str:
    """Return an id that nothing in the record stands or stood under."""
    name = re.sub(r"[^A-Za-z0-9_-]+", "_", unit_id).strip("_-")[:60] or "unit"
    stem = f"{name}-{at:%Y%m%d-%H%M}-"
    # Of events, not of the list: an id is taken as soon as anything stands under it.
    near = db.query("SELECT DISTINCT walk FROM events WHERE walk >= ? AND walk < ?", (stem, f"{stem}:"))
    taken = {row["walk"] for row in near}
    # A walk that was removed keeps its name: nothing else may ever stand under it.
    gone = "SELECT walk FROM removed_list WHERE walk >= ? AND walk < ?"
    taken |= {row["walk"] for row in db.query(gone, (stem, f"{stem}:"))}
    number = 1
    while f"{stem}{number}" in taken:
        number += 1
    return f"{stem}{number}"
