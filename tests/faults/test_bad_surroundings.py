"""Whatever is wrong around voicelog (disk, devices, streams, names), it says so and loses nothing."""

from __future__ import annotations

import os
import resource
import signal
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.faults.making import (
    BAY,
    NOT_COMPLETE,
    SAID,
    TYPED,
    Listed,
    command,
    entries,
    is_told,
    start,
    walks,
)
from voicelog.clock import now
from voicelog.records.store import Store

# the record ---------------------------------------------------------------------------------


def _text_in_place_of_the_record(data: Path) -> None:
    data.mkdir()
    (data / "voicelog.db").write_text("this is no record of anything\n" * 100)


def _folder_in_place_of_the_record(data: Path) -> None:
    (data / "voicelog.db").mkdir(parents=True)


def _file_above_the_data_folder(data: Path) -> None:
    data.parent.write_text("a file")


@pytest.mark.parametrize(
    ("make", "what"),
    [
        (_text_in_place_of_the_record, "not a voicelog record"),
        (_folder_in_place_of_the_record, "The record cannot be opened"),
        (_file_above_the_data_folder, "The record cannot be opened"),
    ],
)
def test_a_data_folder_that_cannot_be_used_is_told(
    make: Callable[[Path], None], what: str, tmp_path: Path
) -> None:
    """A data folder that holds something else, or cannot be one, is refused by name and left as it is."""
    data = tmp_path / "above" / "data"
    if make is not _file_above_the_data_folder:
        data.parent.mkdir()
    make(data)
    for arguments in (TYPED, ("walks",)):
        result = command("--data", data, *arguments, typed=SAID)
        is_told(result.exit_code, result.output, what, str(data.parent))


def test_a_record_held_by_another_program_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A walk is not begun while another program keeps the record locked, and can be begun afterwards."""
    monkeypatch.setitem(Store.open.__func__.__kwdefaults__, "busy_seconds", 0.05)  # type: ignore[attr-defined]
    command("--data", tmp_path, "walks")
    with closing(sqlite3.connect(tmp_path / "voicelog.db", isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        result = command("--data", tmp_path, *TYPED, typed=SAID)
        is_told(result.exit_code, result.output, "Another program is writing the record", str(tmp_path))
        other.rollback()
    assert walks(tmp_path) == []
    assert command("--data", tmp_path, *TYPED, typed=SAID).exit_code == 0
    assert entries(tmp_path) == 1


def test_a_walk_that_runs_out_of_room_acknowledges_only_what_is_kept(tmp_path: Path) -> None:
    """Where the record cannot grow any more, entries are told as trouble and the exit code is not 0."""

    def no_larger() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))

    with start("--data", tmp_path / "data", *TYPED, before=no_larger) as program:
        out, errors = program.communicate(SAID + SAID.splitlines(True)[-1] * 299, timeout=60)
    assert program.returncode == 1 and "Traceback" not in errors
    assert "not everything was logged" in errors and NOT_COMPLETE in errors
    taken, trouble = out.count("  taken  "), out.count("  trouble  ")
    gate = SAID.count("affirmative")
    assert taken > gate and trouble >= 1 and taken + trouble == gate + 300
    assert entries(tmp_path / "data") == taken - gate


def test_an_altered_record_is_told_wherever_it_is_read_and_cannot_be_signed(tmp_path: Path) -> None:
    """A defect turned into a pass behind the record's back is told in the review, and is not signed."""
    command("--data", tmp_path, *TYPED, typed=SAID + "walk complete\n")
    (walk,) = walks(tmp_path)
    with closing(sqlite3.connect(tmp_path / "voicelog.db")) as db:
        for (guard,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f'DROP TRIGGER "{guard}"')
        db.execute("UPDATE events SET body = replace(body, 'dripping', 'dry') WHERE kind = 'entry logged'")
        db.commit()
    told = f"{walk}: this record is not whole: Event 6 was altered"
    assert told in command("--data", tmp_path, "review", walk, "--plain", "--sheet", BAY).output
    signing = ("sign", walk, "--by", "R. Alder", "--role", "operator", "--sheet", BAY)
    result = command("--data", tmp_path, *signing)
    is_told(result.exit_code, result.output, told)
    assert "signed" not in command("--data", tmp_path, "walks").output


# devices and streams ------------------------------------------------------------------------


def test_without_portaudio_the_keyboard_works_and_the_microphone_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the sound library, ``devices`` and a walk by microphone say what to install; typing works."""
    (tmp_path / "sounddevice.py").write_text('raise OSError("PortAudio library not found")\n')
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr("voicelog.running.make_recogniser", lambda model: Listed())
    heard = tuple(a for a in TYPED if a != "--keyboard")
    for arguments in (("devices",), heard):
        result = command("--data", tmp_path / "data", *arguments)
        is_told(result.exit_code, result.output, "PortAudio, which is not installed", "libportaudio2")
    assert walks(tmp_path / "data") == []
    assert command("--data", tmp_path / "data", *TYPED, typed=SAID).exit_code == 0


class _PortAudioError(Exception):
    """As sounddevice has it."""


def _no_device(device: str | None = None, kind: str | None = None) -> list[object]:
    """Answer as sounddevice does where no device is: ValueError by name (sounddevice 0.5, seen)."""
    if kind is None:
        return []
    raise ValueError(f"No {kind} device matching {device!r}")


def test_a_microphone_that_is_not_there_begins_no_walk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A walk by a microphone of no such name is refused, and leaves no walk in the record."""
    devices = SimpleNamespace(query_devices=_no_device, PortAudioError=_PortAudioError)
    monkeypatch.setitem(sys.modules, "sounddevice", devices)
    monkeypatch.setattr("voicelog.running.make_recogniser", lambda model: Listed())
    heard = [a for a in TYPED if a != "--keyboard"]
    result = command("--data", tmp_path, *heard, "--device", "no such microphone")
    is_told(result.exit_code, result.output, "cannot be opened", "no such microphone", "voicelog devices")
    assert walks(tmp_path) == []


