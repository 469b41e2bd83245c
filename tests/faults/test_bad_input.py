"""Whatever is wrong with what voicelog is given, it says what, where and what to do, and loses nothing."""

from __future__ import annotations

import importlib.util
import re
import shutil
from importlib.machinery import ModuleSpec
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.faults.making import (
    BAY,
    NOT_COMPLETE,
    SAID,
    UNIT,
    Listed,
    command,
    entries,
    is_told,
    walks,
)
from voicelog.hearing import models
from voicelog.hearing.recogniser import RATE

GRAMMAR = "#JSGF V1.0;\ngrammar orders;\npublic <order> = fan belt ( frayed | tight );\n"


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
        (re.sub(r"sheets = \[.*?\]", "sheets = []", _UNIT_TEXT), ("the unit has no sheet",)),
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

    monkeypatch.setattr("voicelog.running.make_recogniser", deaf)
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
    found = importlib.util.find_spec

    def find(name: str, package: str | None = None) -> ModuleSpec | None:
        return spec if name == models.BUNDLED_PACKAGE else found(name, package)

    monkeypatch.setattr(importlib.util, "find_spec", find)
    is_told(
        *_decode(tmp_path),
        "model.bin is altered or damaged",
        str(tmp_path / "package" / "model" / "model.bin"),
    )
