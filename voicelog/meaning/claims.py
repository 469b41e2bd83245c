"""Making claims: polarity, class and judgement always come from the sheet, never from a caller."""

from __future__ import annotations

from fractions import Fraction

from voicelog.errors import WalkError
from voicelog.limits.judge import judge
from voicelog.limits.timed import Estimate, judgements
from voicelog.meaning.facts import Claim
from voicelog.sheet.model import Sheet


def make_claim(
    sheet: Sheet,
    point_id: str,
    *,
    condition_id: str | None = None,
    reading_id: str | None = None,
    value: Fraction | None = None,
) -> Claim:
    """Return the claim that a point has a condition, or that a reading has a value.

    Raises :class:`WalkError` when the sheet does not allow it: no such point, a condition that
    cannot be said of the point, a reading it does not have, a value outside the plausible range.
    """
    point = sheet.points.get(point_id)
    if point is None:
        raise WalkError(
            f"the sheet {sheet.id} has no point {point_id}", remedy="choose one of the sheet's points"
        )
    if condition_id is not None:
        condition = sheet.lexicon.conditions.get(condition_id)
        if condition is None or condition.aspect not in point.aspects:
            raise WalkError(
                f"{condition_id} cannot be said of {point.full_name}",
                remedy="choose a condition of one of its aspects: " + ", ".join(point.aspects),
            )
        return Claim(
            point_id=point_id,
            condition_id=condition_id,
            polarity=condition.polarity,
            class_id=condition.class_id,
        )
    reading = next((r for r in point.readings if r.id == reading_id), None)
    if reading is None or value is None:
        raise WalkError(
            f"{point.full_name} has no reading {reading_id}",
            remedy="choose one of: " + (", ".join(r.id for r in point.readings) or "it has no readings"),
        )
    if not reading.low <= value <= reading.high:
        raise WalkError(
            f"{value} is outside what {point.full_name} {reading.name} can plausibly be",
            remedy=f"give a value from {reading.low} to {reading.high} {reading.unit}",
        )
    judgement = judge(value, reading.limit)
    return Claim(
        point_id=point_id,
        reading_id=reading.id,
        value=value,
        unit=reading.unit,
        judgement=judgement,
        polarity="defect" if judgement in ("below", "above") else "sound",
    )


def computed_fits(sheet: Sheet, claim: Claim) -> bool:
    """Return whether a claim is one that a computed value or a timed test of the sheet can come to.

    Its judgement must be one of those that its bounds allow.
    """
    point = sheet.points.get(claim.point_id)
    results = () if point is None else point.measured[len(point.readings) :]
    result = next((r for r in results if r.id == claim.reading_id), None)
    if result is None or claim.value is None or claim.low is None or claim.high is None:
        return False
    if not claim.low <= claim.value <= claim.high:
        return False
    may_be = judgements(Estimate(claim.value, claim.low, claim.high), result.limit)
    outside = claim.judgement in ("below", "above")
    return claim.judgement in may_be and claim.polarity == ("defect" if outside else "sound")


def can_be_said(sheet: Sheet, point_id: str, condition_id: str) -> bool:
    """Return whether a condition is one of those that can be said of a point."""
    return sheet.lexicon.conditions[condition_id].aspect in sheet.points[point_id].aspects


def same_matter(sheet: Sheet, a: Claim, b: Claim) -> bool:
    """Return whether two claims speak of the same thing at one point: one aspect, or one reading.

    The general aspect ("good", "bad") speaks of everything.
    """
    if a.point_id != b.point_id:
        return False
    if a.reading_id is not None or b.reading_id is not None:
        return a.reading_id == b.reading_id
    aspects = {aspect_of(sheet, a), aspect_of(sheet, b)}
    return len(aspects) == 1 or "general" in aspects


def aspect_of(sheet: Sheet, claim: Claim) -> str | None:
    """Return the aspect of a condition; None for a reading."""
    return sheet.lexicon.conditions[claim.condition_id].aspect if claim.condition_id else None
