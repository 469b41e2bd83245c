"""What of a walk needs a person, first things first; pure.

Every entry that counts, point and line appears once, under the first heading that fits it, and
what needs nobody comes last. Entries that no longer count are left out, save those that were, or
may have been, a defect. Times are those of the record.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from voicelog.meaning.facts import Candidate, Claim, Heard
from voicelog.meaning.wording import say_claim
from voicelog.sheet.model import Sheet
from voicelog.walk.events import (
    CarriedDefect,
    CautionRefused,
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryWithdrawn,
    GroupMarked,
    NotUnderstood,
)
from voicelog.walk.pace import Hurried, hurried
from voicelog.walk.remarks import Remark, remarks_in
from voicelog.walk.state import Change, Entry, WalkState, speaks_of
from voicelog.walk.wording import grade, show_claim, show_what

ItemKind = Literal[
    "doubt",
    "defect",
    "outside limit",
    "group mark",
    "not covered",
    "not acknowledged",
    "from before",
    "caution refused",
    "against a defect",
    "too quick",
    "defect removed",
    "not understood",
    "remark",
    "sound",
]

HEADINGS: dict[ItemKind, str] = {
    "doubt": "in doubt: settle",
    "defect": "defects",
    "outside limit": "outside the limit",
    "group mark": "sound, by group mark",
    "not covered": "not covered",
    "not acknowledged": "from before, not acknowledged",
    "from before": "open from before, not spoken of",
    "caution refused": "cautions refused",
    "against a defect": "sound, against an open defect",
    "too quick": "quicker than a look",
    "defect removed": "defects taken back",
    "not understood": "not understood, sound kept",
    "remark": "remarks",
    "sound": "sound",
}
"""Heading of each kind, in the order in which they need a person."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing for a person to look at."""

    key: str
    """Stays the same while the walk goes on: ``entry e5``, ``point coolant``, ``line 3``."""
    kind: ItemKind
    title: str
    """What it is, in a few words: ``left lift cylinder dripping``; for a doubt, the question."""
    detail: str = ""
    """Why it is here: how it counts, what was withdrawn by whom, what is not given."""
    point_id: str | None = None
    entry_id: str | None = None
    heard: Heard | None = None
    alternatives: tuple[str, ...] = ()
    candidates: tuple[Candidate, ...] = ()
    """What may have been meant, numbered from 1 for a person; empty when nothing is in doubt."""
    at: datetime | None = None
    points: tuple[str, ...] = ()
    """The points of a group mark."""
    seen: str = ""
    """What was done about it in the review, and by whom: ``confirmed by M. Ruiz``; or empty."""

    more_clips: tuple[str, ...] = ()
    """SHA-256 of what was said after the first sound, for a remark in several parts."""

    @property
    def clip(self) -> str | None:
        """SHA-256 of the sound, where there is sound; of a remark in parts, of the first."""
        return self.heard.clip if self.heard else None

    @property
    def clips(self) -> tuple[str, ...]:
        """SHA-256 of all its sound, in order."""
        return ((self.clip,) if self.clip else ()) + self.more_clips


def agenda(state: WalkState) -> tuple[Item, ...]:
    """Return everything of a walk, what needs a person first.

    Open doubts, defects (worst class first), values outside limits, required points not covered,
    defects that a correction, a withdrawal or a settled doubt took away, lines that were not
    understood, remarks, and then what is sound.
    """
    removed = tuple(_removed(state))
    told = {item.entry_id for item in removed}
    by_class = [e for e in state.defects() if e.claim.reading_id is None]
    outside = [e for e in state.defects() if e.claim.reading_id is not None]
    sound = [e for e in state.standing() if e.claim.polarity == "sound" and e.entry_id not in told]
    against = {e.entry_id: held for e in sound if (held := _held_defective(state, e))}
    return (
        *(_entry(state, e, "doubt") for e in state.doubts()),
        *(_entry(state, e, "defect") for e in by_class),
        *(_entry(state, e, "outside limit") for e in outside),
        *_group_marks(state),
        *_not_covered(state),
        *_from_before(state),
        *_cautions_refused(state),
        *(_item(state, e, "against a defect", against[e.entry_id]) for e in sound if e.entry_id in against),
        *(_hurried(state.sheet, run) for run in hurried(state)),
        *removed,
        *(_line(n, at, line) for n, (at, line) in enumerate(state.not_understood, 1)),
        *(_remark(state.sheet, remark) for remark in remarks_in(state.remarks)),
        *(_entry(state, e, "sound") for e in sound if e.entry_id not in against),
    )


