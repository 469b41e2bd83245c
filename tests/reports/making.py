"""A walk of every kind of event, for the tests of the reports."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from pathlib import Path
from typing import TextIO
from unittest.mock import patch

import numpy as np

from voicelog.limits.judge import judge
from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.reports.contents import ReportContents, report_contents
from voicelog.sheet.load import load_sheet
from voicelog.sheet.model import Sheet
from voicelog.walk.events import (
    Candidate,
    Claim,
    CommandHeard,
    Doubt,
    DoubtSettled,
    EntryConfirmed,
    EntryCorrected,
    EntryLogged,
    EntryWithdrawn,
    Event,
    Heard,
    NotUnderstood,
    PointNamed,
    RemarkLogged,
    SignedOff,
    StopEntered,
    WalkFinished,
    WalkStarted,
)
from voicelog.walk.state import WalkState, fold

HERE = Path(__file__).parent
WALK = "engine_61-20261125-0710-1"
START = datetime(2026, 11, 25, 7, 10, tzinfo=timezone(timedelta(hours=-5)))
HEAD = "5e" * 32


class Ticking:
    """A clock that goes on by seven seconds each time it is read."""

    def __init__(self) -> None:
        """Start the clock."""
        self.now = START

    def __call__(self) -> datetime:
        """Return the time and go on."""
        self.now += timedelta(seconds=7)
        return self.now


def bay() -> Sheet:
    """Return the short sheet of these tests."""
    return load_sheet(HERE / "bay.toml")


def named_clip(words: str) -> str:
    """Return a name for the sound of ``words`` where no sound is needed."""
    return hashlib.sha256(words.encode()).hexdigest()


def tone(words: str) -> Clip:
    """Return a sine tone for ``words``; other words give another tone."""
    pitch = 200 + int(named_clip(words)[:4], 16) % 800
    times = np.arange(4000, dtype=np.float32) / 16_000
    return Clip.from_samples((0.2 * np.sin(2 * np.pi * pitch * times)).astype(np.float32), 16_000)


class Making:
    """Makes events, and the sound they name, for one sheet."""

    def __init__(self, sheet: Sheet, name_of: Callable[[str], str] = named_clip) -> None:
        """``name_of`` gives the SHA-256 of the sound of some words."""
        self.sheet = sheet
        self.name_of = name_of
        self.ids = 0

    def heard(self, words: str, free_text: str = "") -> Heard:
        """Return words that were heard."""
        return Heard(text=words, free_text=free_text, clip=self.name_of(words), start_s=1.0, end_s=1.25)

    def condition(self, point_id: str, condition_id: str) -> Claim:
        """Return a claim of a condition, of the condition's polarity and class."""
        known = self.sheet.lexicon.conditions[condition_id]
        return Claim(
            point_id=point_id, condition_id=condition_id, polarity=known.polarity, class_id=known.class_id
        )

    def reading(self, point_id: str, value: str) -> Claim:
        """Return a claim of a value of the point's only reading, judged against its limit."""
        (reading,) = self.sheet.points[point_id].readings
        judgement = judge(Fraction(value), reading.limit)
        return Claim(
            point_id=point_id,
            reading_id=reading.id,
            value=Fraction(value),
            unit=reading.unit,
            judgement=judgement,
            polarity="defect" if judgement in ("below", "above") else "sound",
        )

    def entry(
        self, words: str, claim: Claim, *, doubts: tuple[Doubt, ...] = (), corrects: str | None = None
    ) -> EntryLogged:
        """Return an entry with the next id: ``e1``, ``e2``..."""
        self.ids += 1
        return EntryLogged(
            entry_id=f"e{self.ids}",
            claim=claim,
            heard=self.heard(words),
            posterior={"point": 0.99},
            doubts=doubts,
            corrects=corrects,
        )

    def doubt(self, question: str, *candidates: tuple[str, Claim, float]) -> Doubt:
        """Return a doubt about the condition between the candidates."""
        made = tuple(Candidate(claim=claim, posterior=p, said=said) for said, claim, p in candidates)
        return Doubt(slot="condition", question=question, reason="the two sound alike", candidates=made)


def started(sheet: Sheet, **facts: str) -> WalkStarted:
    """Return the first event of a walk with ``sheet``; ``facts`` replace what it says."""
    said = {
        "unit_id": "engine_61",
        "unit_name": "Engine 61",
        "station": "Tolliver Bend Volunteer Fire Company, Station 6",
        "identification": "TB-0061 (invented)",
        "sheet_id": sheet.id,
        "sheet_title": sheet.title,
        "sheet_sha256": sheet.sha256,
        "lexicon_sha256": sheet.lexicon.sha256,
        "operator": "R. Alder",
        "recogniser": "whisper tiny.en",
        "model_sha256": "c" * 64,
        "version": "0.1.0",
    }
    return WalkStarted(**{**said, **facts})


