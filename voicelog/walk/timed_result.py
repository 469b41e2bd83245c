"""What a run of a timed test comes to: claims with their bounds, and what is in doubt about them.

Pure. A result is logged without a doubt only when every value that it may have, for everything that
may have been said and every moment at which it may have been said, is on one side of its limit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from voicelog.limits.judge import Judgement
from voicelog.limits.timed import (
    Estimate,
    build_up_time,
    covers,
    judgements,
    loss_per_minute,
    read,
)
from voicelog.meaning.computed import say_limit
from voicelog.meaning.facts import Candidate, Claim, Doubt
from voicelog.meaning.interpret import Draft
from voicelog.meaning.wording import say_claim
from voicelog.phrases.numbers import say_value
from voicelog.sheet.model import Sheet, TimedTest
from voicelog.walk.moments import Mark, MayBe
from voicelog.walk.runs import TimedRun

CLOCKS_APART_S = 5
"""By how much the wall clock may differ: what the engine takes to hear a phrase is in it."""


@dataclass(frozen=True, slots=True)
class NoResult:
    """Why nothing can be computed yet."""

    reason: str


def ends(run: TimedRun, sheet: Sheet) -> tuple[Mark, Mark] | NoResult:
    """Return the two marks that a run's result is computed from."""
    if run.test(sheet).reading_id is None:
        return run.marks[0], run.marks[-1]
    taken = run.read()
    if len(taken) < 2:
        return NoResult("two readings are needed" if not taken else "only one reading was given")
    return taken[0], taken[-1]


def seconds_between(first: Mark, last: Mark) -> Estimate:
    """Return the time between two marks. ValueError where they are on two clocks."""
    if first.moment.clock != last.moment.clock:
        raise ValueError("the marks are on two clocks")
    return last.moment.estimate.minus(first.moment.estimate)


def result(run: TimedRun, sheet: Sheet) -> Draft | NoResult:
    """Return what a run's marks come to, with its doubt; or why they come to nothing."""
    found = ends(run, sheet)
    if isinstance(found, NoResult):
        return found
    first, last = found
    test = run.test(sheet)
    if first.moment.clock == last.moment.clock and last.moment.at_s < first.moment.at_s:
        return NoResult("the clock was set back: cancel the test and repeat it")
    try:
        weighed = dict(_claims(run, first, last, sheet))
        nominal = _claim(run, sheet, first.value, last.value, seconds_between(first, last))
    except ValueError as error:
        return NoResult(str(error))
    claim = next(iter(nominal))
    reasons = tuple(dict.fromkeys(_reasons(run, test, first, last)))
    if len(weighed) == 1 and not reasons:
        return Draft(claim, {"claim": 1.0, "value": 1.0})
    doubt = _doubt(run, sheet, claim, weighed, reasons, first, last)
    sure = round(weighed.get(claim, 0.0), 6)
    return Draft(claim, {"claim": sure, "value": sure}, (doubt,))


def by_last_reading(run: TimedRun, sheet: Sheet) -> tuple[tuple[Fraction, Claim], ...]:
    """Return the claim that follows from each value that the last reading may have had.

    Empty where that would not settle the doubt: another mark is in doubt, or a result straddles its
    limit whatever was read.
    """
    found = ends(run, sheet)
    if isinstance(found, NoResult):
        return ()
    first, last = found
    others = [*(mark.doubt for mark in run.marks if mark is not last), *_lost_sound(first, last)]
    settled: list[tuple[Fraction, Claim]] = []
    for maybe in last.candidates:
        at = last.model_copy(update={"value": maybe.value})
        try:
            claims = _claim(run, sheet, first.value, maybe.value, seconds_between(first, at))
        except ValueError:
            return ()
        if len(claims) > 1 or any(_senseless(run.test(sheet), first.value, maybe.value)):
            return ()
        settled.append((maybe.value, next(iter(claims))))
    return () if any(others) else tuple(settled)


def answerable(run: TimedRun, sheet: Sheet, claims: tuple[Claim, ...]) -> bool:
    """Return whether a yes or no settles a doubtful result: it was only not heard clearly enough."""
    found = ends(run, sheet)
    if isinstance(found, NoResult) or len(set(claims)) != 1:
        return False
    first, last = found
    wrong = (*_senseless(run.test(sheet), first.value, last.value), *_lost_sound(first, last))
    return not wrong


def say_reading(run: TimedRun, sheet: Sheet, value: Fraction) -> str:
    """Return a reading of a test as it is said back: ``one hundred eight``."""
    reading = sheet.points[run.point_id].reading(run.test(sheet).reading_id or "")
    return say_value(value, reading.resolution)


def _claims(run: TimedRun, first: Mark, last: Mark, sheet: Sheet) -> Iterator[tuple[Claim, float]]:
    """Yield every claim that the result may be, with its share; of equal claims only once."""
    seconds = seconds_between(first, last)
    weights: dict[Claim, float] = {}
    for begun in _values(first):
        for ended in _values(last):
            chance = begun.posterior * ended.posterior
            start, end = _value(first, begun), _value(last, ended)
            for claim, part in _claim(run, sheet, start, end, seconds).items():
                weights[claim] = weights.get(claim, 0.0) + chance * part
    yield from sorted(weights.items(), key=lambda item: (-item[1], item[0].polarity == "sound"))


