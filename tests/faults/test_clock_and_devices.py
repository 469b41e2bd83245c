"""A clock that is set back, a disk that fills, a record that is locked, an output that is gone: in the
middle of a walk. Each is told, what was acknowledged stays, and the walk goes on."""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.faults.making import BAY, NOT_COMPLETE, SAID, TYPED, Listed, command, entries, kinds, start
from voicelog.committing import CLOCK_SET_BACK
from voicelog.conduct import Conductor
from voicelog.playing import player
from voicelog.records.store import Store
from voicelog.reports.write import walk_contents
from voicelog.screens.review_plain import review_lines
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.replies import Update

DEFECT = "left lift cylinder dripping\n"
MORNING = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)


def clock_of(*minutes: float) -> Callable[[], datetime]:
    """A clock that shows these minutes after seven, one at each reading, and then stands."""

    def times() -> Iterator[datetime]:
        for minute in minutes:
            yield MORNING + timedelta(minutes=minute)
        while True:
            yield MORNING + timedelta(minutes=minutes[-1])

    given = times()
    return lambda: next(given)


def walked(folder: Path, bay: Sheet, engine_61: Unit, clock: Callable[[], datetime]) -> list[Update]:
    """A walk of three typed phrases."""
    with Store.open(folder, clock=clock) as store:
        conductor = Conductor(store, bay, engine_61, Listed(), clock=clock)
        shown = [conductor.begin("R. Alder", "keyboard")]
        for phrase in ("fan belt chafed", "left lift cylinder dripping", "fan belt deflection one half inch"):
            shown.append(conductor.typed(phrase))
        assert store.verify_all() == ()
    return shown


def cautions(shown: list[Update]) -> list[str]:
    return [r.text for update in shown for r in update.replies if r.text == CLOCK_SET_BACK]


def test_a_clock_set_back_in_a_walk_is_told_once_and_the_record_is_whole(
    tmp_path: Path, bay: Sheet, engine_61: Unit
) -> None:
    """The record keeps what the clock showed and the order of the events; operator, officer and report
    are told, and every entry is there."""
    shown = walked(tmp_path, bay, engine_61, clock_of(0, 0, 0, 5, -60, -59))
    assert len(cautions(shown)) == 1
    assert all("taken" in kinds(update) for update in shown[1:])
    with Store.open(tmp_path, clock=clock_of(0)) as store:
        (walk,) = store.walks()
        times = [stored.at for stored in store.events(walk.walk)]
        assert times != sorted(times) and min(times) == MORNING - timedelta(minutes=60)
        assert [stored.number for stored in store.events(walk.walk)] == list(range(1, len(times) + 1))
        assert store.clock_set_back(walk.walk)
        told = "The clock was set back during this walk"
        assert any(told in note for note in walk_contents(store, walk.walk, bay).integrity.notes)
    assert any(line.startswith(told) for line in review_lines(shown[-1].state))
    assert len(shown[-1].state.entries) == 3
    assert shown[-1].state.started_at == MORNING


def test_a_clock_that_only_goes_on_is_not_told(tmp_path: Path, bay: Sheet, engine_61: Unit) -> None:
    """Neither a leap forward nor a zone that goes to winter time sets the clock back."""
    shown = walked(tmp_path / "a", bay, engine_61, clock_of(0, 1, 2, 3, 300, 301))
    assert cautions(shown) == []
    summer, winter = timedelta(hours=2), timedelta(hours=1)
    moments = [MORNING + timedelta(minutes=n) for n in range(20)]
    zoned = iter(moment.astimezone(timezone(summer if n < 4 else winter)) for n, moment in enumerate(moments))
    assert cautions(walked(tmp_path / "b", bay, engine_61, lambda: next(zoned))) == []


def test_a_record_locked_in_the_middle_of_a_walk(tmp_path: Path) -> None:
    """While another program holds the record, an entry is told as trouble; when it lets go, it is taken."""
    with start("--data", tmp_path, *TYPED) as program:
        assert program.stdin and program.stdout and program.stderr
        program.stdin.write(SAID)
        program.stdin.flush()
        assert any("  logged  " in line for line in program.stdout)
        with closing(sqlite3.connect(tmp_path / "voicelog.db", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            program.stdin.write(DEFECT)
            program.stdin.flush()
            trouble = next(line for line in program.stdout if "  trouble  " in line)
            other.rollback()
        assert "not logged: Another program is writing the record" in trouble
        out, errors = program.communicate(DEFECT, timeout=60)
    assert program.returncode == 1 and "Traceback" not in errors
    assert "not everything was logged" in errors and NOT_COMPLETE in errors
    assert out.count("  logged  ") == 1
    assert entries(tmp_path) == 2


def _no_output(device: object = None, kind: str | None = None) -> object:
    raise ValueError(f"No {kind} device matching {device!r}")


@pytest.mark.parametrize("library", ["missing", "no device"])
def test_without_an_output_device_clips_are_not_played_and_nothing_else_changes(
    library: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No PortAudio or no output: there is no player, a walk is made, its report written."""
    if library == "missing":
        monkeypatch.setitem(sys.modules, "sounddevice", None)
    else:
        fake = SimpleNamespace(query_devices=_no_output, PortAudioError=OSError)
        monkeypatch.setitem(sys.modules, "sounddevice", fake)
    assert player() is None
    result = command("--data", tmp_path, *TYPED, typed=SAID + "walk complete\n")
    assert result.exit_code == 0 and "  taken  " in result.output
    (walk,) = [line.split()[0] for line in command("--data", tmp_path, "walks").output.splitlines()]
    result = command("--data", tmp_path, "report", walk, "--sheet", BAY, "--out", tmp_path / "report")
    assert result.exit_code == 0, result.output
