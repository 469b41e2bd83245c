"""What the review screen and the review's plain lines say, as plain text; pure.

All text from outside has been through :func:`~voicelog.screens.outside_text.visible`. Every colour
has a word beside it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field

from rich.table import Table
from rich.text import Text

from voicelog.defects.book import Defect
from voicelog.defects.wording import show_past, stands
from voicelog.records.history import PointHistory
from voicelog.screens.hanging import Hanging
from voicelog.screens.outside_text import shortened, visible
from voicelog.screens.palette import (
    BLUISH_GREEN,
    ORANGE,
    QUIET,
    REDDISH_PURPLE,
    SKY_BLUE,
    VERMILLION,
    YELLOW,
)
from voicelog.screens.walk_facts import clock, count
from voicelog.sheet.policy import Policy
from voicelog.walk.agenda import HEADINGS, Item, ItemKind, did
from voicelog.walk.events import Claim, Heard, SoundLost, SoundMissed
from voicelog.walk.fitness import DEMANDED, breaches
from voicelog.walk.remarks import remarks_in
from voicelog.walk.review import settling_needs_reason, signed_whole
from voicelog.walk.said_back import walked_by
from voicelog.walk.state import Entry, WalkState
from voicelog.walk.timed_wording import show_measured
from voicelog.walk.wording import (
    grade,
    show_chance,
    show_claim,
    show_limit,
    show_signing_key,
    show_time,
    show_what,
)

KIND_SIGN: dict[ItemKind, str] = {
    "doubt": "?",
    "defect": "X",
    "outside limit": "X",
    "group mark": "*",
    "not covered": ".",
    "not acknowledged": "!",
    "from before": "X",
    "caution refused": "!",
    "against a defect": "!",
    "too quick": ">",
    "defect removed": "!",
    "not understood": "~",
    "remark": '"',
    "sound": "+",
}
KIND_COLOUR: dict[ItemKind, str] = {
    "doubt": YELLOW,
    "defect": VERMILLION,
    "outside limit": VERMILLION,
    "group mark": ORANGE,
    "not covered": QUIET,
    "not acknowledged": ORANGE,
    "from before": ORANGE,
    "caution refused": ORANGE,
    "against a defect": ORANGE,
    "too quick": ORANGE,
    "defect removed": ORANGE,
    "not understood": REDDISH_PURPLE,
    "remark": SKY_BLUE,
    "sound": BLUISH_GREEN,
}
KIND_WORD: dict[ItemKind, str] = {
    "doubt": "IN DOUBT",
    "defect": "DEFECT",
    "outside limit": "OUTSIDE THE LIMIT",
    "group mark": "SOUND, BY GROUP MARK",
    "not covered": "NOT COVERED",
    "not acknowledged": "FROM BEFORE, NOT ACKNOWLEDGED",
    "from before": "OPEN FROM BEFORE",
    "caution refused": "CAUTION REFUSED",
    "against a defect": "SOUND, AGAINST AN OPEN DEFECT",
    "too quick": "QUICKER THAN A LOOK",
    "defect removed": "DEFECT TAKEN BACK",
    "not understood": "NOT UNDERSTOOD",
    "remark": "REMARK",
    "sound": "SOUND",
}

MOST_OF_TITLE = 100
"""Characters of a title in the list."""

_HOW = {"speech": "spoken", "keyboard": "typed", "screen": "on screen"}


def top_line(state: WalkState) -> str:
    """Return what walk this is, and how much is open."""
    started = state.started
    unit = visible(started.unit_name) if started else "unit not known"
    operator = f", walked by {visible(walked_by(state))}" if started else ""
    return f"{unit}: {visible(state.sheet.title)}{operator}"


def summary(state: WalkState) -> str:
    """Return how much of the walk is open, in one line."""
    left = len(state.missing())
    finished = "" if state.finished else "walk not finished, "
    return (
        f"{finished}{count(len(state.doubts()), 'doubt')}, {count(len(state.defects()), 'defect')}, "
        f"{state.covered} of {state.required} covered"
        + (f", {left} {'not covered' if state.finished else 'to go'}" if left else "")
        + _not_heard(state)
    )


def _not_heard(state: WalkState) -> str:
    lost = sum(isinstance(event, SoundLost) for _, event in state.sound)
    missed = sum(event.times for _, event in state.sound if isinstance(event, SoundMissed))
    told = (
        f", microphone lost {'once' if lost == 1 else f'{lost} times'}" if lost else "",
        f", sound missed {'once' if missed == 1 else f'{missed} times'}" if missed else "",
    )
    return "".join(told)


def signatures(state: WalkState, *, briefly: bool = False) -> tuple[str, ...]:
    """Return who signed what, one line each; the one line ``not signed`` when nobody did.

    ``briefly`` counts what was decided against the local policy, for a line with little room.
    """
    lines = []
    for at, made in state.signatures:
        since = "" if signed_whole(state, made) else "CHANGED SINCE SIGNED: "
        decision = "" if made.decision == "none" else f", {made.decision}"
        reason = f": {visible(made.reason)}" if made.reason else ""
        if briefly and len(made.overridden) > 1:
            aside = f"; AGAINST THE LOCAL POLICY in {count(len(made.overridden), 'defect')}"
        else:
            aside = "".join(f"; AGAINST THE LOCAL POLICY: {visible(what)}" for what in made.overridden)
        why = f"; overridden because: {visible(made.override_reason)}" if aside else ""
        who = f"{made.meaning} {visible(made.by)}, {made.role}, {show_time(at)}"
        lines.append(f"{since}{who}, {show_signing_key(made)}{decision}{reason}{aside}{why}")
    return tuple(lines) or ("not signed",)


def heading(kind: ItemKind, number: int) -> Text:
    """Return the heading of a group of the agenda."""
    return Text(f"{HEADINGS[kind].upper()} ({number})", style=f"bold {KIND_COLOUR[kind]}")


def overdue_words(overdue: Collection[str]) -> str:
    """Return how many doubts are overdue, to stand after the summary."""
    return f", {count(len(overdue), 'doubt')} OVERDUE" if overdue else ""


def row(item: Item, overdue: bool = False) -> Hanging:
    """Return an item as a row of the agenda: its sign, and its title with whether it was seen.

    A long remark is cut here; the details have all of it.
    """
    title = Text(shortened(visible(item.title), MOST_OF_TITLE))
    if overdue:
        title.append(" OVERDUE", style=f"bold {ORANGE}")
    if item.seen:
        title.append(" (seen)", style=QUIET)
    sign = Text(f" {KIND_SIGN[item.kind]}", style=f"bold {KIND_COLOUR[item.kind]}")
    return Hanging(sign, title)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an item's details: what it is about, and what is said."""

    label: str
    text: str
    style: str = ""
    label_style: str = QUIET


