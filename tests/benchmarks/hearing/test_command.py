"""The whole command on a small made-up set: three lines of the sample walk, and their grammar."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import soundfile

from tests.benchmarks.engine_bay_noise import engine_bay_noise
from tests.benchmarks.hearing.command import main
from tests.benchmarks.hearing.results import Journal, read_results
from tests.conftest import ROOT
from voicelog.hearing.audio import read_samples
from voicelog.hearing.recogniser import RATE

GRAMMAR = """#JSGF V1.0;
grammar bay;
public <line> = [go to] <place> | <part> <condition>;
<place> = left front | right front;
<part> = cab prop | steering shaft | left lift cylinder;
<condition> = engaged | smooth | dry | dripping;
"""
LINES = {
    "Cab prop engaged.": {"part": "cab prop", "condition": "engaged"},
    "Go to left front.": {"place": "left front"},
    "Steering shaft smooth.": {"part": "steering shaft", "condition": "smooth"},
}


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of the shape that the command takes."""
    folder = tmp_path_factory.mktemp("bay")
    (folder / "said").mkdir()
    samples = read_samples(ROOT / "samples" / "engine_61_walk.opus")
    times = json.loads((ROOT / "samples" / "engine_61_walk.times.json").read_text())["lines"]
    labels = {}
    once = {line["say"]: line for line in reversed(times) if line["say"] in LINES}
    for number, line in enumerate(once[say] for say in LINES):
        begin, end = int((line["start_s"] - 0.3) * RATE), int((line["end_s"] + 0.3) * RATE)
        soundfile.write(folder / "said" / f"line-{number}.flac", samples[begin:end], RATE)
        labels[f"line-{number}"] = LINES[line["say"]]
    (folder / "said" / "labels.json").write_text(json.dumps(labels))
    (folder / "bay.jsgf").write_text(GRAMMAR)
    soundfile.write(folder / "noise.flac", engine_bay_noise(8, 1), RATE)
    return folder


def test_a_run_is_written_resumed_and_shown_anew(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ours alone: every row is there, a second run decodes only what is new, a third nothing."""
    for package in ("scipy", "tqdm"):
        pytest.importorskip(package, reason=f"{package}, of the extra bench, is needed for a run")
    command = ["--data", str(data), "--out", str(tmp_path), "--systems", "voicelog", "--starts", "1"]
    command += ["--threads", "1", "--no-page", "--beyond", ""]
    main([*command, "--ratios", "30", "--utterances", "2"])
    first = read_results(tmp_path / "results.json")
    assert len(first.rows) == 4
    assert all(row.answer.slots == first.labels[row.utterance] for row in first.rows)
    assert all(row.answer.decode_s > 0 and row.answer.posterior for row in first.rows)
    assert first.sessions[0].peak_mb > 100  # the weights alone are 75 MB

    main([*command, "--ratios", "30"])
    second = read_results(tmp_path / "results.json")
    assert len(second.rows) == 6
    assert [row for row in second.rows if row.utterance in first.labels] == list(first.rows)
    assert len(Journal(tmp_path / "rows.jsonl").sessions) == 2

    capsys.readouterr()
    main(["--from", str(tmp_path / "results.json"), "--no-page"])
    assert "30 dB" in capsys.readouterr().out
    assert len(Journal(tmp_path / "rows.jsonl").rows) == 6


def test_rows_of_other_options_are_not_mixed_in(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What to do is said; the rows are left as they are."""
    monkeypatch.setattr("tests.benchmarks.hearing.command._require", lambda *packages: None)
    from tests.benchmarks.hearing.making import SETTINGS

    Journal(tmp_path / "rows.jsonl").open(SETTINGS)
    with pytest.raises(SystemExit) as stopped:
        main(["--data", str(data), "--out", str(tmp_path), "--systems", "voicelog"])
    assert stopped.value.code == 2
    assert "--fresh" in capsys.readouterr().err
    assert Journal(tmp_path / "rows.jsonl").settings == SETTINGS


def test_a_package_that_is_missing_is_named_before_the_run(
    data: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """And how to get it."""
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None if name == "scipy" else object())
    with pytest.raises(SystemExit) as stopped:
        main(["--data", str(data)])
    assert stopped.value.code == 2
    said = capsys.readouterr().err
    assert "not installed: scipy" in said and ".[bench]" in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--data", "/no/such/folder"], "no such folder"),
        (["--from", "/no/such/results.json"], "cannot be read"),
    ],
)
def test_mistakes_are_told_without_a_traceback(
    arguments: list[str], said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, and what is wrong."""
    monkeypatch.setattr("tests.benchmarks.hearing.command._require", lambda *packages: None)
    with pytest.raises(SystemExit) as stopped:
        main(arguments)
    assert stopped.value.code == 2
    assert said in capsys.readouterr().err
