"""Whatever is wrong with what voicelog is given, it says what, where and what to do, and loses nothing."""

from __future__ import annotations

import importlib.util
import os
import resource
import shutil
import signal
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from tests.faults.making import BAY, TYPED, UNIT, Listed, command, is_told, start
from voicelog.hearing import models
from voicelog.hearing.recogniser import RATE
from voicelog.records.store import Store
from voicelog.running import now
from voicelog.walk.events import EntryLogged

SAID = "left lift cylinder dripping\n"
GRAMMAR = "#JSGF V1.0;\ngrammar orders;\npublic <order> = fan belt ( frayed | tight );\n"
NOT_COMPLETE = "is not complete; the same command takes it up again"


def walks(data: Path) -> list[str]:
    with Store.open(data, clock=now) as store:
        return [walk.walk for walk in store.walks()]


def entries(data: Path) -> int:
    """Return how many entries the only walk has; its record must be whole."""
    with Store.open(data, clock=now) as store:
        (walk,) = store.walks()
        assert store.verify_all() == ()
        return sum(isinstance(stored.event, EntryLogged) for stored in store.events(walk.walk))


# sheets and units ---------------------------------------------------------------------------

_UNIT_TEXT = UNIT.read_text(encoding="utf-8")
_BAY_TEXT = BAY.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        (_BAY_TEXT.replace("title = ", "tittle = ", 1), ('unknown key "tittle"', "bad.toml:5")),
        (_BAY_TEXT.replace('id = "bay"', 'id = "bay', 1), ("not valid TOML", "bad.toml:4")),
        (_UNIT_TEXT, ('"sheet" is missing', "bad.toml:1")),
        ("", ('"sheet" is missing', "bad.toml:1")),
        ("\ud800", ("not UTF-8",)),
        (None, ("there is no such check sheet", "bad.toml")),
    ],
    ids=["unknown key", "syntax", "a unit", "empty", "not text", "no file"],
)
def test_a_sheet_that_cannot_be_used_is_told_by_line(
    text: str | None, parts: tuple[str, ...], tmp_path: Path
) -> None:
    """A broken sheet is refused with its line, by the walk and by the check, and no walk is begun."""
    shutil.copy(BAY.with_name("lexicon.toml"), tmp_path)
    sheet = tmp_path / "bad.toml"
    if text is not None:
        sheet.write_text(text, encoding="utf-8", errors="surrogatepass")
    walk = ("walk", "--plain", "--keyboard", "--unit", UNIT, "--operator", "X", "--sheet", sheet)
    result = command("--data", tmp_path / "data", *walk, typed=SAID)
    is_told(result.exit_code, result.output, *parts)
    assert not (tmp_path / "data").exists()
    checked = command("sheet", "check", sheet)
    assert checked.exit_code == 1 and parts[0] in checked.output and "Traceback" not in checked.output


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        (None, ("there is no such unit file", "bad.toml")),
        (_BAY_TEXT, ('"unit" is missing', "bad.toml:1")),
        (_UNIT_TEXT.replace("engine_bay", "no_such"), ("there is no sheet no_such",)),
        (_UNIT_TEXT.replace("engine_bay", "../../secret"), ("there is no sheet ../../secret",)),
        (_UNIT_TEXT.replace('["engine_bay"]', "[]"), ("the unit has no sheet",)),
    ],
    ids=["no file", "a sheet", "unknown sheet", "a path as sheet", "no sheet"],
)
def test_a_unit_that_cannot_be_used_is_told(text: str | None, parts: tuple[str, ...], tmp_path: Path) -> None:
    """A unit file that is missing, of another kind or without a sheet is refused before a walk is begun."""
    unit = tmp_path / "bad.toml"
    if text is not None:
        unit.write_text(text, encoding="utf-8")
    walk = ("walk", "--plain", "--keyboard", "--unit", unit, "--operator", "X")
    result = command("--data", tmp_path / "data", *walk, typed=SAID)
    is_told(result.exit_code, result.output, *parts)
    assert not (tmp_path / "data").exists()


# sound --------------------------------------------------------------------------------------