def candidates(entry: Entry) -> tuple[Candidate, ...]:
    """Return what an entry in doubt may mean, likeliest first; empty when it is not in doubt.

    Their order is the numbering people choose by. Each claim appears once, and the claim that was
    logged is always among them.
    """
    if not entry.in_doubt:
        return ()
    found: dict[Claim, Candidate] = {}
    for doubt in entry.logged.doubts:
        for candidate in doubt.candidates:
            known = found.get(candidate.claim)
            if known is None or known.posterior < candidate.posterior:
                found[candidate.claim] = candidate
    logged = entry.logged.claim
    if logged not in found:
        least = min(entry.logged.posterior.values(), default=0.0)
        found[logged] = Candidate(claim=logged, posterior=least, said=entry.logged.heard.text)
    return tuple(sorted(found.values(), key=lambda c: -c.posterior))


def severity(claim: Claim, sheet: Sheet) -> int:
    """Return 0 for a sound claim, and for a defect its class's rank; 1 where it has no class."""
    if claim.polarity == "sound":
        return 0
    known = sheet.lexicon.classes.get(claim.class_id or "")
    return known.rank if known else 1


def did(change: Change) -> str:
    """Return what a change was and who made it: ``corrected by M. Ruiz``."""
    match change:
        case DoubtSettled():
            verb = "settled"
        case EntryCorrected():
            verb = "corrected"
        case EntryConfirmed():
            verb = "confirmed"
        case EntryWithdrawn():
            verb = "withdrawn"
    return f"{verb} by {change.by}"


def _entry(state: WalkState, entry: Entry, kind: ItemKind) -> Item:
    if not entry.in_doubt:
        return _item(state, entry, kind, grade(entry.claim, state.sheet))
    doubts = entry.logged.doubts
    reasons = "; ".join(dict.fromkeys(d.reason for d in doubts if d.reason))
    # A question, so that nothing in doubt reads as if it had been taken.
    return replace(_item(state, entry, kind, reasons), title=" ".join(d.question for d in doubts))


def _item(state: WalkState, entry: Entry, kind: ItemKind, detail: str) -> Item:
    return Item(
        key=f"entry {entry.entry_id}",
        kind=kind,
        title=show_claim(entry.claim, state.sheet),
        detail=detail,
        point_id=entry.claim.point_id,
        entry_id=entry.entry_id,
        heard=entry.logged.heard,
        alternatives=entry.logged.alternatives,
        candidates=candidates(entry),
        at=entry.at,
        seen=_seen(entry),
    )


def _seen(entry: Entry) -> str:
    """Return what was last done about an entry on screen; what was said in the walk does not count."""
    last = entry.changes[-1][1] if entry.changes else None
    if last is None or (isinstance(last, DoubtSettled | EntryWithdrawn) and last.heard is not None):
        return ""
    return did(last)


def _group_marks(state: WalkState) -> Iterator[Item]:
    """Yield each group mark with the points that it still covers; one for those confirmed of it."""
    confirmed = dict(state.marks.confirmed)
    groups: dict[tuple[GroupMarked, str], list[str]] = {}
    for point_id, mark in state.marks.of_points:
        groups.setdefault((mark, confirmed.get(point_id, "")), []).append(point_id)
    for (mark, by), ids in groups.items():
        numbered = (f"{n} " if len(ids) > 1 else "" for n in range(1, len(ids) + 1))
        points = (state.sheet.points[point_id].full_name for point_id in ids)
        names = ", ".join(f"{n}{name}" for n, name in zip(numbered, points, strict=True))
        number = f"{len(ids)} {'point' if len(ids) == 1 else 'points'}"
        yield Item(
            key=f"group {ids[0]}",
            kind="group mark",
            title=f"{number} at {state.sheet.stop(mark.stop_id).name}",
            detail=f"{names}: nothing was said of them one by one; marked by {mark.by}",
            heard=mark.heard,
            points=tuple(ids),
            seen=f"confirmed by {by}" if by else "",
        )


