"""Remarks and their transcripts, as facts of the record. See :mod:`voicelog.walk.events`."""

from __future__ import annotations

from typing import Literal

from voicelog.meaning.facts import Frozen, Heard


class RemarkLogged(Frozen):
    kind: Literal["remark logged"] = "remark logged"
    remark_id: str
    point_id: str | None
    heard: Heard
    """``text`` is the transcript, where there is one already; the sound is the original."""
    transcribed: bool = True
    """False where only the sound was kept; its words follow as :class:`RemarkTranscribed`."""
    continues: str | None = None
    """The first part of the remark that this is a later part of; None for a first part."""
    ended: bool = False
    """Whether the end of the remark was said in the same sound; its transcript is without it."""


class RemarkPointAsked(Frozen):
    """A remark was to be on one of these points, and it was asked which; none is begun yet."""

    kind: Literal["remark point asked"] = "remark point asked"
    point_ids: tuple[str, ...]
    """Likeliest first."""
    heard: Heard


class RemarkTranscribed(Frozen):
    """The words of a remark whose sound was committed before."""

    kind: Literal["remark transcribed"] = "remark transcribed"
    remark_id: str
    point_id: str | None
    text: str
    by: str
    """The engine and model that made the transcript."""
