"""A walk to be reviewed, with one thing of every kind in it. The scenario is invented."""

from __future__ import annotations

import functools
from collections.abc import Iterable
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from pathlib import Path

import numpy as np

from voicelog.meaning.claims import make_claim
from voicelog.meaning.interpret import make_doubt
from voicelog.records.clips import Clip
from voicelog.sheet import Sheet, load_sheet
from voicelog.walk.events import (
    Candidate,
    CautionRefused,
    Claim,
    EntryLogged,
    EntryWithdrawn,
    Event,
    Heard,
    NotUnderstood,
    RemarkLogged,
    WalkFinished,
    WalkStarted,
)
from voicelog.walk.state import WalkState, fold
from voicelog.walk.wording import say_claim

WALK = "engine_61-20261125-0710-1"
START = datetime(2026, 11, 25, 7, 10, tzinfo=timezone(timedelta(hours=-5)))
HEAD = "d" * 64
_SHEET = Path(__file__).resolve().parents[2] / "grammars" / "engine_bay.toml"


@functools.cache
def sheet() -> Sheet:
    """Return the engine bay's sheet."""
    return load_sheet(_SHEET)


def tone(hertz: float, seconds: float = 0.2) -> Clip:
    """Return a clip of a tone; another pitch gives another clip."""
    times = np.arange(int(16_000 * seconds)) / 16_000
    return Clip.from_samples((0.3 * np.sin(2 * np.pi * hertz * times)).astype(np.float32), 16_000)


def said(point_id: str, condition_id: str) -> Claim:
    """Return the claim that a point has a condition."""
    return make_claim(sheet(), point_id, condition_id=condition_id)


def read(point_id: str, reading_id: str, value: str) -> Claim:
    """Return the claim that a reading has a value."""
    return make_claim(sheet(), point_id, reading_id=reading_id, value=Fraction(value))


def heard(text: str, clip: Clip | None = None, free: str = "", how: str = "speech") -> Heard:
    """Return words that were heard, with their sound."""
    sha = clip.sha256 if clip else None
    return Heard(text=text, free_text=free, clip=sha, start_s=1.0, end_s=2.5, how=how)


def logged(
    entry_id: str, claim: Claim, clip: Clip | None = None, corrects: str | None = None, free: str = ""
) -> EntryLogged:
    """Return an entry without a doubt."""
    words = say_claim(claim, sheet())
    return EntryLogged(
        entry_id=entry_id,
        claim=claim,
        heard=heard(words, clip, free),
        posterior={"claim": 0.98},
        corrects=corrects,
    )


def doubted(
    entry_id: str, *weighed: tuple[Claim, float], clip: Clip | None = None, corrects: str | None = None
) -> EntryLogged:
    """Return an entry in doubt between the claims, likeliest first."""
    candidates = tuple(
        Candidate(claim=claim, posterior=p, said=say_claim(claim, sheet())) for claim, p in weighed
    )
    return EntryLogged(
        entry_id=entry_id,
        claim=weighed[0][0],
        heard=heard(candidates[0].said, clip, free="left lift cylinder drip he"),
        posterior={"claim": weighed[0][1]},
        alternatives=tuple(c.said for c in candidates[1:]),
        doubts=(make_doubt(candidates, sheet()),),
        corrects=corrects,
    )


def started() -> WalkStarted:
    """Return the first event of the walk."""
    return WalkStarted(
        unit_id="engine_61",
        unit_name="Engine 61",
        station="Tolliver Bend Volunteer Fire Company, Station 6",
        identification="TB-0061",
        sheet_id="engine_bay",
        sheet_title=sheet().title,
        sheet_sha256=sheet().sha256,
        lexicon_sha256=sheet().lexicon.sha256,
        operator="R. Alder",
        recogniser="typed",
        model_sha256="",
        version="0.1.0",
        limits_sha256=sheet().limits_sha256,
        unit_sha256=sheet().unit_sha256,
    )


def cover(*but: str) -> list[Event]:
    """Return entries that find every point of the sheet sound, save the points named."""
    events: list[Event] = []
    for point in sheet().points.values():
        if point.id in but:
            continue
        claim = next(c for c in sheet().lexicon.conditions_of(point.aspects) if c.polarity == "sound")
        events.append(logged(f"s_{point.id}", said(point.id, claim.id)))
        for reading in point.readings:
            if not reading.required:
                continue
            limit = reading.limit
            value = (limit.minimum if limit.minimum is not None else limit.maximum) if limit else reading.low
            events.append(logged(f"s_{point.id}_{reading.id}", read(point.id, reading.id, str(value))))
    return events


TOUCHED = (
    "lift_cylinder_left",
    "fan_belt",
    "coolant",
    "water_pump",
    "alternator",
    "oil_filter",
    "steering_gear",
)


def clips() -> tuple[Clip, ...]:
    """Return the clips that :func:`walk` names."""
    return tuple(tone(hertz) for hertz in (440, 550, 660))


def walk(*, finished: bool = True, everything_else: bool = True) -> list[Event]:
    """Return a walk with one thing of every kind."""
    first, second, third = clips()
    events: list[Event] = [
        started(),
        doubted(
            "d1",
            (said("lift_cylinder_left", "dripping"), 0.62),
            (said("lift_cylinder_left", "dry"), 0.37),
            clip=first,
        ),
        logged("e1", said("water_pump", "weeping"), second, free="water pump weeping"),
        logged("e2", said("alternator", "hanging")),
        logged("e3", read("fan_belt", "deflection", "1"), third),
        logged("e4", said("oil_filter", "dripping")),
        EntryWithdrawn(entry_id="e4", by="R. Alder", reason="disregard", heard=heard("disregard")),
        logged("e5", said("oil_filter", "dry")),
        logged("e6", said("steering_gear", "leaking")),
        logged("e7", said("steering_gear", "dry"), corrects="e6"),
        CautionRefused(
            stop_id="right_middle",
            number=1,
            caution=sheet().stop("right_middle").cautions[0],
            by="R. Alder",
            heard=heard("negative"),
        ),
        NotUnderstood(reason="not a phrase of the sheet", heard=heard("", second, free="engine two respond")),
        RemarkLogged(remark_id="r1", point_id="fan_belt", heard=heard("it was changed in the spring", third)),
    ]
    if everything_else:
        events += cover(*TOUCHED)
    if finished:
        events.append(WalkFinished(missing=("coolant",)))
    return events


def state_of(events: Iterable[Event]) -> WalkState:
    """Return the state after the events, one second apart."""
    return fold(sheet(), ((START + timedelta(seconds=n), e) for n, e in enumerate(events)))