def test_ctrl_c_ends_a_walk_in_words(tmp_path: Path) -> None:
    """Ctrl-C during a walk: exit code 130, what to do next, no traceback, and nothing lost."""

    def listen_to_ctrl_c() -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)  # a test run in the background ignores it

    with start("--data", tmp_path, *TYPED, before=listen_to_ctrl_c) as program:
        assert program.stdin and program.stdout and program.stderr
        program.stdin.write(SAID)
        program.stdin.flush()
        assert any("  taken           left lift" in line for line in program.stdout)
        program.send_signal(signal.SIGINT)
        errors = program.stderr.read()
    assert program.returncode == 130
    assert "what was acknowledged is kept" in errors and NOT_COMPLETE in errors and "Traceback" not in errors
    assert entries(tmp_path) == 1


def test_output_that_is_not_read_ends_a_walk_quietly(tmp_path: Path) -> None:
    """A reader that leaves after the first line, as ``head -1`` does, ends the walk without a traceback."""
    with start("--data", tmp_path, *TYPED) as program:
        assert program.stdin and program.stdout and program.stderr
        program.stdout.readline()
        program.stdout.close()
        program.stdin.write(SAID * 3)
        program.stdin.close()
        errors = program.stderr.read()
    assert program.returncode == 1
    assert NOT_COMPLETE in errors and "Traceback" not in errors and "Exception ignored" not in errors
    assert entries(tmp_path) <= 3


def test_output_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """Output to a full disk is told, with exit code 2 and without a traceback."""
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("there is no /dev/full here")
    with full.open("w") as out, start("--data", tmp_path, *TYPED, stdout=out) as program:
        _, errors = program.communicate(SAID, timeout=60)
    is_told(program.returncode, errors, "could not be read or written", NOT_COMPLETE)
    assert "Exception ignored" not in errors


def test_closed_streams_are_no_fault(tmp_path: Path) -> None:
    """Started with standard input and output closed, a walk is begun and ends at once."""

    def close() -> None:
        os.close(0)
        os.close(1)

    with start("--data", tmp_path, *TYPED, before=close, stdin=None, stdout=None) as program:
        _, errors = program.communicate(timeout=60)
    assert program.returncode == 0 and "Traceback" not in errors
    assert entries(tmp_path) == 0


def test_bytes_that_are_no_text_do_not_end_a_walk(tmp_path: Path) -> None:
    """Typed bytes that are not UTF-8 are not understood; what is typed after them is logged."""
    strict = {"PYTHONIOENCODING": "utf-8:strict"}
    with start("--data", tmp_path, *TYPED, env=strict, errors="surrogateescape") as program:
        out, errors = program.communicate("\udcff\udcfe\n" + SAID, timeout=60)
    assert program.returncode == 0, errors
    assert "  not understood  " in out and "  taken  " in out
    assert entries(tmp_path) == 1


def test_a_screen_needs_a_terminal(tmp_path: Path) -> None:
    """Without a terminal and without ``--plain`` nothing is drawn: it says what to give."""
    no_plain = [a for a in TYPED if a != "--plain"]
    for arguments in (no_plain, ["demo"], ["review", "any"]):
        result = command("--data", tmp_path, *arguments)
        is_told(result.exit_code, result.output, "the screen needs a terminal", "--plain")


# names --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["Ådne O'Neill-Łukaszewicz", "山田 太郎"])
def test_any_name_of_a_person_is_kept_as_it_is(name: str, tmp_path: Path) -> None:
    """Names in any script are kept and listed unchanged."""
    arguments = [name if a == "R. Alder" else a for a in TYPED]
    assert command("--data", tmp_path, *arguments, typed=SAID).exit_code == 0
    assert name in command("--data", tmp_path, "walks").output
    with Store.open(tmp_path, clock=now) as store:
        assert [walk.operator for walk in store.walks()] == [name]


@pytest.mark.parametrize(
    ("name", "taking_up"),
    [
        ("", False),
        ("  ", True),
        ("R.\x1b[31m Alder", False),
        ("R. Alder\nM. Ruiz", False),
        ("\x07", True),
        ("\udcff", False),
    ],
)
def test_a_name_that_cannot_be_shown_is_refused(name: str, taking_up: bool, tmp_path: Path) -> None:
    """No name, control characters, terminal escapes: refused at the start and when a walk is taken up."""
    if taking_up:
        command("--data", tmp_path, *TYPED)
    arguments = [name if a == "R. Alder" else a for a in TYPED]
    result = command("--data", tmp_path, *arguments, typed=SAID)
    is_told(result.exit_code, result.output, "name")
    assert "\x1b" not in result.output
    assert len(walks(tmp_path)) == taking_up


def test_what_was_typed_cannot_drive_the_terminal(tmp_path: Path) -> None:
    """Escapes in what is typed and in a remark are shown without their effect."""
    typed = "fan \x1b[31mbelt\x07\nremark\nclamp \x1b]0;owned\x07 new\nend of remark\n"
    result = command("--data", tmp_path, *TYPED, typed=typed)
    assert result.exit_code == 0 and "  taken  " in result.output
    assert not {c for c in result.output if c < " " and c != "\n"}
