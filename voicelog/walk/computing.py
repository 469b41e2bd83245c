"""Values computed from a point's readings, logged when the readings are given; pure.

A result is an entry like any other, save that nobody said it: it names the entries it was computed
from (``computed_from``), and counts only while those stand as they were. It is logged without a doubt
only when every value that it may have is on one side of its limit and could be.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction

from voicelog.limits.computed import compute
from voicelog.limits.timed import judgements, read
from voicelog.meaning.facts import Candidate, Claim, Doubt
from voicelog.meaning.wording import say_claim, show_limit
from voicelog.sheet.model import MAY_BE_MISSING, Computed, Point
from voicelog.walk.events import EntryLogged, Event
from voicelog.walk.replies import Outcome, Reply
from voicelog.walk.state import Entry, WalkState, apply

_BEFORE = datetime.min.replace(tzinfo=UTC)
_MOST = 64
"""Combinations of what the readings may have been; with more the result says no more."""


@dataclass(frozen=True, slots=True)
class _Result:
    claims: tuple[tuple[Claim, Fraction], ...]
    """What the result may be, with the share of each, likeliest first."""
    reasons: tuple[str, ...]
    inputs: tuple[Entry, ...]


def with_computed(state: WalkState, outcome: Outcome) -> Outcome:
    """Return an outcome with the results that follow from it, and their replies."""
    events = follow_up(state, outcome.events, asks=True)
    replies = tuple(_reply(event, state) for event in events)
    return Outcome((*outcome.events, *events), (*outcome.replies, *replies))


def follow_up(state: WalkState, events: tuple[Event, ...], *, asks: bool = False) -> tuple[EntryLogged, ...]:
    """Return the results that follow from the events, to be committed with them.

    With ``asks``, as in a walk, a result that is now sound where it was a defect is a doubt; an
    officer's correction has a reason already.
    """
    if not events or not any(point.computed for point in state.sheet.points.values()):
        return ()
    after = state
    for event in events:
        after = apply(after, event, state.last_at or _BEFORE)
    found: list[EntryLogged] = []
    for point in state.sheet.points.values():
        for computed in point.computed:
            result = _result(after, point, computed)
            if result is not None:
                number = len(after.entries) + len(found) + 1
                found.append(_logged(after, computed, result, f"e{number}", asks))
    return tuple(found)


def _reply(event: EntryLogged, state: WalkState) -> Reply:
    if event.doubts:
        return Reply("doubt", event.doubts[0].question)
    reading = state.sheet.points[event.claim.point_id].reading(event.claim.reading_id or "")
    outside = event.claim.judgement in ("above", "below")
    limit = f", {event.claim.judgement} the limit, {show_limit(reading, state.sheet.lexicon)}"
    return Reply("taken", say_claim(event.claim, state.sheet) + (limit if outside else ""))


def _result(state: WalkState, point: Point, computed: Computed) -> _Result | None:
    """Return what a computed value comes to now; None where a reading is missing or nothing has changed."""
    inputs: dict[str, Entry] = {}
    for role, reading_id in computed.inputs:
        entry = _latest(state, point, reading_id)
        if entry is None:
            if role not in MAY_BE_MISSING:
                return None
            continue
        inputs[role] = entry
    ids = tuple(dict.fromkeys(e.entry_id for e in inputs.values()))
    mine = (point.id, computed.reading.id)
    if any(
        # One that a person has taken back is not logged again.
        e.logged.computed_from == ids and e.status != "replaced"
        for e in state.entries.values()
        if (e.claim.point_id, e.claim.reading_id) == mine
    ):
        return None
    shares: dict[Claim, Fraction] = {}
    reasons = [f"{say_claim(e.claim, state.sheet)} is in doubt" for e in inputs.values() if e.in_doubt]
    may_be = {role: _values(e, point, dict(computed.inputs)[role]) for role, e in inputs.items()}
    combined = list(itertools.islice(itertools.product(*may_be.values()), _MOST))
    for values in combined:
        claims = _claims(point, computed, dict(zip(may_be, values, strict=True)), reasons)
        for claim in claims:
            part = Fraction(1, len(combined) * len(claims))
            shares[claim] = shares.get(claim, Fraction(0)) + part
    if not shares:
        return None
    ranked = sorted(shares.items(), key=lambda item: (-item[1], item[0].polarity == "sound"))
    return _Result(tuple(ranked), tuple(dict.fromkeys(reasons)), tuple(inputs.values()))


def _latest(state: WalkState, point: Point, reading_id: str) -> Entry | None:
    """Return the last entry that gives, or may give, a reading of a point."""
    given = [e for e in state.of_point(point.id) if _values(e, point, reading_id)]
    return given[-1] if given else None


def _values(entry: Entry, point: Point, reading_id: str) -> tuple[Fraction, ...]:
    """Return the values of a reading that an entry says; of one in doubt, all that it may say."""
    claims = [entry.claim]
    if entry.in_doubt:
        claims += [c.claim for doubt in entry.logged.doubts for c in doubt.candidates]
    mine = [c.value for c in claims if (c.point_id, c.reading_id) == (point.id, reading_id)]
    return tuple(dict.fromkeys(value for value in mine if value is not None))


def _claims(
    point: Point, computed: Computed, values: dict[str, Fraction], reasons: list[str]
) -> tuple[Claim, ...]:
    """Return what readings come to: one claim, or one for each side of a limit that it straddles."""
    ids = dict(computed.inputs)
    try:
        found = compute(
            computed, {role: read(v, point.reading(ids[role]).resolution) for role, v in values.items()}
        )
    except ValueError:
        return ()
    result = computed.reading
    sides = judgements(found, result.limit)
    if len(sides) > 1:
        reasons.append("its bounds are on both sides of the limit")
    if not result.low <= found.value <= result.high:
        reasons.append("it cannot be: look at the readings again")
    return tuple(
        Claim(
            point_id=point.id,
            reading_id=result.id,
            value=found.value,
            unit=result.unit,
            judgement=side,
            polarity="defect" if side in ("below", "above") else "sound",
            low=found.low,
            high=found.high,
        )
        for side in sides
    )


def _logged(state: WalkState, computed: Computed, result: _Result, entry_id: str, asks: bool) -> EntryLogged:
    claim, share = result.claims[0]
    reasons, claims = result.reasons, result.claims
    earlier = _failed_before(state, claim) if asks and claim.polarity == "sound" else None
    if earlier is not None:
        reasons = (*reasons, f"{say_claim(earlier, state.sheet)} was logged before")
        claims = (*claims, (earlier, share))
    doubts: tuple[Doubt, ...] = ()
    if reasons or len(claims) > 1:
        doubts = (_doubt(state, claim, claims, reasons),)
    order = list(state.entries)
    last = max(result.inputs, key=lambda e: order.index(e.entry_id)).logged.heard
    replaced = [
        e.entry_id
        for e in state.entries.values()
        if e.logged.computed_from and _same(e.claim, claim) and e.status in ("standing", "doubt", "replaced")
    ]
    sure = float(share) if doubts else 1.0
    return EntryLogged(
        entry_id=entry_id,
        claim=claim,
        heard=last,
        posterior={"claim": sure, "value": sure},
        doubts=doubts,
        corrects=replaced[-1] if replaced else None,
        computed_from=tuple(dict.fromkeys(e.entry_id for e in result.inputs)),
    )


def _same(a: Claim, b: Claim) -> bool:
    return (a.point_id, a.reading_id) == (b.point_id, b.reading_id)


def _failed_before(state: WalkState, claim: Claim) -> Claim | None:
    """Return the defect that the same result was before, without a doubt; None where it never was."""
    found: Claim | None = None
    for entry in state.entries.values():
        sure = not entry.logged.doubts or bool(entry.changes)
        if _same(entry.claim, claim) and sure and entry.status != "withdrawn":
            found = entry.claim if entry.claim.polarity == "defect" else found
    return found


def _doubt(
    state: WalkState, claim: Claim, claims: tuple[tuple[Claim, Fraction], ...], reasons: tuple[str, ...]
) -> Doubt:
    reading = state.sheet.points[claim.point_id].reading(claim.reading_id or "")
    limit = "" if reading.limit is None else f": the limit is {show_limit(reading, state.sheet.lexicon)}"
    return Doubt(
        slot="value",
        question=f"{say_claim(claim, state.sheet)}{limit}. Measure again, or leave it to the officer.",
        reason="; ".join(reasons) or "more than one was possible",
        candidates=tuple(
            Candidate(claim=c, posterior=round(float(share), 6), said=_said(state, c)) for c, share in claims
        ),
    )


def _said(state: WalkState, claim: Claim) -> str:
    where = {"within": "within the limit", "below": "below the limit", "above": "above the limit"}
    return f"{say_claim(claim, state.sheet)}, {where.get(claim.judgement or '', 'no limit')}"