def _sound(folder: Path, kind: str) -> Path:
    """Write a sound file of a kind; return its path."""
    path = folder / f"{kind}.wav"
    noise = np.random.default_rng(61).normal(0, 0.05, RATE)
    match kind:
        case "empty":
            path.touch()
        case "text":
            path.write_text("fan belt frayed\n" * 100)
        case "no samples":
            soundfile.write(path, noise[:0], RATE)
        case "header only" | "cut short":
            soundfile.write(path, noise, RATE)
            path.write_bytes(path.read_bytes()[: 30 if kind == "header only" else 16_044])
        case "a folder":
            path.mkdir()
        case "8 kHz":
            soundfile.write(path, noise, 8_000)
        case "48 kHz stereo":
            soundfile.write(path, np.stack([noise, noise], axis=1), 48_000)
        case "silence":
            soundfile.write(path, noise * 0, RATE)
        case "noise":
            soundfile.write(path, noise, RATE)
        case "one sample":
            soundfile.write(path, noise[:1], RATE)
    return path


_UNREADABLE = [
    ("empty", "the file is empty"),
    ("text", "not a sound file that can be read"),
    ("no samples", "the file holds no sound"),
    ("header only", "not a sound file that can be read"),
    ("missing", "there is no such file"),
]
_READABLE = ("8 kHz", "48 kHz stereo", "silence", "noise", "one sample")


@pytest.fixture
def listed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put a recogniser that hears nothing it knows in the place of the engine."""

    def deaf(folder: Path | None = None) -> Listed:
        return Listed(*["the radio"] * 20)

    monkeypatch.setattr("voicelog.running._recogniser", deaf)
    monkeypatch.setattr("voicelog.hearing.whisper.WhisperRecogniser", deaf)


@pytest.mark.usefixtures("listed")
@pytest.mark.parametrize(("kind", "what"), _UNREADABLE)
def test_a_recording_that_cannot_be_read_begins_no_walk(kind: str, what: str, tmp_path: Path) -> None:
    """A walk from a file that is no sound is refused, and leaves no walk in the record."""
    path = _sound(tmp_path, kind)
    walk = ("walk", "--plain", "--unit", UNIT, "--sheet", BAY, "--operator", "X", "--from", path)
    result = command("--data", tmp_path / "data", *walk)
    is_told(result.exit_code, result.output, what, str(path))
    assert walks(tmp_path / "data") == []


@pytest.mark.usefixtures("listed")
def test_a_recording_that_breaks_off_is_used_up_to_there_and_told(tmp_path: Path) -> None:
    """A cut recording makes a walk of what is there, then an error says where it breaks off."""
    path = _sound(tmp_path, "cut short")
    walk = ("walk", "--plain", "--unit", UNIT, "--sheet", BAY, "--operator", "X", "--from", path)
    result = command("--data", tmp_path / "data", *walk)
    is_told(result.exit_code, result.output, "the recording breaks off after 0.5 s", str(path), NOT_COMPLETE)
    assert len(walks(tmp_path / "data")) == 1


@pytest.mark.usefixtures("listed")
@pytest.mark.parametrize("kind", _READABLE)
def test_a_recording_without_speech_makes_no_entry(kind: str, tmp_path: Path) -> None:
    """Any rate, any channels, silence and noise: read to the end without an entry or a complaint."""
    path = _sound(tmp_path, kind)
    walk = ("walk", "--plain", "--unit", UNIT, "--sheet", BAY, "--operator", "X", "--from", path)
    result = command("--data", tmp_path / "data", *walk)
    assert result.exit_code == 0 and NOT_COMPLETE in result.output
    assert entries(tmp_path / "data") == 0


@pytest.mark.usefixtures("listed")
def test_decoding_goes_on_after_files_that_cannot_be_read(tmp_path: Path) -> None:
    """Of many files each bad one is told by name, the good ones are decoded, and the exit code is 2."""
    grammar = tmp_path / "orders.jsgf"
    grammar.write_text(GRAMMAR)
    bad = [_sound(tmp_path, kind) for kind, _ in (*_UNREADABLE, ("cut short", ""), ("a folder", ""))]
    good = [_sound(tmp_path, kind) for kind in _READABLE]
    result = command("decode", "--grammar", grammar, *bad, *good)
    is_told(result.exit_code, result.output, *(f"voicelog: {path}: " for path in bad))
    decoded = [line for line in result.output.splitlines() if ": refused" in line]
    assert len(decoded) == len(good)
    assert all(line.startswith(f"{path}: ") for line, path in zip(decoded, good, strict=True))


def test_the_engine_hears_no_phrase_in_silence_and_noise(tmp_path: Path) -> None:
    """The real engine refuses silence, noise and a single sample."""
    grammar = tmp_path / "orders.jsgf"
    grammar.write_text(GRAMMAR)
    result = command(
        "decode", "--grammar", grammar, *(_sound(tmp_path, k) for k in ("silence", "noise", "one sample"))
    )
    assert result.exit_code == 0, result.output
    assert result.output.count(": refused") == 3


# models -------------------------------------------------------------------------------------


def _embedded() -> Path:
    spec = importlib.util.find_spec(models.BUNDLED_PACKAGE)
    assert spec is not None and spec.origin is not None
    return Path(spec.origin).parent / "model"


def _copy_of_model(folder: Path, model_bin: bytes) -> Path:
    """Make a model folder with another ``model.bin``, the rest being the embedded model's files."""
    folder.mkdir(parents=True)
    for file in _embedded().iterdir():
        if file.name == "model.bin":
            (folder / file.name).write_bytes(model_bin)
        else:
            (folder / file.name).symlink_to(file)
    return folder