def walk(sheet: Sheet, name_of: Callable[[str], str] = named_clip) -> list[Event]:
    """Return a finished walk of the short sheet, up to the signatures."""
    make = Making(sheet, name_of)
    weeping = make.condition("lift_cylinder_left", "weeping")
    dripping = make.condition("lift_cylinder_left", "dripping")
    good, dry = make.condition("coolant", "good"), make.condition("coolant", "dry")
    chafed = make.condition("brake_hose_left", "chafed")
    return [
        started(sheet),
        StopEntered(stop_id="left_front"),
        # e1: in doubt, settled by voice as the worse of the two
        make.entry(
            "left lift cylinder weeping",
            weeping,
            doubts=(
                make.doubt(
                    "Weeping or dripping?",
                    ("weeping", weeping, 0.61),
                    ("dripping", dripping, 0.38),
                ),
            ),
        ),
        DoubtSettled(
            entry_id="e1",
            claim=dripping,
            by="R. Alder",
            reason="answered the question",
            heard=make.heard("dripping"),
        ),
        PointNamed(point_id="brake_hose_left", heard=make.heard("left brake hose")),
        # e2: said wrongly, e3 said again as a correction
        make.entry("left brake hose intact", make.condition("brake_hose_left", "intact")),
        make.entry("correction left brake hose chafed", chafed, corrects="e2"),
        # e4, e5: a reading above its limit
        make.entry("left slack adjuster intact", make.condition("slack_adjuster_left", "intact")),
        make.entry(
            "left slack adjuster travel one and one eighth inches", make.reading("slack_adjuster_left", "9/8")
        ),
        StopEntered(stop_id="engine_front"),
        make.entry("fan belt deflection one half inch", make.reading("fan_belt", "1/2")),
        make.entry("air tank pressure one hundred ten psi", make.reading("air_tank", "110")),
        # e8: in doubt until the end
        make.entry(
            "coolant good",
            good,
            doubts=(make.doubt("Good or dry?", ("good", good, 0.55), ("dry", dry, 0.44)),),
        ),
        # e9: said of the wrong thing and taken back
        make.entry("fan shroud chafed", make.condition("shroud", "chafed")),
        EntryWithdrawn(
            entry_id="e9", by="R. Alder", reason="disregard", heard=make.heard("disregard fan shroud")
        ),
        NotUnderstood(
            reason="not a phrase of this sheet",
            heard=make.heard("", free_text="engine sixty one respond to mill road"),
        ),
        CommandHeard(command="remark", heard=make.heard("remark")),
        RemarkLogged(
            remark_id="r1",
            point_id="fan_belt",
            heard=make.heard("belt was changed in october and runs a little dusty"),
        ),
        make.entry("front battery voltage twelve point six zero volts", make.reading("battery", "12.60")),
        WalkFinished(missing=("coolant",), heard=make.heard("inspection complete")),
        EntryConfirmed(entry_id="e1", by="M. Ruiz", reason="seen on the rod"),
        EntryCorrected(
            entry_id="e10",
            claim=make.reading("battery", "12.06"),
            by="M. Ruiz",
            reason="meter shows 12.06 on the photograph",
        ),
    ]


def signed(head: str) -> SignedOff:
    """Return the officer's signature over everything up to ``head``."""
    return SignedOff(
        by="M. Ruiz",
        role="officer",
        meaning="confirmed by",
        decision="out of service",
        reason="lift cylinder drips",
        head=head,
    )


def at_seven_seconds(events: Iterable[Event]) -> list[tuple[datetime, Event]]:
    """Return the events with times seven seconds apart."""
    clock = Ticking()
    return [(clock(), event) for event in events]


def state_of(sheet: Sheet, events: Iterable[Event]) -> WalkState:
    """Return the state after the events."""
    return fold(sheet, at_seven_seconds(events))


def contents_of(sheet: Sheet, events: Iterable[Event], problems: tuple[str, ...] = ()) -> ReportContents:
    """Return what a report of the events shows."""
    return report_contents(state_of(sheet, events), walk_id=WALK, problems=problems, head=HEAD)


def recorded(folder: Path, sheet: Sheet) -> tuple[Store, dict[str, Clip]]:
    """Return a store with the signed walk in it, and its clips by name. Close the store after use."""
    clips: dict[str, Clip] = {}

    def name_of(words: str) -> str:
        clip = tone(words)
        clips[clip.sha256] = clip
        return clip.sha256

    store = Store.open(folder, clock=Ticking())
    for event in walk(sheet, name_of):
        heard = getattr(event, "heard", None)
        given = (clips[heard.clip],) if heard else ()
        store.append(WALK, [event], given)
    # Signed over an open doubt, which a record takes no longer: reports show what older ones hold.
    with patch("voicelog.records.store.check_signature", lambda *_: None):
        store.append(WALK, [signed(store.head(WALK))])
    return store, clips


def opened(text: str) -> TextIO:
    """Return a CSV file as a program opens it that knows of byte order marks."""
    return io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf-8-sig", newline="")
