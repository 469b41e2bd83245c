"""A walk for the screens' tests and pictures: an invented unit, fixed events, fixed times."""

from __future__ import annotations

import functools
import threading
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

from voicelog.meaning.claims import make_claim
from voicelog.meaning.facts import Candidate, Claim, Doubt, Heard
from voicelog.meaning.interpret import make_doubt
from voicelog.screens.walk_screen import Feed, Post, WalkApp
from voicelog.sheet import Sheet, load_sheet
from voicelog.walk.decide import enter_stop, taken
from voicelog.walk.events import CommandHeard, EntryLogged, Event, StopEntered, WalkFinished, WalkStarted
from voicelog.walk.replies import Ear, Reply, Update
from voicelog.walk.state import WalkState, fold
from voicelog.walk.wording import say_claim

SHEET_PATH = Path(__file__).parents[2] / "grammars" / "engine_bay.toml"
BEGIN = datetime(2026, 11, 14, 7, 0, 0)
STEP = timedelta(seconds=23)
ZERO = "0" * 64


@functools.cache
def sheet() -> Sheet:
    """Return the engine bay's sheet."""
    return load_sheet(SHEET_PATH)


def started(operator: str = "J. Okafor", unit: str = "Engine 61") -> WalkStarted:
    """Return the beginning of a walk."""
    return WalkStarted(
        unit_id="engine_61",
        unit_name=unit,
        station="Tolliver Bend Volunteer Fire Company, Station 6",
        identification="TB-0061 (invented)",
        sheet_id="engine_bay",
        sheet_title="Engine bay, cab tilted",
        sheet_sha256=ZERO,
        lexicon_sha256=ZERO,
        operator=operator,
        recogniser="typed",
        model_sha256=ZERO,
        version="0",
    )


def state_of(events: Iterable[Event]) -> WalkState:
    """Return the state after the events, one every 23 seconds from seven in the morning."""
    state = fold(sheet(), ((BEGIN + number * STEP, event) for number, event in enumerate(events)))
    # Every caution counts as affirmed: what stands here is about the points.
    gates = [("", sheet().gate), *((stop.id, stop.gate) for stop in sheet().stops)]
    affirmed = {(place, number) for place, gate in gates for number in range(1, len(gate) + 1)}
    return replace(state, affirmed=frozenset(affirmed))


def condition(entry_id: str, point_id: str, condition_id: str) -> EntryLogged:
    """Return an entry that a point has a condition."""
    return _logged(entry_id, make_claim(sheet(), point_id, condition_id=condition_id))


def reading(entry_id: str, point_id: str, reading_id: str, value: Fraction) -> EntryLogged:
    """Return an entry that a reading has a value."""
    return _logged(entry_id, make_claim(sheet(), point_id, reading_id=reading_id, value=value))


def doubtful(entry_id: str, *claims: tuple[str, str]) -> EntryLogged:
    """Return an entry that may be any of the (point, condition) pairs."""
    made = [make_claim(sheet(), point_id, condition_id=said) for point_id, said in claims]
    share = round(0.9 / len(made), 3)
    candidates = tuple(Candidate(claim=c, posterior=share, said=say_claim(c, sheet())) for c in made)
    return _logged(entry_id, made[0], (make_doubt(candidates, sheet()),))


def _logged(entry_id: str, claim: Claim, doubts: Sequence[Doubt] = ()) -> EntryLogged:
    heard = Heard(text=say_claim(claim, sheet()))
    return EntryLogged(
        entry_id=entry_id, claim=claim, heard=heard, posterior={"point": 0.99}, doubts=tuple(doubts)
    )