def _not_covered(state: WalkState) -> Iterator[Item]:
    for point in state.missing():
        if state.status(point.id) != "open":
            continue  # in doubt, and listed as such
        names = [point.reading(r).name for r in state.readings_missing(point.id)]
        said = bool(state.of_point(point.id))
        detail = f"{', '.join(names)} not given" if said and names else "nothing was said of it"
        if state.not_looked_at(point.id):
            detail = _look_again(state, point.id)
        yield Item(f"point {point.id}", "not covered", point.full_name, detail, point_id=point.id)


def _from_before(state: WalkState) -> Iterator[Item]:
    """Yield the carried defects that who walked was not told of, then those that the walk is silent on."""
    untold = state.unacknowledged()
    spoken = {
        d.defect_id
        for d in state.carried
        for e in state.standing()
        if d.here and e.claim.point_id == d.point_id and speaks_of(state.sheet, e.claim, d.matter)
    }
    spoken |= {d.defect_id for d in state.carried if d.look_again and state.not_looked_at(d.point_id)}
    silent = tuple(d for d in state.unrepaired() if d not in untold and d.defect_id not in spoken)
    kinds: tuple[tuple[ItemKind, tuple[CarriedDefect, ...]], ...] = (
        ("not acknowledged", untold),
        ("from before", silent),
    )
    for kind, defects in kinds:
        for defect in defects:
            graded = f"{defect.class_name}, " if defect.class_name else ""
            yield Item(
                key=f"defect {defect.defect_id}",
                kind=kind,
                title=f"{defect.point} {defect.what}",
                detail=f"{defect.defect_id}, {graded}since {defect.since}: {defect.stood}",
                point_id=defect.point_id if defect.here and defect.point_id in state.sheet.points else None,
            )


def _cautions_refused(state: WalkState) -> Iterator[Item]:
    """Yield the cautions that were refused and never affirmed afterwards."""
    last = {(event.stop_id, event.number): (at, event) for at, event in state.gate_events}
    for (stop_id, number), (at, event) in last.items():
        if isinstance(event, CautionRefused):
            place = state.sheet.stop(stop_id).name if stop_id else "the whole walk"
            key = f"caution {stop_id or 'sheet'} {number}"
            detail = f"{place} stayed closed"
            yield Item(key, "caution refused", event.caution, detail, heard=event.heard, at=at)


def _held_defective(state: WalkState, entry: Entry) -> str:
    """Return the open defect that a sound entry speaks against, in words; empty where there is none."""
    held = (
        f"{d.defect_id} {d.what} since {d.since}, {d.stood}; it stays open"
        for d in state.carried_at(entry.claim.point_id)
        if not d.look_again and speaks_of(state.sheet, entry.claim, d.matter)
    )
    return "; ".join(held)


def _look_again(state: WalkState, point_id: str) -> str:
    """Return why a point is to be looked at again, and that it was not."""
    asked = [event for _, event in state.rechecks if event.point_id == point_id]
    if asked:
        return f"to be looked at again, asked by {asked[-1].by}: {asked[-1].reason}"
    carried = "; ".join(f"{d.what}: {d.stood}" for d in state.carried_at(point_id) if d.look_again)
    return f"to be looked at again: {carried or 'asked after an earlier walk'}"


def _hurried(sheet: Sheet, run: Hurried) -> Item:
    names = [sheet.points[point_id].full_name for point_id in run.points]
    first = run.entries[0]
    return Item(
        key=f"pace {first.entry_id}",
        kind="too quick",
        title=f"{len(names)} points in {run.seconds:.0f} s",
        detail=f"{', '.join(names)}: found sound in less time than it takes to look at them",
        at=first.at,
    )


