"""Walks of years ago, signed by the officer, for the tests of what is removed when its time is past."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from tests.people.making import OFFICER, OPERATOR, peopled, station
from tests.records.making import START, Ticking
from tests.walk.reviewing import logged, read, said, sheet, started, tone
from voicelog.defects.removal_events import Removal
from voicelog.errors import VoicelogError
from voicelog.people.keys import Signer
from voicelog.records.store import Store
from voicelog.removing import Act, PastWalk, past_walks, remove_all
from voicelog.sheet.policy import NO_POLICY, Policy
from voicelog.walk import review
from voicelog.walk.events import Event, WalkFinished, WalkStarted
from voicelog.walk.state import WalkState, fold

POLICY: Policy = replace(
    NO_POLICY,
    title="Policy of Tolliver Bend",
    edition="2026-11",
    sha256="e" * 64,
    walks_months=24,
    repairs_months=36,
    sound_months=12,
)
LATER = START + timedelta(days=3 * 366)
"""When the walks of :func:`old_station` are past their time, and any defect of them still in its own."""
NAMES = ("old_1", "old_2", "old_3")


def clip_of(name: str) -> int:
    """Return the pitch of a walk's sound, in hertz: each has its own."""
    return 300 + sum(map(ord, name))


def begun() -> WalkStarted:
    """Return the first event of a walk that asks for every point."""
    return started().model_copy(update={"extent": "monthly"})


def state(store: Store, walk: str) -> WalkState:
    """Return a walk as it stands on record."""
    return fold(sheet(), ((s.at, s.event) for s in store.events(walk)))


def sign(store: Store, walk: str, signer: Signer) -> None:
    """Let the officer confirm a walk."""
    event = review.sign(
        state(store, walk),
        by=signer.name,
        role="officer",
        meaning="confirmed by",
        decision="out of service",
        reason="seen",
        head=store.head(walk),
    )
    store.append(walk, [event], signer=signer)
    store.defects.take_up(walk, state(store, walk))


def walked(
    store: Store,
    walk: str,
    signers: dict[str, Signer],
    *more: Event,
    signed: bool = True,
    finished: bool = True,
    seconds: float = 0.2,
) -> None:
    """Make a walk with a sound, a reading, and what is given."""
    sound = tone(clip_of(walk), seconds)
    events = [
        begun(),
        logged("e1", said("water_pump", "dry"), sound),
        logged("e2", read("fan_belt", "deflection", "3/8")),
        *more,
        *([WalkFinished(missing=())] if finished else []),
    ]
    store.append(walk, events, [sound], signer=signers[OPERATOR])
    store.defects.take_up(walk, state(store, walk))
    if signed:
        sign(store, walk, signers[OFFICER])


def old_station(folder: Path, names: Sequence[str] = NAMES) -> tuple[Store, dict[str, Signer], Ticking]:
    """Return a station with three signed walks of three years ago; the last is the latest of its kind."""
    clock = Ticking()
    store = station(folder, clock)
    store.keep_editions(sheet())
    signers = peopled(store)
    for name in names:
        walked(store, name, signers)
        clock.now += timedelta(days=1)
    clock.now = LATER
    return store, signers, clock


def past(store: Store, at: datetime = LATER, *, sound: bool = False) -> tuple[PastWalk, ...]:
    """Return what is past its time by the policy of these tests."""
    return past_walks(store, POLICY, at.date(), sound=sound)


def act(signer: Signer | None, copies: Path | None, *, sound: bool = False) -> Act:
    """Return how it is removed."""
    return Act(POLICY, "time past", signer, copies, sound)


def removed(
    store: Store,
    signer: Signer | None,
    copies: Path | None,
    *,
    sound: bool = False,
    at: datetime = LATER,
) -> tuple[tuple[Removal, ...], tuple[VoicelogError, ...]]:
    """Remove all that is past its time, and take its sound off the disk."""
    done, failed = remove_all(
        store, past(store, at, sound=sound), act(signer, copies, sound=sound), lambda _: None
    )
    store.removal.finish()
    return done, failed
