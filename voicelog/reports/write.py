"""Write a walk's report in its forms: HTML and text, and PDF, CSV and JSON where they are asked for.

Invariant: a report file is whole or not there. All forms are written under other names first,
brought to the disk, and only then given their own names.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from contextlib import suppress
from itertools import takewhile
from pathlib import Path
from typing import Literal, get_args

from voicelog.errors import RecordError
from voicelog.records.removed import told
from voicelog.records.store import Store
from voicelog.reports.contents import ReportContents, report_contents
from voicelog.reports.html import html_report
from voicelog.reports.series import Series, series_of
from voicelog.reports.tables import csv_report, json_report
from voicelog.reports.text import text_report
from voicelog.sheet.model import Sheet
from voicelog.walk.state import WalkState, fold

Form = Literal["html", "txt", "pdf", "csv", "json"]
FORMS: tuple[Form, ...] = get_args(Form)
"""The forms, by the ending of their files."""
USUAL: tuple[Form, ...] = ("html", "txt")
Paper = Literal["Letter", "A4"]


def write_report(
    store: Store,
    walk_id: str,
    sheet: Sheet,
    folder: Path,
    forms: Sequence[Form] = USUAL,
    paper: Paper = "Letter",
) -> tuple[Path, ...]:
    """Write ``<walk>.html`` and so on into ``folder`` and return the paths, in the order of the forms.

    ``sheet`` is the one the walk was made with. Makes the folder when it is not there. Raises
    RecordError for a walk that is not in the record, that this sheet does not fit, or whose report
    cannot be written.
    """
    contents = walk_contents(store, walk_id, sheet)
    chosen = tuple(dict.fromkeys(forms))
    files = {
        folder / f"{walk_id}.{form}": _made(store, walk_id, sheet, contents, form, paper) for form in chosen
    }
    write_all(folder, files)
    return tuple(files)


def _made(
    store: Store, walk_id: str, sheet: Sheet, contents: ReportContents, form: Form, paper: Paper
) -> str | bytes:
    if form == "html":
        return html_report(contents, store.clip)
    if form == "txt":
        return text_report(contents)
    if form == "pdf":
        # Laying out pages loads much; who wants no PDF does not wait for it.
        from voicelog.reports.pdf import pdf_report

        return pdf_report(contents, paper)
    state = fold(sheet, ((stored.at, stored.event) for stored in store.events(walk_id)))
    return csv_report(state, walk_id) if form == "csv" else json_report(state, walk_id, contents)


def walk_contents(store: Store, walk_id: str, sheet: Sheet) -> ReportContents:
    """Return the contents of a walk's report; RecordError as of :func:`write_report`."""
    events = store.events(walk_id)
    if not events:
        raise RecordError(
            f"There is no walk '{walk_id}' in this record.",
            where=str(store.folder),
            remedy="Check its name in the list of walks.",
        )
    silent = store.removal.sound(walk_id)
    try:
        state = fold(sheet, ((stored.at, stored.event) for stored in events))
        return report_contents(
            state,
            walk_id=walk_id,
            problems=store.verify(walk_id),
            head=events[-1].hash,
            clock_set_back=store.clock_set_back(walk_id),
            sound_removed=f"The sound of {walk_id} {told(silent)}." if silent else "",
            series=_series(store, walk_id, state),
        )
    except KeyError as error:
        raise RecordError(
            f"The walk speaks of {error}, which the sheet {sheet.id} does not have.",
            where=f"walk {walk_id}",
            remedy="Use the edition of the sheet and lexicon that the walk was made with.",
        ) from error


def _series(store: Store, walk_id: str, state: WalkState) -> tuple[Series, ...]:
    """Return the readings of a walk's unit and sheet up to that walk; later ones do not change a report."""
    started = state.started
    if started is None:
        return ()
    of_sheet = [w.walk for w in store.walks_of(started.unit_id) if w.sheet_id == started.sheet_id]
    walks = {*takewhile(lambda walk: walk != walk_id, of_sheet), walk_id}
    readings = store.across.readings(started.unit_id, started.sheet_id)
    so_far = [reading for reading in readings if reading.walk in walks]
    here = {(e.claim.point_id, e.claim.reading_id) for e in state.standing()}
    found = series_of(state.sheet, started.unit_id, so_far, store.across.repaired_at())
    return tuple(s for s in found if (s.point_id, s.reading_id) in here)


def write_all(folder: Path, texts: Mapping[Path, str | bytes]) -> None:
    """Write each text or file to its path, none before all are on the disk; RecordError when it cannot be."""
    parts = {path: path.with_name(f".{path.name}.{os.getpid()}.part") for path in texts}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, text in texts.items():
            with parts[path].open("wb") as file:
                file.write(text.encode("utf-8") if isinstance(text, str) else text)
                file.flush()
                os.fsync(file.fileno())
        for path, part in parts.items():
            part.replace(path)
    except OSError as error:
        for part in parts.values():
            with suppress(OSError):
                part.unlink()
        raise RecordError(
            f"The report cannot be written: {error.strerror or error}.",
            # Its name until it is whole means nothing to anybody.
            where=str(folder if error.filename in map(str, parts.values()) else error.filename or folder),
            remedy="Name a folder that you may write to, on a disk with room for it.",
        ) from error
