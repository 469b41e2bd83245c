"""The tables of people, of their locked keys, and of the seals over events."""

from __future__ import annotations

TABLES = (
    """
    CREATE TABLE people (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        after INTEGER NOT NULL CHECK (after >= 0),
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        body TEXT NOT NULL,
        previous TEXT NOT NULL CHECK (length(previous) = 64),
        hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64),
        key_id TEXT NOT NULL,
        signature TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE keys (
        key_id TEXT PRIMARY KEY CHECK (length(key_id) = 64),
        box TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE seals (
        walk TEXT NOT NULL,
        number INTEGER NOT NULL,
        key_id TEXT NOT NULL CHECK (length(key_id) = 64),
        signature TEXT NOT NULL CHECK (length(signature) = 128),
        PRIMARY KEY (walk, number)
    ) STRICT
    """,
)

_KEYS = {
    "people": "number = NEW.number",
    "keys": "key_id = NEW.key_id",
    "seals": "walk = NEW.walk AND number = NEW.number",
}

GUARDS = {
    f"{table}_refuse_{action.lower()}": f"""
    CREATE TRIGGER {table}_refuse_{action.lower()} BEFORE {action} ON {table}
    BEGIN SELECT RAISE(ABORT, 'the record only grows: rows of {table} are never changed'); END
    """
    for table in _KEYS
    for action in ("UPDATE", "DELETE")
} | {
    f"{table}_refuse_replace": f"""
    CREATE TRIGGER {table}_refuse_replace BEFORE INSERT ON {table}
    WHEN EXISTS (SELECT 1 FROM {table} WHERE {same})
    BEGIN SELECT RAISE(ABORT, 'the record only grows: this row of {table} is there already'); END
    """
    for table, same in _KEYS.items()
}
"""Trigger name to the SQL that makes it."""