@dataclass(frozen=True, slots=True)
class Before:
    """What is known of a point from other walks."""

    history: PointHistory = field(default_factory=PointHistory)
    defects: tuple[Defect, ...] = ()
    """Its open defects."""


_NOTHING = Before()
_MOST_BEFORE = 6


def details(
    state: WalkState,
    item: Item,
    policy: Policy | None = None,
    before: Before = _NOTHING,
    overdue: Collection[str] = (),
) -> tuple[Line, ...]:
    """Return everything known of an item: first what decides, with what the local policy asks of it;
    last what earlier walks said of its point. ``overdue`` are the entries whose doubt is."""
    entry = state.entries.get(item.entry_id or "")
    colour = f"bold {KIND_COLOUR[item.kind]}"
    lines = [
        Line("", KIND_WORD[item.kind], colour),
        Line(KIND_SIGN[item.kind], visible(item.title), "bold", colour),
        Line("", visible(item.detail)),
    ]
    if policy is not None:
        asked = (b for b in breaches(state, policy) if b.entry_id == item.entry_id)
        lines += [Line("policy", visible(f"{DEMANDED[b.rule.demand]}: {b.rule.why}"), "bold") for b in asked]
        if item.entry_id in overdue:
            words = f"in doubt for more than {policy.doubt_hours} hours: OVERDUE"
            lines.append(Line("policy", words, f"bold {ORANGE}"))
    if entry is not None and entry.in_doubt:
        lines += _candidates(state, item, entry)
    if item.heard is not None:
        lines += _heard(item, item.heard)
    if entry is not None:
        if len(set(state.operators)) > 1:
            lines.append(Line("by", visible(entry.by)))
        lines += _taken(state, entry)
        lines += _history(entry, state)
    if item.point_id is not None:
        lines += _point(state, item, item.point_id)
        lines += _before(before)
        lines += _marks(before)
    return tuple(lines)


def _before(before: Before) -> Iterator[Line]:
    for defect in before.defects:
        words = f"{defect.defect_id}: {defect.worst.what}, {stands(defect)}, since {defect.heard_at:%Y-%m-%d}"
        yield Line("open", visible(words), f"bold {ORANGE}")
        for said in defect.contradictions:
            yield Line(
                "", visible(f"{said.said_at:%Y-%m-%d} said {said.what}: the defect stays open"), ORANGE
            )
    for entry in before.history.entries[: -_MOST_BEFORE - 1 : -1]:
        standing = "" if entry.status == "standing" else f" ({entry.status})"
        words = f"{entry.at:%Y-%m-%d} {show_past(entry.claim)}{standing}, {entry.operator}"
        yield Line("earlier", visible(words))


def _marks(before: Before) -> Iterator[Line]:
    for mark in before.history.marks[: -_MOST_BEFORE - 1 : -1]:
        yield Line("earlier", visible(f"{mark.at:%Y-%m-%d} {mark.what}, {mark.by}"))


