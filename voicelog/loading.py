"""Which file a sheet is, and a walk on record with the sheet that it was made with."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from voicelog.errors import VoicelogError, WalkError
from voicelog.paths import shipped
from voicelog.records import editions
from voicelog.records.chain import Stored
from voicelog.records.store import Store
from voicelog.sheet import load_sheet, load_unit, of_extent, outline_sheet
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.events import DefectsCarried, WalkStarted
from voicelog.walk.state import WalkState, fold


def sheet_path_of(sheet_id: str, near: Path | None = None) -> Path:
    """Return the file of a sheet by its id: beside the unit's file, or one that is shipped."""
    if near is not None and (found := near / f"{sheet_id}.toml").is_file():
        return found
    try:
        return shipped("grammars", f"{sheet_id}.toml")
    except VoicelogError as error:
        raise WalkError(f"there is no sheet {sheet_id}", remedy="give its file with --sheet FILE") from error


def sheets_of(unit: Unit | None) -> list[Sheet]:
    """Return the sheets of a unit; without one, those that come with voicelog, as they are without one.

    For lists of limits and the like: see :func:`voicelog.sheet.outline_sheet`.
    """
    if unit is not None:
        near = Path(unit.path).parent
        return [load_sheet(sheet_path_of(name, near), unit=unit) for name in unit.sheets]
    every = load_unit(shipped("samples", "engine_61.toml")).sheets
    return [outline_sheet(sheet_path_of(name)) for name in every]


def load_walk(store: Store, walk_id: str, sheet_path: Path | None) -> tuple[WalkState, Sheet]:
    """Return a walk's state and the sheet it was made with.

    Raises :class:`WalkError` when there is no such walk or the sheet is another edition.
    """
    stored = store.events(walk_id)
    started = stored[0].event if stored else None
    if not isinstance(started, WalkStarted):
        store.removal.check_there(walk_id)
        raise WalkError(f"there is no walk {walk_id}", remedy="list them with: voicelog walks")
    made = _as_made(store, started, sheet_path)
    if made is None and started.unit_sha256:
        raise WalkError(
            f"{walk_id} cannot be read without the unit's file it was made with, which is missing or altered",
            where=str(editions.place(store.folder, started.unit_sha256)),
            remedy="put that file back from a backup of the data folder",
        )
    sheet = made or load_sheet(sheet_path or sheet_path_of(started.sheet_id))
    if sheet.edition_key != started.edition_key:
        raise WalkError(
            f"{walk_id} was made with another edition of the sheet {started.sheet_id}",
            where=sheet.path,
            remedy="give the edition it was made with: --sheet FILE (with its lexicon beside it)",
        )
    sheet = of_extent(sheet, started.extent, added_points(stored))
    try:
        return fold(sheet, ((s.at, s.event) for s in stored)), sheet
    except KeyError as error:
        raise WalkError(
            f"{walk_id} speaks of {error}, which the sheet {sheet.id} does not have",
            where=sheet.path,
            remedy="keep the data folder as it is, and compare it with a backup",
        ) from error


def added_points(stored: Iterable[Stored]) -> tuple[str, ...]:
    """Return the points that a walk took in beyond its extent, to be looked at again."""
    brought = (s.event for s in stored if isinstance(s.event, DefectsCarried))
    return tuple(dict.fromkeys(point_id for event in brought for point_id in event.added))


def sheet_as_made(store: Store, started: WalkStarted) -> Sheet | None:
    """Return the whole sheet that a walk was made with; None where that edition is not at hand."""
    try:
        sheet = _as_made(store, started, None) or load_sheet(sheet_path_of(started.sheet_id))
    except VoicelogError:
        return None
    return sheet if sheet.edition_key == started.edition_key else None


def _as_made(store: Store, started: WalkStarted, sheet_path: Path | None) -> Sheet | None:
    """Return the sheet as a walk was made with it, from the editions kept beside the record.

    None where they are not all there. A file that is named takes the place of what was kept.
    """
    sheet, lexicon, limits, unit = (editions.kept(store.folder, key) for key in started.edition_key)
    of_a_unit = started.unit_sha256 != ""
    if sheet_path is not None and not of_a_unit:
        return None
    found = (sheet, lexicon, limits if started.limits_sha256 else Path(), unit if of_a_unit else Path())
    if sheet is None or None in found:
        return None
    return load_sheet(
        sheet_path or sheet,
        lexicon_path=lexicon if sheet_path is None else None,
        limits_path=limits,
        unit=load_unit(unit) if unit is not None and of_a_unit else None,
    )
