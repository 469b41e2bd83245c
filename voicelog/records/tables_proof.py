"""Proof that the record's file has the tables that the steps make, and nothing beside them."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from sqlite_utils import Database

from voicelog.records import schema

_NOTES = "_sqlite_migrations"
"""Where the library notes which steps were done; it makes that table as its own version does."""


def table_problems(db: Database) -> Iterator[str]:
    """Yield tables, indexes, views and triggers that are not those of this version; guards aside.

    What was put in could alter what is written next, or give other rows than the tables have.
    """
    there, expected = _objects(db), _expected()
    for kind, name in sorted(there.keys() | expected.keys()):
        if (kind, name) not in expected:
            yield f"The {kind} {name} was put in: the record may have been altered by it."
        elif (kind, name) not in there:
            yield f"The {kind} {name} was removed."
        elif there[kind, name] != expected[kind, name]:
            yield f"The {kind} {name} was changed."
    noted = [(row["id"], row["name"]) for row in db.query(f"SELECT id, name FROM {_NOTES} ORDER BY id")]
    if noted != list(enumerate(_steps(), 1)):
        yield "The notes of how the tables were made are not as they were written."


def _objects(db: Database) -> dict[tuple[str, str], str]:
    """Return the SQL of each object, its blanks made one, by kind and name."""
    return {
        (row["type"], row["name"]): " ".join((row["sql"] or "").split())
        for row in db.query(
            "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
        )
        if row["name"] not in schema.GUARDS and row["name"] != _NOTES
    }


@cache
def _expected() -> dict[tuple[str, str], str]:
    with Database(memory=True) as empty:
        schema.bring_up_to_date(empty)
        return _objects(empty)


@cache
def _steps() -> tuple[str, ...]:
    with Database(memory=True) as empty:
        return tuple(step.name for step in schema.STEPS.pending(empty))
