"""A walk's facts as rows for other programs: CSV and JSON with documented columns.

CSV is RFC 4180: UTF-8, a comma, CRLF, quotes where needed. A byte order mark comes first: without it a
spreadsheet takes names in other letters for another code. A cell that a spreadsheet would run as a formula
begins with an apostrophe (OWASP, "CSV Injection"); JSON has every text as it is.
"""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from voicelog.reports.parts import ReportContents
from voicelog.reports.plain import plain
from voicelog.walk.review import signed_whole
from voicelog.walk.state import Entry, WalkState
from voicelog.walk.wording import show_judgement, show_signing_key, show_time, show_what

FORMAT = "voicelog walk report, version 1"
_FORMULA = tuple("=+-@\t\r")
_NUMBER = re.compile(r"-?\d+(\.\d+)?", re.ASCII)
_BYTE_ORDER_MARK = "\ufeff"


@dataclass(frozen=True, slots=True)
class Row:
    """One entry of a walk, as it now stands. The fields are the columns, in order."""

    walk: str
    unit: str
    sheet: str
    stop: str
    point: str
    side: str
    """``left``, ``right`` or empty."""
    entry: str
    """Its id in the walk; empty on a point that nothing was said of."""
    said_at: str
    """ISO 8601 with UTC offset."""
    finding: str
    """``dripping``, ``deflection 1/2 in``."""
    polarity: str
    """``sound`` or ``defect``; empty while in doubt."""
    defect_class: str
    reading: str
    value: str
    """The number that was said, exactly: ``1/2``."""
    measure: str
    """Its unit."""
    judgement: str
    """``within the limit``, ``above the limit``...; empty where there is no reading."""
    status: str
    """``standing``, ``in doubt``, ``replaced``, ``withdrawn`` or ``not covered``."""
    posterior: str
    """How sure the recogniser was, 0 to 1."""
    heard: str
    how: str
    """``speech``, ``keyboard``..."""
    clip: str
    """SHA-256 of its sound."""
    by: str
    """The operator."""
    signed: str
    """Every signature of the walk: meaning, name, role, date and time with zone, key, decision."""


COLUMNS = tuple(field.name for field in dataclasses.fields(Row))


def rows(state: WalkState, walk_id: str) -> tuple[Row, ...]:
    """Return every entry in the order logged, then the required points that are not covered."""
    found = [_row(state, walk_id, entry) for entry in state.entries.values()]
    for point in state.missing():
        if state.status(point.id) == "open":
            found.append(_of_point(state, walk_id, point.id, status="not covered"))
    return tuple(found)


def csv_report(state: WalkState, walk_id: str) -> str:
    """Return the rows as CSV, the columns' names first."""
    return as_csv(COLUMNS, (dataclasses.astuple(row) for row in rows(state, walk_id)))


def as_csv(columns: Iterable[str], found: Iterable[Iterable[str]]) -> str:
    """Return a table as CSV, the columns' names first; no cell is a formula."""
    out = io.StringIO(newline="")
    out.write(_BYTE_ORDER_MARK)
    writer = csv.writer(out)
    writer.writerow(columns)
    for row in found:
        # A negative number is no formula, and whoever reads the table wants it as a number.
        writer.writerow([text if _NUMBER.fullmatch(text) else safe_cell(text) for text in row])
    return out.getvalue()


def json_report(state: WalkState, walk_id: str, contents: ReportContents) -> str:
    """Return the rows and all that the report shows as JSON."""
    whole = {
        "format": FORMAT,
        "walk": walk_id,
        "rows": [dataclasses.asdict(row) for row in rows(state, walk_id)],
        "report": dataclasses.asdict(contents),
    }
    return as_json(whole)


def as_json(whole: object) -> str:
    """Return JSON: an exact number as text (``3/8``), a time in ISO 8601."""
    return json.dumps(whole, indent=1, ensure_ascii=False, default=_text) + "\n"


def _text(value: object) -> str:
    return value.isoformat() if isinstance(value, date) else str(value)


def safe_cell(text: str) -> str:
    """Return the text on one line, so that no spreadsheet takes it for a formula."""
    shown = plain(text)
    # NFKC: the full-width signs of East Asian keyboards are taken for the plain ones.
    begins = unicodedata.normalize("NFKC", shown).lstrip("\ufffd ")
    return f"'{shown}" if begins.startswith(_FORMULA) else shown


def _of_point(state: WalkState, walk_id: str, point_id: str, *, status: str) -> Row:
    point, started = state.sheet.points[point_id], state.started
    return Row(
        walk=walk_id,
        unit=started.unit_name if started else "",
        sheet=started.sheet_title if started else "",
        stop=state.sheet.stop(point.stop_id).name,
        point=point.full_name,
        side="" if point.side == "none" else point.side,
        entry="",
        said_at="",
        finding="",
        polarity="",
        defect_class="",
        reading="",
        value="",
        measure="",
        judgement="",
        status=status,
        posterior="",
        heard="",
        how="",
        clip="",
        by=started.operator if started else "",
        signed=_signed(state),
    )


def _signed(state: WalkState) -> str:
    """Return the signatures as 21 CFR 11.50 asks of any form that people read, this one too."""
    told = (
        ("" if signed_whole(state, made) else "CHANGED SINCE SIGNED: ")
        + f"{made.meaning} {made.by}, {made.role}, {show_time(at)}, {show_signing_key(made)}"
        + ("" if made.decision == "none" else f", {made.decision}")
        for at, made in state.signatures
    )
    return "; ".join(told) or "not signed"


def _row(state: WalkState, walk_id: str, entry: Entry) -> Row:
    claim, logged = entry.claim, entry.logged
    given = claim.reading_id is not None and not entry.in_doubt
    return dataclasses.replace(
        _of_point(state, walk_id, claim.point_id, status="in doubt" if entry.in_doubt else entry.status),
        entry=entry.entry_id,
        by=entry.by,
        said_at=entry.at.isoformat(),
        finding=show_what(claim, state.sheet),
        polarity="" if entry.in_doubt else claim.polarity,
        defect_class=claim.class_id or "",
        reading=claim.reading_id or "",
        value=str(claim.value) if claim.value is not None else "",
        measure=claim.unit or "",
        judgement=show_judgement(claim) if given else "",
        posterior=f"{logged.posterior['claim']:.4f}" if "claim" in logged.posterior else "",
        heard=logged.heard.text,
        how=logged.heard.how,
        clip=logged.heard.clip or "",
    )
