"""What the shop's screen and its plain lines say, as plain text; pure.

All text from outside has been through :func:`~voicelog.screens.outside_text.visible`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from voicelog.defects.book import Defect
from voicelog.defects.events import RepairCertified
from voicelog.defects.life import SHOWN
from voicelog.defects.wording import (
    age,
    certificate,
    happening,
    next_step,
    show_part,
    show_past,
    stands,
    title,
)
from voicelog.records.defects import Listed
from voicelog.records.history import PastEntry, PointHistory
from voicelog.screens.outside_text import visible

PAST = 12
"""Earlier entries that are shown of a point."""


def queue_state(listed: Listed, now: datetime) -> str:
    """Return how a defect of the queue stands: ``deferred until 2026-12-04, THAT DAY HAS PASSED``."""
    words: str = SHOWN[listed.state]
    if listed.state == "deferred" and listed.deferred_until is not None:
        words += f" until {listed.deferred_until.isoformat()}"
    if listed.lapsed(now.date()):
        words += ", THAT DAY HAS PASSED"
    if listed.contradicted:
        words += ", SINCE SAID TO BE SOUND"
    if listed.came_back:
        words += ", CAME BACK"
    return words


def queue_lines(queue: Iterable[Listed], now: datetime) -> Iterator[str]:
    """Yield the queue as lines, worst class first, then the oldest."""
    found = tuple(queue)
    if not found:
        yield "no defect is open"
    for listed in found:
        graded = f" ({listed.class_name})" if listed.class_name else ""
        yield visible(
            f"{listed.defect_id}  {listed.unit_name}: {listed.point} {listed.what}{graded}  "
            f"{age(listed.heard_at, now)}  {queue_state(listed, now)}"
        )


def defect_lines(defect: Defect, history: PointHistory, now: datetime) -> Iterator[tuple[str, str]]:
    """Yield everything known of a defect: what a line is about, and what it says."""
    worst = defect.worst
    yield "defect", f"{defect.defect_id}: {visible(title(defect))}"
    yield "unit", visible(f"{worst.unit_name} ({worst.unit_id})")
    yield "class", visible(worst.class_name) or "none"
    lapsed = defect.lapsed(now.date())
    yield "state", visible(stands(defect)) + (", THAT DAY HAS PASSED" if lapsed else "")
    yield (
        "next",
        "it is due: the officer sends it to the shop, or defers it again" if lapsed else next_step(defect),
    )
    yield "open for", age(defect.heard_at, now)
    if defect.first.came_back_from:
        yield "came back", f"after {defect.first.came_back_from}, which was closed"
    for said in defect.contradictions:
        words = f"{said.said_at:%Y-%m-%d %H:%M} {said.by} said {said.what}; the defect stays open"
        yield "but", visible(words)
    for _, work in defect.work:
        yield "findings", visible(work.findings)
        for part in getattr(work, "parts", ()):
            yield "part", visible(show_part(part))
    for at, event in defect.history:
        if isinstance(event, RepairCertified):
            yield "certificate", visible(certificate(at, event))
    readings = readings_of(defect, history)[-PAST:]
    for entry in readings:
        yield "reading", f"{entry.at:%Y-%m-%d} {visible(show_past(entry.claim))}"
    for one in defect.happenings:
        yield f"{one.at:%m-%d %H:%M}", visible(happening(one))
    yield from _past(history, without_entries=bool(readings))


def readings_of(defect: Defect, history: PointHistory) -> tuple[PastEntry, ...]:
    """Return the readings that the defect is about, oldest first; none for a condition."""
    matter = defect.worst.matter
    if not matter.startswith("reading:"):
        return ()
    return tuple(history.readings(matter.removeprefix("reading:")))


def over_time(readings: Sequence[PastEntry]) -> str:
    """Return what a line drawn of the readings is about; empty for fewer than two."""
    if len(readings) < 2:
        return ""
    return f"readings over time, {readings[0].at:%Y-%m-%d} to {readings[-1].at:%Y-%m-%d}"


def _past(history: PointHistory, *, without_entries: bool) -> Iterator[tuple[str, str]]:
    if not without_entries:
        for entry in history.entries[-PAST:]:
            standing = "" if entry.status == "standing" else f" ({entry.status})"
            yield "said", f"{entry.at:%Y-%m-%d} {visible(show_past(entry.claim))}{standing}"
    for remark in history.remarks[-PAST:]:
        yield "note", f'{remark.at:%Y-%m-%d} "{visible(remark.words)}"'


def clips_of_note(defect: Defect, history: PointHistory) -> tuple[str, ...]:
    """Return the sound of the latest note dictated about the point, in a walk that spoke of the defect."""
    walks = defect.walks
    clips = [r.clips for r in history.remarks if r.walk in walks and r.clips]
    return clips[-1] if clips else ()


def clip_of_defect(defect: Defect) -> str | None:
    """Return the sound of the worst that was heard of it, or of any other hearing that has sound."""
    if defect.worst.clip:
        return defect.worst.clip
    clips = [h.said.clip for h in defect.hearings if h.standing and h.said.clip]
    return clips[-1] if clips else None
