"""What people do about a defect outside a walk, as events; pure.

Each function returns the event to append, or raises DefectError with what to do instead. That the
life of the defect allows it is checked here, before anything is written.
"""

from __future__ import annotations

import re
from datetime import date
from fractions import Fraction
from typing import TypeVar

from voicelog.defects.book import Defect, act_of
from voicelog.defects.events import (
    DefectClosed,
    DefectConfirmed,
    DefectDeferred,
    DefectReopened,
    DefectRepaired,
    NoRepairNeeded,
    OfADefect,
    Part,
    RepairCertified,
    Role,
    SentToShop,
)
from voicelog.defects.life import after
from voicelog.errors import DefectError, GrammarError
from voicelog.sheet.quantities import parse_quantity

_PART = re.compile(r"(?:(?P<quantity>[\d./ ]*\d)\s*x\s+)?(?P<name>[^#]+?)(?:\s*#\s*(?P<number>\S.*))?")
_MOST_MINUTES = 60 * 24 * 31

E = TypeVar("E", bound=OfADefect)


def confirm(defect: Defect, *, by: str, role: Role, reason: str = "") -> DefectConfirmed:
    """Return the officer's word that the defect is one."""
    return _allowed(
        defect,
        DefectConfirmed(defect_id=defect.defect_id, by=_name(by), role=role, reason=reason.strip()),
    )


def defer(defect: Defect, *, until: date, today: date, by: str, role: Role, reason: str) -> DefectDeferred:
    """Return the officer's decision that the repair waits until a day, with the reason."""
    if until <= today:
        raise DefectError(
            f"a defect cannot be deferred to {until.isoformat()}: that is not after today",
            where=defect.defect_id,
            remedy="give a later day, as year-month-day",
        )
    reason = _words(reason, "deferring a defect needs a reason", "say why it can wait, in a few words")
    event = DefectDeferred(defect_id=defect.defect_id, until=until, by=_name(by), role=role, reason=reason)
    return _allowed(defect, event)


def send(defect: Defect, *, by: str, role: Role, reason: str = "") -> SentToShop:
    """Return that the defect is handed to the shop."""
    return _allowed(
        defect, SentToShop(defect_id=defect.defect_id, by=_name(by), role=role, reason=reason.strip())
    )


def repair(
    defect: Defect, *, by: str, role: Role, findings: str, parts: tuple[Part, ...] = (), minutes: int = 0
) -> DefectRepaired:
    """Return the work record of a repair."""
    findings = _words(findings, "a repair needs its findings", "say what was found and what was done")
    event = DefectRepaired(
        defect_id=defect.defect_id,
        by=_name(by),
        role=role,
        findings=findings,
        parts=parts,
        minutes=_minutes(minutes),
    )
    return _allowed(defect, event)


def need_no_repair(defect: Defect, *, by: str, role: Role, findings: str, minutes: int = 0) -> NoRepairNeeded:
    """Return that the shop looked and found nothing to repair, with why."""
    findings = _words(
        findings, "'no repair needed' needs its findings", "say what was looked at, and why nothing is needed"
    )
    event = NoRepairNeeded(
        defect_id=defect.defect_id, by=_name(by), role=role, findings=findings, minutes=_minutes(minutes)
    )
    return _allowed(defect, event)


def certify(defect: Defect, *, by: str, role: Role, reason: str = "") -> RepairCertified:
    """Return the certificate that the defect was repaired, or that no repair is needed."""
    event = RepairCertified(
        defect_id=defect.defect_id,
        by=_name(by),
        role=role,
        certifies="no repair needed" if defect.state == "no repair needed" else "repaired",
        reason=reason.strip(),
    )
    return _allowed(defect, event)


def close(defect: Defect, *, by: str, role: Role, reason: str) -> DefectClosed:
    """Return the officer's closing of a certified and acknowledged defect that no walk has closed."""
    if role != "officer":
        raise DefectError(
            f"a defect is not closed by the {role} at a desk",
            where=defect.defect_id,
            remedy="a walk that finds the point sound closes it, or the officer does",
        )
    reason = _words(reason, "closing a defect needs a reason", "say why no walk needs to look at it first")
    event = DefectClosed(defect_id=defect.defect_id, by=_name(by), role=role, reason=reason)
    _allowed(defect, event)
    if not defect.acknowledged_since_certified:
        raise DefectError(
            "the repair is certified, but no operator has acknowledged it since",
            where=defect.defect_id,
            remedy="it is read out at the beginning of the unit's next walk",
        )
    return event


def reopen(defect: Defect, *, by: str, role: Role, reason: str) -> DefectReopened:
    """Return that what was repaired, or needed no repair, is open again."""
    reason = _words(reason, "opening a defect again needs a reason", "say what is wrong with the repair")
    return _allowed(
        defect, DefectReopened(defect_id=defect.defect_id, by=_name(by), role=role, reason=reason)
    )


def part(text: str) -> Part:
    """Return a part as it is written: ``2 x hose clamp # 40-117``; quantity and number may be left out."""
    found = _PART.fullmatch(text.strip())
    if found is None:
        raise DefectError(
            f"'{text}' is not a part", remedy="write it as: 2 x hose clamp # 40-117, or just its name"
        )
    written = found["quantity"]
    try:
        quantity = parse_quantity(written.strip()) if written else Fraction(1)
    except (ValueError, GrammarError) as error:
        raise DefectError(
            f"'{written}' is not a quantity", remedy="write it as a number: 2, 1/2 or 1.5"
        ) from error
    if quantity <= 0:
        raise DefectError(f"'{text}' fits nothing: its quantity is nought", remedy="leave the part out")
    return Part(name=found["name"].strip(), quantity=quantity, number=(found["number"] or "").strip())


def _allowed(defect: Defect, event: E) -> E:
    after(defect.state, act_of(defect, event), event.role, defect.defect_id)
    return event


def _name(by: str) -> str:
    name = " ".join(by.split())
    if not name:
        raise DefectError("a name is missing", remedy="say who does this")
    return name


def _words(text: str, what: str, remedy: str) -> str:
    if not text.strip():
        raise DefectError(what, remedy=remedy)
    return text.strip()


def _minutes(minutes: int) -> int:
    if not 0 <= minutes <= _MOST_MINUTES:
        raise DefectError(f"{minutes} minutes of work cannot be", remedy="give the minutes that were worked")
    return minutes
