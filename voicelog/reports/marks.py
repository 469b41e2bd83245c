"""The mark of each state of a point. It is for the eye: a word stands beside it always."""

from __future__ import annotations

from voicelog.walk.state import PointStatus

MARKS: dict[PointStatus, str] = {"defect": "▲", "doubt": "?", "open": "○", "sound": "✓"}