def _removed(state: WalkState) -> Iterator[Item]:
    """Yield the entries whose defect, or possible defect, no longer counts or counts for less."""
    replacing: dict[str, list[Entry]] = {}
    for entry in state.entries.values():
        if entry.logged.corrects is not None and not entry.in_doubt:
            replacing.setdefault(entry.logged.corrects, []).append(entry)
    for entry in state.entries.values():
        if entry.in_doubt:
            continue
        worst = max(_claimed(entry), key=lambda c: severity(c, state.sheet))
        now = _now(entry, replacing)
        kept = max((severity(c, state.sheet) for c in now if c.point_id == worst.point_id), default=0)
        if severity(worst, state.sheet) <= kept:
            continue
        if entry.status == "standing" and entry.claim.polarity == "defect":
            continue  # listed as the defect that it is now
        moved = {c.point_id for c in now} - {worst.point_id}
        into = [show_claim(c, state.sheet) if moved else show_what(c, state.sheet) for c in now]
        ended = f"now {', '.join(into)}" if into else "withdrawn"
        item = _item(state, entry, "defect removed", _how_removed(state, entry, worst, replacing))
        yield replace(item, title=f"{show_claim(worst, state.sheet)}, {ended}", point_id=worst.point_id)


def _claimed(entry: Entry) -> tuple[Claim, ...]:
    """Return everything that an entry ever said or may have meant."""
    changed = (c.claim for _, c in entry.changes if isinstance(c, DoubtSettled | EntryCorrected))
    doubted = (c.claim for doubt in entry.logged.doubts for c in doubt.candidates)
    return (entry.logged.claim, *doubted, *changed)


def _now(entry: Entry, replacing: dict[str, list[Entry]]) -> tuple[Claim, ...]:
    """Return the claims that stand in the place of an entry: its own, or those that replaced it."""
    if entry.status == "standing":
        return (entry.claim,)
    if entry.status == "withdrawn":
        return ()
    # Ids only ever point back, so this ends.
    later = replacing.get(entry.entry_id, [])
    return tuple(claim for e in later for claim in _now(e, replacing))


def _how_removed(state: WalkState, entry: Entry, worst: Claim, replacing: dict[str, list[Entry]]) -> str:
    sheet = state.sheet
    stood = [c.claim for _, c in entry.changes if isinstance(c, DoubtSettled | EntryCorrected)]
    lead = "may have been" if entry.logged.doubts and worst not in stood else "was"
    if worst.point_id != entry.claim.point_id:
        was = f"{lead} {say_claim(worst, sheet)}"
    else:
        was = f"{lead} {show_what(worst, sheet)}"
    if entry.status == "replaced":
        later = replacing.get(entry.entry_id, [])
        into = ", ".join(show_claim(e.claim, sheet) for e in later) or "another entry"
        how = ", ".join(dict.fromkeys(_by_way(e.logged.heard.how) for e in later)) or "later"
        return f"{was}; corrected {how} to {into}"
    made = [c for _, c in entry.changes if not isinstance(c, EntryConfirmed)]
    if not made:
        return was
    last = made[-1]
    reason = f": {last.reason}" if last.reason else ""
    spoken = (
        f" {_by_way(last.heard.how)}"
        if isinstance(last, DoubtSettled | EntryWithdrawn) and last.heard
        else ""
    )
    return f"{was}; {did(last)}{spoken}{reason}"


def _by_way(how: str) -> str:
    return {"speech": "by voice", "keyboard": "by keyboard"}.get(how, "on screen")


def _line(number: int, at: datetime, line: NotUnderstood) -> Item:
    title = line.heard.free_text or line.heard.text or "no words"
    return Item(f"line {number}", "not understood", title, line.reason, heard=line.heard, at=at)


def _remark(sheet: Sheet, remark: Remark) -> Item:
    point = sheet.points.get(remark.point_id or "")
    about = f"about {point.full_name}" if point else "about the whole unit"
    in_parts = f", in {len(remark.parts)} parts" if len(remark.parts) > 1 else ""
    return Item(
        key=f"remark {remark.first.remark_id}",
        kind="remark",
        title=remark.words,
        detail=about + in_parts,
        point_id=remark.point_id,
        heard=remark.first.heard,
        more_clips=remark.clips[1:],
        at=remark.at,
    )