def _candidates(state: WalkState, item: Item, entry: Entry) -> Iterator[Line]:
    for number, candidate in enumerate(item.candidates, 1):
        claim = candidate.claim
        yield Line(f"key {number}", visible(show_claim(claim, state.sheet)), "bold", f"bold {YELLOW}")
        needs = "; needs a reason" if settling_needs_reason(entry, claim) else ""
        yield Line("", f"{_grade(claim, state)}; {show_chance(candidate.posterior)}{needs}", QUIET)


def _heard(item: Item, heard: Heard) -> Iterator[Line]:
    yield Line("heard", f'"{visible(heard.text)}"' if heard.text else "no phrase of the sheet")
    if heard.free_text:
        yield Line("freely", f'"{visible(heard.free_text)}"')
    for other in item.alternatives:
        yield Line("or", f'"{visible(other)}"')
    yield Line("sound", sound_words(heard))
    when = f"{clock(item.at)}, " if item.at is not None else ""
    yield Line("when" if when else "how", f"{when}{_HOW[heard.how]}")


def sound_words(heard: Heard) -> str:
    """Return what can be listened to."""
    if heard.clip is None:
        return "none was kept"
    seconds = heard.end_s - heard.start_s
    return f"space plays it, {seconds:.1f} s" if seconds > 0 else "space plays it"


def _taken(state: WalkState, entry: Entry) -> Iterator[Line]:
    claim, lexicon = entry.claim, state.sheet.lexicon
    if not entry.in_doubt:
        lead = "taken as" if entry.status == "standing" else entry.status
        yield Line(lead, f"{visible(show_claim(claim, state.sheet))}: {_grade(claim, state)}")
        if claim != entry.logged.claim and not entry.logged.doubts:
            yield Line("at first", visible(show_claim(entry.logged.claim, state.sheet)))
        sure = entry.logged.posterior.get("claim")
        if sure is not None and not entry.logged.doubts:
            yield Line("how sure", f"{show_chance(sure)}, when it was heard")
    measured = show_measured(state, entry)
    if measured:
        yield Line("measured", visible(measured))
    if claim.reading_id is not None:
        reading = state.sheet.points[claim.point_id].reading(claim.reading_id)
        yield Line("limit", visible(show_limit(reading, lexicon)))
        if reading.limit is not None:
            yield Line("source", visible(reading.limit.source))
    elif claim.class_id in lexicon.classes and not entry.in_doubt:
        known = lexicon.classes[claim.class_id]
        yield Line("class", f"{visible(known.name)}: {visible(known.meaning)}")


def _history(entry: Entry, state: WalkState) -> Iterator[Line]:
    for at, change in entry.changes:
        claim = getattr(change, "claim", None)
        into = f" as {visible(show_what(claim, state.sheet))}" if isinstance(claim, Claim) else ""
        reason = f": {visible(change.reason)}" if change.reason else ""
        yield Line("then", f"{clock(at)} {visible(did(change))}{into}{reason}")
    if entry.logged.corrects:
        yield Line("replaces", f"entry {visible(entry.logged.corrects)}")


def _point(state: WalkState, item: Item, point_id: str) -> Iterator[Line]:
    sheet = state.sheet
    point = sheet.points[point_id]
    yield Line("point", f"{visible(point.full_name)}, at {visible(sheet.stop(point.stop_id).name)}")
    if point.look_for:
        yield Line("look for", visible(point.look_for))
    others = [
        e for e in state.entries.values() if e.entry_id != item.entry_id and e.claim.point_id == point_id
    ]
    for other in others:
        standing = "" if other.status == "standing" else f" ({other.status})"
        said = f"{visible(show_what(other.claim, sheet))}, {_grade(other.claim, state)}{standing}"
        yield Line("also", f"{clock(other.at)} {said}")
    if not others:
        yield Line("also", "no other entry of this point")
    for remark in remarks_in(state.remarks):
        if remark.point_id == point_id and f"remark {remark.first.remark_id}" != item.key:
            yield Line("remark", f'{clock(remark.at)} "{visible(remark.words)}"')


def _grade(claim: Claim, state: WalkState) -> str:
    return visible(grade(claim, state.sheet))


def labelled(lines: Iterable[Line]) -> Table:
    """Lay out details with their labels in a column of their own."""
    return _grid(
        ((Text(line.label, line.label_style), Text(line.text, line.style)) for line in lines), label_width=9
    )


def _grid(rows: Iterable[tuple[Text, Text]], label_width: int) -> Table:
    """Lay out labels and texts, so that a text that wraps stays clear of the labels."""
    table = Table.grid(expand=True)
    table.add_column(width=label_width)
    table.add_column(ratio=1)
    for label, text in rows:
        table.add_row(label, text)
    return table
