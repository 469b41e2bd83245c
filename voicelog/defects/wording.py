"""How a defect, and what happened to it, is worded; one place for screens, commands and work orders."""

from __future__ import annotations

from datetime import datetime, timedelta
from fractions import Fraction

from voicelog.defects.book import Defect, Happening
from voicelog.defects.carried import stands
from voicelog.defects.events import (
    DefectClosed,
    DefectConfirmed,
    DefectDeferred,
    DefectHeard,
    DefectRead,
    DefectReopened,
    DefectRepaired,
    HearingTakenBack,
    NoRepairNeeded,
    OfADefect,
    Part,
    RepairCertified,
    SaidSound,
    SentToShop,
    SoundTakenBack,
)
from voicelog.defects.life import SHOWN
from voicelog.limits.rounding import written
from voicelog.meaning.facts import Claim
from voicelog.walk.wording import show_signing_key, show_time

__all__ = [
    "age",
    "certificate",
    "days_between",
    "happened",
    "happening",
    "next_step",
    "show_part",
    "show_past",
    "stands",
    "title",
]

_AT_ONCE = timedelta(minutes=1)
"""What is entered so soon after it happened needs no word of it."""


def title(defect: Defect) -> str:
    """Return what it is: ``left lift cylinder dripping``."""
    return f"{defect.worst.point} {defect.worst.what}"


def age(heard_at: datetime, now: datetime) -> str:
    """Return how long ago it was first heard, in days of the calendar: ``today``, ``3 days``."""
    days = days_between(heard_at, now)
    return "today" if days == 0 else "1 day" if days == 1 else f"{days} days"


def days_between(begin: datetime, end: datetime) -> int:
    """Return how many midnights of the place lie between two times; 0 where ``end`` is not later.

    Each time has the day that its own clock showed: a night in which the clocks are changed is one.
    """
    return max((end.date() - begin.date()).days, 0)


def show_part(part: Part) -> str:
    """Return a part as it is written: ``2 x hose clamp # 40-117``."""
    quantity = "" if part.quantity == 1 else f"{show_number(part.quantity)} x "
    return f"{quantity}{part.name}" + (f" # {part.number}" if part.number else "")


def show_number(number: Fraction) -> str:
    """Return a number as people write it: ``3``, ``1/2``, ``1 1/2``."""
    whole, rest = divmod(number, 1)
    if not rest:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def show_minutes(minutes: int) -> str:
    """Return a time of work: ``45 min``, ``2 h 5 min``."""
    hours, left = divmod(minutes, 60)
    return f"{hours} h {left} min" if hours else f"{left} min"


def show_past(claim: Claim) -> str:
    """Return what an entry says without its sheet: ``dripping``, ``deflection 1/2 inch, within``."""
    if claim.reading_id is not None and claim.value is not None:
        judged = f", {claim.judgement}" if claim.judgement else ""
        judged = judged.replace("above", "above the limit").replace("below", "below the limit")
        name = claim.reading_id.replace("_", " ")
        # What a timed test came to is seldom a number that can be written out.
        number = show_number(claim.value) if claim.low is None else f"{written(claim.value, figures=6):f}"
        return f"{name} {number} {claim.unit or ''}".rstrip() + judged
    return (claim.condition_id or "").replace("_", " ")


def next_step(defect: Defect) -> str:
    """Return what comes next for a defect, and for whom."""
    match defect.state:
        case "heard":
            return "the officer confirms it, defers it or sends it to the shop"
        case "confirmed":
            return "the officer defers it or sends it to the shop"
        case "deferred":
            return "it waits; the officer sends it to the shop when it is due"
        case "in the shop":
            return "the mechanic records the repair, or that none is needed"
        case "repaired" | "no repair needed":
            return "the mechanic certifies it"
        case "certified" if not defect.acknowledged_since_certified:
            return "the next operator acknowledges it and looks at the point"
        case "certified":
            return "an operator looks at the point"
        case _:
            return "nothing is left to do"


def happening(one: Happening) -> str:
    """Return what happened, and when it was entered where that was later."""
    late = one.entered_at - one.at >= _AT_ONCE
    return happened(one.event) + (f" (entered {one.entered_at:%Y-%m-%d %H:%M})" if late else "")


def happened(event: OfADefect) -> str:
    """Return what happened, by whom: ``repaired by K. Osei (mechanic): new seal fitted``."""
    by = f" by {event.by} ({event.role})"
    match event:
        case DefectHeard():
            back = f", came back after {event.came_back_from}" if event.came_back_from else ""
            graded = f" ({event.class_name})" if event.class_name else ""
            return f"heard: {event.point} {event.what}{graded}, in {event.walk}{by}{back}"
        case HearingTakenBack():
            return f"entry {event.entry_id} of {event.walk} taken back{by}: {event.reason}"
        case SaidSound():
            return f"said to be {event.what}, in {event.walk}{by}"
        case SoundTakenBack():
            return f"what was said sound in {event.walk} taken back{by}: {event.reason}"
        case DefectConfirmed():
            return f"confirmed{by}{_why(event.reason)}"
        case DefectDeferred():
            return f"deferred until {event.until.isoformat()}{by}{_why(event.reason)}"
        case SentToShop():
            return f"sent to the shop{by}{_why(event.reason)}"
        case DefectRepaired():
            parts = "; parts: " + ", ".join(show_part(p) for p in event.parts) if event.parts else ""
            time = f"; {show_minutes(event.minutes)}" if event.minutes else ""
            return f"repaired{by}: {event.findings}{parts}{time}"
        case NoRepairNeeded():
            time = f"; {show_minutes(event.minutes)}" if event.minutes else ""
            return f"no repair needed{by}: {event.findings}{time}"
        case RepairCertified():
            why = _why(event.reason)
            return f"certified as {event.certifies}{by}{why}; {show_signing_key(event)}"
        case DefectRead():
            shown = SHOWN.get(event.state, event.state)  # type: ignore[call-overload]
            return f"acknowledged as {shown}, in {event.walk}{by}"
        case DefectClosed():
            return f"closed{by}{_why(event.reason)}"
        case DefectReopened():
            return f"opened again{by}{_why(event.reason)}"


def certificate(at: datetime, event: RepairCertified) -> str:
    """Return a certificate with what 21 CFR 11.50 asks of a signature: name, time with zone, meaning."""
    return (
        f"{event.meaning} {event.by} ({event.role}), {show_time(at)}: {event.certifies}; "
        f"{show_signing_key(event)}"
    )


def _why(reason: str) -> str:
    return f": {reason}" if reason else ""
