"""How a walk's facts are worded; one place for every view and report."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol

from voicelog.meaning.facts import Claim
from voicelog.meaning.wording import say_claim, say_what, show_limit, show_quantity, show_value
from voicelog.sheet.model import Sheet

__all__ = [
    "grade",
    "say_claim",
    "say_what",
    "show_chance",
    "show_claim",
    "show_judgement",
    "show_key",
    "show_limit",
    "show_quantity",
    "show_signing_key",
    "show_time",
    "show_value",
    "show_what",
    "show_zone",
]

_JUDGED = {
    "below": "below the limit",
    "above": "above the limit",
    "within": "within the limit",
    "no limit": "no limit on this sheet",
}
_CHANCES = (
    (0.95, "almost certain"),
    (0.8, "likely"),
    (0.5, "more likely than not"),
    (0.2, "possible"),
    (0.05, "unlikely"),
)


def show_zone(at: datetime) -> str:
    """Return the offset of a time: ``UTC-05:00``."""
    return f"UTC{at.isoformat(timespec='seconds')[19:]}"


def show_time(at: datetime) -> str:
    """Return a time that stands alone: ``2026-11-25 07:10:04 UTC-05:00``."""
    return f"{at:%Y-%m-%d %H:%M:%S} {show_zone(at)}"


class Signature(Protocol):
    """A signature that may have been made with a key."""

    @property
    def key_id(self) -> str:
        """The id of the key; empty where it was only named."""


def show_signing_key(signed: Signature) -> str:
    """Return which key a signature is made with: ``signed with key 1a2b...``."""
    if not signed.key_id:
        return "not signed with a key"
    return f"signed with key {show_key(signed.key_id)}"


def show_key(key_id: str) -> str:
    """Return a key's id as people compare it: its first 16 digits in fours."""
    return " ".join(key_id[place : place + 4] for place in range(0, 16, 4))


def show_what(claim: Claim, sheet: Sheet) -> str:
    """Return what is said of the point as it is written: ``dripping``, ``deflection 1/2 in``."""
    if claim.reading_id is None:
        return say_what(claim, sheet)
    return f"{sheet.points[claim.point_id].reading(claim.reading_id).name} {show_value(claim, sheet)}"


def show_claim(claim: Claim, sheet: Sheet) -> str:
    """Return the claim as it is written: ``front battery voltage 12.6 V``."""
    return f"{sheet.points[claim.point_id].full_name} {show_what(claim, sheet)}"


def grade(claim: Claim, sheet: Sheet) -> str:
    """Return how a claim counts: ``sound``, ``defect, class three leak``, ``defect, above the limit``."""
    words: list[str] = [claim.polarity]
    known = sheet.lexicon.classes.get(claim.class_id or "")
    if known:
        words.append(known.name)
    if claim.judgement is not None:
        words.append(show_judgement(claim))
    return ", ".join(words)


def show_judgement(claim: Claim) -> str:
    """Return a reading's judgement: ``within the limit``; ``not judged`` where there is none."""
    return _JUDGED[claim.judgement] if claim.judgement is not None else "not judged"


def show_chance(probability: float) -> str:
    """Return a probability in words and as a number: ``likely, 84 %``."""
    if probability == 0.5:
        return "as likely as not, 50 %"
    words = next((said for least, said in _CHANCES if probability >= least), "very unlikely")
    if probability > 0.99:
        return f"{words}, over 99 %"
    if probability < 0.01:
        return f"{words}, under 1 %"
    return f"{words}, {probability * 100:.0f} %"
