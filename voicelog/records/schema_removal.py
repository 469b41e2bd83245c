"""What removal needs of the tables: a list of what was removed, and guards that let only that go.

``removed_list`` is drawn from the units' chains, as the other lists are. ``clips_leaving`` names the
files that are still to be taken off the disk after their removal was told.
"""

from __future__ import annotations

TABLES = (
    """
    CREATE TABLE removed_list (
        walk TEXT NOT NULL,
        what TEXT NOT NULL CHECK (what IN ('walk', 'sound')),
        unit_id TEXT NOT NULL,
        number INTEGER NOT NULL,
        PRIMARY KEY (walk, what)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE TABLE clips_leaving (sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64)) STRICT",
)

_TOLD = {
    "events": "walk = OLD.walk AND what = 'walk'",
    "seals": "walk = OLD.walk AND what = 'walk'",
    "clips": "walk = OLD.walk",
}

GUARDS = {
    f"{table}_refuse_delete": f"""
    CREATE TRIGGER {table}_refuse_delete BEFORE DELETE ON {table}
    WHEN NOT EXISTS (SELECT 1 FROM removed_list WHERE {told})
    BEGIN SELECT RAISE(ABORT, 'the record only grows: rows of {table} are never changed'); END
    """
    for table, told in _TOLD.items()
}
"""Trigger name to the SQL that makes it; in the place of those of the same name before."""
