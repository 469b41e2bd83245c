"""How a walk is begun and taken up again: what its first event says, and what must be so."""

from __future__ import annotations

import unicodedata

from voicelog import __version__
from voicelog.errors import WalkError
from voicelog.hearing.recogniser import Recogniser
from voicelog.records.store import Store
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.events import WalkStarted
from voicelog.walk.state import WalkState, fold


def walk_started(
    sheet: Sheet, unit: Unit, recogniser: Recogniser | None, operator: str, source: str
) -> WalkStarted:
    """Return the first event of a new walk; ``operator`` as :func:`operator_name` gives it."""
    return WalkStarted(
        unit_id=unit.id,
        unit_name=unit.name,
        station=unit.station,
        identification=unit.identification,
        sheet_id=sheet.id,
        sheet_title=sheet.title,
        sheet_sha256=sheet.sha256,
        lexicon_sha256=sheet.lexicon.sha256,
        operator=operator,
        recogniser=recogniser.name if recogniser else "keyboard",
        model_sha256=recogniser.model_sha256 if recogniser else "",
        version=__version__,
        source=source,
        extent=sheet.extent,
        limits_sha256=sheet.limits_sha256,
        unit_sha256=sheet.unit_sha256,
    )


def walk_as_left(store: Store, sheet: Sheet, walk_id: str) -> WalkState:
    """Return the state in which an unfinished walk was left.

    Raises :class:`WalkError` when it was made with another edition of the sheet or lexicon.
    """
    stored = store.events(walk_id)
    started = stored[0].event if stored else None
    if not isinstance(started, WalkStarted):
        raise WalkError(f"there is no walk {walk_id}", remedy="list them with: voicelog walks")
    if started.edition_key != sheet.edition_key:
        raise WalkError(
            f"the walk {walk_id} was begun with another edition of {_changed(started, sheet)}",
            where=sheet.path,
            remedy="put that edition back, or begin a new walk with --new",
        )
    state = fold(sheet, ((s.at, s.event) for s in stored))
    if state.finished is not None:
        raise WalkError(f"the walk {walk_id} is complete", remedy="begin a new walk")
    return state


def _changed(started: WalkStarted, sheet: Sheet) -> str:
    """Return what of a sheet is of another edition than the walk was begun with."""
    if started.edition_key[:2] != sheet.edition_key[:2]:
        return f"the sheet {sheet.id}"
    return "the unit's file" if started.unit_sha256 != sheet.unit_sha256 else "the tables of limits"


def operator_name(operator: str) -> str:
    """Return a name as it goes on record; WalkError where it is none."""
    name = operator.strip()
    if not name:
        raise WalkError("a walk needs a name", remedy="say who inspects: --operator NAME")
    # Cc: control characters; Cs: bytes that were not text. Neither can be read by an officer.
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in name):
        raise WalkError(
            "the operator's name holds characters that cannot be shown",
            remedy="write it with letters, spaces and marks",
        )
    return name
