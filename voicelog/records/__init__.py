"""The record: events in SQLite, sound clips beside them, each walk a chain of hashes."""
