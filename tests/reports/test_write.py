"""Reports on the disk."""

from __future__ import annotations

from pathlib import Path

import pytest

from voicelog.errors import RecordError
from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.reports.write import write_report
from voicelog.sheet.load import load_sheet
from voicelog.sheet.model import Sheet

from .making import WALK, named_clip, tone
from .reading_html import read

Record = tuple[Store, dict[str, Clip]]


def test_writes_both_forms(record: Record, sheet: Sheet, tmp_path: Path) -> None:
    """Both files are there, named by the walk, in a folder that is made, and nothing else is."""
    store, _ = record
    folder = tmp_path / "new" / "reports"
    page, text = write_report(store, WALK, sheet, folder)
    assert sorted(folder.iterdir()) == sorted((page, text))
    assert (page.name, text.name) == (f"{WALK}.html", f"{WALK}.txt")
    assert read(page.read_text(encoding="utf-8")).faults == []
    assert store.head(WALK) in text.read_text(encoding="utf-8")


def test_writes_again(record: Record, sheet: Sheet, tmp_path: Path) -> None:
    """A report made again takes the place of the one before."""
    store, _ = record
    page, text = write_report(store, WALK, sheet, tmp_path)
    page.write_text("old")
    assert write_report(store, WALK, sheet, tmp_path) == (page, text)
    assert page.read_text(encoding="utf-8").strip().startswith("<!DOCTYPE html>")


def test_damaged_and_missing_sound_is_told(record: Record, sheet: Sheet, tmp_path: Path) -> None:
    """Sound that was altered or lost is named in the report, which is written all the same."""
    store, clips = record
    lost = tone("coolant good").sha256
    altered = tone("left lift cylinder weeping").sha256
    files = {path.stem: path for path in (store.folder / "clips").rglob("*.flac")}
    files[lost].unlink()
    files[altered].write_bytes(clips[altered].flac[:-1] + b"\x00")
    page = read(write_report(store, WALK, sheet, tmp_path)[0].read_text(encoding="utf-8"))
    body = page.all("body")[0].text
    assert "cannot be played: The sound clip is missing." in body
    assert "cannot be played: The sound clip was altered" in body
    # The third is its signature, which is over an open doubt.
    assert "The record is NOT whole: 3 problems" in body
    assert len(page.all("audio")) == 12


def test_folder_that_cannot_be_written(record: Record, sheet: Sheet, tmp_path: Path) -> None:
    """A file in the place of the folder is told as such, with what to do."""
    store, _ = record
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(RecordError, match="cannot be written") as told:
        write_report(store, WALK, sheet, tmp_path / "taken")
    assert told.value.where.endswith("taken") and told.value.remedy


def test_nothing_half_written_is_left(record: Record, sheet: Sheet, tmp_path: Path) -> None:
    """When a name is taken by a folder, the error says so and no part file stays behind."""
    store, _ = record
    (tmp_path / "out" / f"{WALK}.html").mkdir(parents=True)
    with pytest.raises(RecordError, match="cannot be written"):
        write_report(store, WALK, sheet, tmp_path / "out")
    assert [path.name for path in (tmp_path / "out").iterdir()] == [f"{WALK}.html"]


@pytest.mark.parametrize("walk_id", ["no-such-walk", "../outside"])
def test_no_such_walk(record: Record, sheet: Sheet, tmp_path: Path, walk_id: str) -> None:
    """A walk that is not in the record has no report, whatever its name would do as a path."""
    store, _ = record
    with pytest.raises(RecordError, match="no walk"):
        write_report(store, walk_id, sheet, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_sheet_that_does_not_fit(record: Record, tmp_path: Path) -> None:
    """A sheet without the points of the walk is refused in words."""
    store, _ = record
    grammars = Path(__file__).parents[2] / "grammars"
    other = load_sheet(grammars / "engine_bay.toml")
    with pytest.raises(RecordError, match="does not have") as told:
        write_report(store, WALK, other, tmp_path)
    assert "edition" in told.value.remedy


def test_names_of_clips_differ() -> None:
    """The tones that stand for speech here differ, so that a mix-up of clips would be seen."""
    words = ("coolant good", "dripping", "left brake hose intact", "remark")
    assert len({tone(said).sha256 for said in words}) == len({named_clip(said) for said in words}) == 4