def walk_events() -> list[Event]:
    """Return a walk from its beginning to the middle of the second stop."""
    return [
        started(),
        condition("1", "wheel_chocks", "in_place"),
        condition("2", "cab_prop", "tight"),
        condition("3", "tilt_pump", "dry"),
        condition("4", "tilt_fluid", "full"),
        condition("5", "tilt_hoses", "chafed"),
        StopEntered(stop_id="left_front"),
        condition("6", "cab_pivot_left", "tight"),
        condition("7", "lift_cylinder_left", "dripping"),
        doubtful("8", ("steering_gear", "dry"), ("steering_gear", "dripping")),
        reading("9", "steering_fluid", "below_full", Fraction(1, 4)),
        reading("10", "slack_adjuster_left", "hand_travel", Fraction(5, 4)),
        condition("11", "brake_hose_left", "good"),
        condition("12", "pitman_arm", "tight"),
    ]


def updates(events: Sequence[Event]) -> list[Update]:
    """Return an update for each event, with the replies that the walk's own wording gives."""
    made = []
    for number, event in enumerate(events, 1):
        state = state_of(events[:number])
        made.append(Update(state, *_said(event, state), level_dbfs=-21.0, walk_id="2026-11-14-engine_61-1"))
    return made


def _said(event: Event, state: WalkState) -> tuple[tuple[Reply, ...], Heard | None]:
    match event:
        case EntryLogged(doubts=(), claim=claim, heard=heard):
            return (Reply("taken", taken(claim, state)),), heard
        case EntryLogged(doubts=doubts, heard=heard):
            return (Reply("doubt", doubts[0].question),), heard
        case StopEntered(stop_id=stop_id):
            return enter_stop(state, stop_id, None).replies, Heard(text="next stop")
        case _:
            return (), None


def last_update(events: Sequence[Event], *replies: Reply, ear: Ear = "listening") -> Update:
    """Return the update after the last of the events, with other replies when they are given."""
    update = updates(events)[-1]
    return Update(
        update.state,
        replies or update.replies,
        update.heard,
        ear=ear,
        level_dbfs=-21.0,
        walk_id=update.walk_id,
    )


class HeldFeed:
    """A feed that posts updates and then stays open, as a microphone does, until it is let go."""

    def __init__(self, made: Sequence[Update], error: Exception | None = None) -> None:
        self._made = tuple(made)
        self._error = error
        self._let_go = threading.Event()
        self.post: Post | None = None

    def __call__(self, post: Post) -> None:
        """Post the updates, then wait; raise the error, if there is one, when let go."""
        self.post = post
        for update in self._made:
            post(update)
        self._let_go.wait()
        if self._error is not None:
            raise self._error

    def let_go(self) -> None:
        """End the feed."""
        self._let_go.set()


class Walker:
    """Stands in for the walk: keeps what it is asked for, and answers as the walk would."""

    def __init__(self, events: Sequence[Event]) -> None:
        self.events: list[Event] = list(events)
        self.typed: list[str] = []
        self.commands: list[str] = []

    def on_typed(self, text: str) -> Update:
        """Take a typed line; nothing is understood of it."""
        self.typed.append(text)
        heard = Heard(text=text, how="keyboard")
        return Update(state_of(self.events), (Reply("answer", f"typed: {text}"),), heard)

    def on_command(self, name: str) -> Update:
        """Do what a control word does, as far as the screen can see it."""
        self.commands.append(name)
        state = state_of(self.events)
        stops = [stop.id for stop in state.sheet.stops]
        here = stops.index(state.stop_id)
        match name:
            case "next stop":
                self.events.append(StopEntered(stop_id=stops[here + 1]))
            case "previous stop":
                self.events.append(StopEntered(stop_id=stops[here - 1]))
            case "walk complete":
                self.events.append(WalkFinished(missing=tuple(p.id for p in state.missing())))
            case _:
                self.events.append(CommandHeard(command=name, heard=Heard(text=name, how="keyboard")))
        return Update(state_of(self.events), (Reply("answer", name),))

    def app(self, feed: Feed) -> WalkApp:
        """Return the screen over this walk."""
        return WalkApp(feed, on_typed=self.on_typed, on_command=self.on_command, title="voicelog")