def _decode(tmp_path: Path, *more: str | Path) -> tuple[int, str]:
    (tmp_path / "orders.jsgf").write_text(GRAMMAR)
    result = command("decode", "--grammar", tmp_path / "orders.jsgf", *more, _sound(tmp_path, "silence"))
    return result.exit_code, result.output


@pytest.mark.parametrize(
    ("kept", "what"),
    [
        (None, "there is no model folder here"),
        (0, "the model cannot be loaded"),
        (10**6, "the model cannot be loaded"),
    ],
    ids=["no folder", "empty", "cut short"],
)
def test_a_model_that_cannot_be_loaded_is_told(kept: int | None, what: str, tmp_path: Path) -> None:
    """A model folder that is missing or whose weights are cut short is refused, with where it is."""
    folder = tmp_path / "model"
    if kept is not None:
        with (_embedded() / "model.bin").open("rb") as file:
            _copy_of_model(folder, file.read(kept))
    is_told(*_decode(tmp_path, "--model", folder), what, str(folder))


def test_a_model_folder_without_a_file_is_told(tmp_path: Path) -> None:
    """A model folder that lacks its tokenizer is refused by that file's name."""
    folder = _copy_of_model(tmp_path / "model", b"")
    (folder / "tokenizer.json").unlink()
    is_told(*_decode(tmp_path, "--model", folder), "has no tokenizer.json", str(folder))


def test_one_altered_bit_of_the_embedded_model_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The embedded model with one bit of its weights turned over is refused, and the file is named."""
    weights = bytearray((_embedded() / "model.bin").read_bytes())
    weights[len(weights) // 2] ^= 1
    _copy_of_model(tmp_path / "package" / "model", bytes(weights))
    spec = ModuleSpec(models.BUNDLED_PACKAGE, None, origin=str(tmp_path / "package" / "__init__.py"))
    monkeypatch.setattr("voicelog.hearing.models.importlib.util.find_spec", lambda name: spec)
    is_told(
        *_decode(tmp_path),
        "model.bin is altered or damaged",
        str(tmp_path / "package" / "model" / "model.bin"),
    )


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
        resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))

    with start("--data", tmp_path / "data", *TYPED, before=no_larger) as program:
        out, errors = program.communicate(SAID * 60, timeout=60)
    assert program.returncode == 1 and "Traceback" not in errors
    assert "not everything was logged" in errors and NOT_COMPLETE in errors
    taken, trouble = out.count("  taken  "), out.count("  trouble  ")
    assert taken >= 1 and trouble >= 1 and taken + trouble == 60
    assert entries(tmp_path / "data") == taken


def test_an_altered_record_is_told_wherever_it_is_read_and_cannot_be_signed(tmp_path: Path) -> None:
    """A defect turned into a pass behind the record's back is told in the review, and is not signed."""
    command("--data", tmp_path, *TYPED, typed=SAID + "walk complete\n")
    (walk,) = walks(tmp_path)
    with closing(sqlite3.connect(tmp_path / "voicelog.db")) as db:
        for (guard,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f'DROP TRIGGER "{guard}"')
        db.execute("UPDATE events SET body = replace(body, 'dripping', 'dry') WHERE kind = 'entry logged'")
        db.commit()
    told = f"{walk}: this record is not whole: Event 3 was altered"
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
    monkeypatch.setattr("voicelog.running._recogniser", lambda model: Listed())
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
    monkeypatch.setattr("voicelog.running._recogniser", lambda model: Listed())
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
        assert any("  taken  " in line for line in program.stdout)
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