def _values(mark: Mark) -> tuple[MayBe, ...]:
    return mark.candidates or (MayBe(value=Fraction(0), posterior=1.0),)


def _value(mark: Mark, maybe: MayBe) -> Fraction | None:
    return maybe.value if mark.candidates else None


def _claim(
    run: TimedRun, sheet: Sheet, first: Fraction | None, last: Fraction | None, seconds: Estimate
) -> dict[Claim, float]:
    """Return what two readings come to: one claim, or one for each side of a limit that it straddles.

    The one of the value itself is first. ValueError, worded for the operator, where nothing follows.
    """
    test = run.test(sheet)
    estimate = _estimate(run, test, sheet, first, last, seconds)
    may_be = judgements(estimate, test.result.limit)
    # Where the truth lies between its bounds is not known: neither side of the limit is likelier.
    return {_made(run, test, estimate, judgement): 1 / len(may_be) for judgement in may_be}


def _estimate(
    run: TimedRun,
    test: TimedTest,
    sheet: Sheet,
    first: Fraction | None,
    last: Fraction | None,
    seconds: Estimate,
) -> Estimate:
    if test.kind == "duration":
        return seconds
    assert first is not None and last is not None and test.reading_id is not None
    resolution = sheet.points[run.point_id].reading(test.reading_id).resolution
    begun, ended = read(first, resolution), read(last, resolution)
    if seconds.low <= 0:
        raise ValueError("the readings are too close in time")
    if test.kind == "loss":
        return loss_per_minute(begun, ended, seconds)
    assert test.span is not None
    if ended.minus(begun).low <= 0:
        raise ValueError("the reading has not risen enough")
    return build_up_time(begun, ended, seconds, test.span)


def _made(run: TimedRun, test: TimedTest, estimate: Estimate, judgement: Judgement) -> Claim:
    return Claim(
        point_id=run.point_id,
        reading_id=test.id,
        value=estimate.value,
        unit=test.result.unit,
        judgement=judgement,
        polarity="defect" if judgement in ("below", "above") else "sound",
        low=estimate.low,
        high=estimate.high,
    )


def _reasons(run: TimedRun, test: TimedTest, first: Mark, last: Mark) -> Iterator[str]:
    """Yield what speaks against the result beside its bounds."""
    yield from (mark.doubt for mark in run.marks if mark.doubt)
    yield from _senseless(test, first.value, last.value)
    yield from _lost_sound(first, last)


def _lost_sound(first: Mark, last: Mark) -> Iterator[str]:
    """Yield a reason where the clock of a microphone and the wall clock do not agree."""
    if first.moment.wall_s is None or last.moment.wall_s is None:
        return
    apart = abs((last.moment.wall_s - first.moment.wall_s) - (last.moment.at_s - first.moment.at_s))
    if apart > CLOCKS_APART_S:
        yield "the clock of the sound and the wall clock do not agree: sound may have been lost"


def _senseless(test: TimedTest, first: Fraction | None, last: Fraction | None) -> Iterator[str]:
    if first is None or last is None:
        return
    if test.kind == "loss" and last > first:
        yield "the reading rose"
    if test.span is not None and not covers(first, last, test.span):
        yield "the readings cover too little of what the test is stated for"


def _doubt(
    run: TimedRun,
    sheet: Sheet,
    claim: Claim,
    weighed: dict[Claim, float],
    reasons: tuple[str, ...],
    first: Mark,
    last: Mark,
) -> Doubt:
    limit = say_limit(run.test(sheet).result, sheet.lexicon)
    candidates = tuple(
        Candidate(claim=c, posterior=round(p, 6), said=_said(c, sheet)) for c, p in weighed.items()
    )
    numbers = by_last_reading(run, sheet)
    said = say_claim(claim, sheet)
    if len(numbers) > 1:
        name = sheet.points[run.point_id].full_name
        either = " or ".join(say_reading(run, sheet, value) for value, _ in numbers)
        question = f"{name} {run.test(sheet).name}: was the last reading {either}?"
    elif answerable(run, sheet, tuple(weighed)):
        readings = ""
        if first.value is not None and last.value is not None:
            both = (say_reading(run, sheet, first.value), say_reading(run, sheet, last.value))
            readings = f", from {both[0]} to {both[1]}"
        question = f"{said}{readings}: affirmative or negative?"
    else:
        question = f"{said}: the limit is {limit}. Repeat the test for longer, or leave it to the officer."
    straddles = len({c.value for c in weighed}) < len(weighed)
    reason = "; ".join(reasons) or (
        "its bounds are on both sides of the limit" if straddles else "more than one was possible"
    )
    return Doubt(slot="value", question=question, reason=reason, candidates=candidates)


def _said(claim: Claim, sheet: Sheet) -> str:
    where = {"within": "within the limit", "below": "below the limit", "above": "above the limit"}
    return f"{say_claim(claim, sheet)}, {where.get(claim.judgement or '', 'no limit')}"
