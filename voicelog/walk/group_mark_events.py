"""Group marks, as facts of the record. See :mod:`voicelog.walk.events`."""

from __future__ import annotations

from typing import Literal

from voicelog.meaning.facts import Frozen, Heard, Judged


class GroupMarkAsked(Frozen):
    """What a group mark would cover was read back; nothing is marked yet."""

    kind: Literal["group mark asked"] = "group mark asked"
    stop_id: str
    point_ids: tuple[str, ...]
    heard: Heard


class GroupMarked(Frozen):
    """The points that were read back count as sound by group mark, until more is said of them."""

    kind: Literal["group marked"] = "group marked"
    stop_id: str
    point_ids: tuple[str, ...]
    by: str
    asked: Heard
    """The request."""
    heard: Heard
    """The answer to the read-back."""


class GroupMarkConfirmed(Judged):
    """The officer lets a group mark stand for these points."""

    kind: Literal["group mark confirmed"] = "group mark confirmed"
    point_ids: tuple[str, ...]
    reason: str = ""


class GroupMarkReopened(Judged):
    """No group mark covers these points any more: by the officer, or by "disregard"."""

    kind: Literal["group mark reopened"] = "group mark reopened"
    point_ids: tuple[str, ...]
    heard: Heard | None = None
