"""What the walk says back, and what its views are told.

Views (screen, plain lines, later the voice) show these and decide nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from voicelog.walk.events import Event, Heard
from voicelog.walk.state import WalkState

ReplyKind = Literal["taken", "doubt", "not understood", "answer", "caution", "trouble"]
Ear = Literal[
    "listening",
    "hearing",
    "speaking",
    "deciding",
    "standing by",
    "taking a remark",
    "no microphone",
    "stopped",
]
"""``speaking``: the voice sounds, and what is said meanwhile is not heard."""


@dataclass(frozen=True, slots=True)
class Reply:
    """One thing said back, short enough to be spoken."""

    kind: ReplyKind
    text: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """Events to commit, then replies to give."""

    events: tuple[Event, ...] = ()
    replies: tuple[Reply, ...] = ()


@dataclass(frozen=True, slots=True)
class Update:
    """What views are told after something happened; everything in it is already committed."""

    state: WalkState
    replies: tuple[Reply, ...] = ()
    heard: Heard | None = None
    """What was just heard or typed; None when nothing was."""
    ear: Ear = "listening"
    level_dbfs: float = -100.0
    position_s: float = 0.0
    """Seconds into the recording or stream."""
    walk_id: str = ""
    partial: str = ""
    """Words of an utterance that is still being spoken: shown, never logged, and often wrong."""
    test_s: float | None = None
    """Seconds of the running timed test that have certainly passed; None while none runs."""
