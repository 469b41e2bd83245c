"""What a phrase means where the operator stands: a tagging resolved to claims, or to an act.

A phrase may mean several things (two sides within reach, a condition without a name): every one
of them is returned, and the caller weighs them. Context picks among points; it never picks the
condition, and a phrase that fits several points equally well stays ambiguous.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from voicelog.errors import WalkError
from voicelog.meaning.claims import aspect_of, can_be_said, make_claim
from voicelog.meaning.facts import Claim
from voicelog.meaning.timed import TimedContext, TimedSaid, start_at_hand, timed_said
from voicelog.phrases.parses import Parse, Span
from voicelog.sheet.model import Point, Sheet

Act = Literal["facts", "answer", "naming", "goto", "command", "timed", "remark", "affirm", "deny", "unplaced"]


@dataclass(frozen=True, slots=True)
class Meaning:
    """One thing that a phrase can mean."""

    act: Act
    claims: tuple[Claim, ...] = ()
    """For facts and answers, in the order said."""
    argument: str = ""
    """For naming and a remark the point, for goto the stop, for command its name, for unplaced the reason."""
    corrects: str | None = None
    """The entry that the first claim replaces ("correction, right")."""
    answers: str | None = None
    """The entry whose open question this settles."""
    by_name: bool = True
    """Whether the point was named; False where context supplied it."""
    timed: TimedSaid | None = None
    """What was said of a timed test."""


@dataclass(frozen=True, slots=True)
class Question:
    """A doubt that was asked and is waiting for its answer."""

    entry_id: str
    candidates: tuple[Claim, ...]
    by_number: tuple[tuple[Fraction, Claim], ...] = ()
    """For the result of a timed test: the claim that follows if its last reading was this number."""


@dataclass(frozen=True, slots=True)
class Context:
    """Where the operator stands in the walk."""

    sheet: Sheet
    stop_id: str
    at_hand: tuple[str, ...] = ()
    """The point last named and the point that comes next: what a phrase without a name is about."""
    spoken_of: frozenset[tuple[str, str]] = frozenset()
    """(point, aspect) pairs that something was already said of."""
    last: tuple[str, Claim] | None = None
    """The last entry and what it says: what "correction" corrects."""
    question: Question | None = None
    at_gate: bool = False
    """Whether a caution is being asked: "affirmative" and "negative" answer it and nothing else."""
    standing_by: bool = False
    """Whether what is said is not for the walk, until "resume" is said by itself."""
    timed: TimedContext | None = None
    """The timed test whose clock runs, or that was just stopped."""
    remark_on: tuple[str, ...] = ()
    """The points of which it was asked which one a remark is to be on, likeliest first."""
    reading_out: bool = False
    """Whether a defect of an earlier walk is read out, to be acknowledged."""


def understand(parses: tuple[Parse, ...], context: Context) -> tuple[Meaning, ...]:
    """Return every distinct meaning of a phrase's taggings, in a fixed order; never empty for a phrase."""
    found: dict[Meaning, None] = {}
    for parse in parses:
        for meaning in _meanings(parse, context):
            found.setdefault(_for_the_clock(meaning, context))
    placed = [m for m in found if m.act != "unplaced"]
    return tuple(placed or found)


def _for_the_clock(meaning: Meaning, context: Context) -> Meaning:
    """Read a reading of the running test as one of its marks, where the sheet lets it run the test."""
    test = context.timed
    if test is None or not test.running or not test.test.by_reading or len(meaning.claims) != 1:
        return meaning
    claim = meaning.claims[0]
    mine = (claim.point_id, claim.reading_id) == (test.point_id, test.test.reading_id)
    if meaning.act != "facts" or meaning.corrects is not None or not mine:
        return meaning
    return Meaning("timed", timed=test.said("mark", claim.value))


def _meanings(parse: Parse, context: Context) -> list[Meaning]:
    names = {span.name for span in parse}
    correction = "correction" in names
    if "affirmed" in names:
        return [Meaning("affirm")]
    if "denied" in names:
        return [Meaning("deny")]
    if "command" in names:
        return [_command(_first(parse, "command").value, context)]
    if "choice" in names:
        return [_choice(int(_first(parse, "choice").value), context)]
    if "timed" in names:
        said = timed_said(parse, context.timed)
        return [_timed(said, "no test is running")]
    if "goto" in names:
        return [Meaning("goto", argument=_first(parse, "goto").value)]
    if "remark" in names:
        return [Meaning("remark", argument=point.id) for point in named_points(list(parse), context)]
    if "fact" in names:
        return _reports(parse, context, correction)
    if "bare" in names:
        return _bare(parse, context, correction)
    if "naming" in names:
        return _naming(parse, context, correction)
    return _side(_first(parse, "side").value, context, correction)


def _command(name: str, context: Context) -> Meaning:
    question = context.question
    if context.at_gate and name in ("affirmative", "negative"):
        return Meaning("affirm" if name == "affirmative" else "deny")
    if name == "affirmative" and question is not None:
        distinct = tuple(dict.fromkeys(question.candidates))
        if len(distinct) == 1:
            return Meaning("answer", distinct, answers=question.entry_id)
        return Meaning("unplaced", argument="affirmative does not say which")
    if name == "start the clock":
        return _timed(start_at_hand(context.sheet, context.at_hand), "name the test")
    if name == "stop the clock" and context.timed is not None and context.timed.running:
        return _timed(context.timed.said("stop"), "")
    return Meaning("command", argument=name)


def _choice(number: int, context: Context) -> Meaning:
    """Return what "the first" or "the second" means: a candidate, by the order the question gave them.

    A question that names two points leaves out what else may be said of them; there a place in its
    order says too little.
    """
    question = context.question
    if 0 < number <= len(context.remark_on):
        return Meaning("remark", argument=context.remark_on[number - 1])
    if question is None:
        return Meaning("unplaced", argument="nothing was asked that has a first and a second")
    options = tuple(dict.fromkeys(question.candidates))
    points = len({claim.point_id for claim in options})
    if len(options) < 2 or number > len(options) or points not in (1, len(options)):
        return Meaning("unplaced", argument="that does not say which: say it in its own words")
    return Meaning("answer", (options[number - 1],), answers=question.entry_id, by_name=False)


def _timed(said: TimedSaid | None, otherwise: str) -> Meaning:
    return Meaning("unplaced", argument=otherwise) if said is None else Meaning("timed", timed=said)


def _reports(parse: Parse, context: Context, correction: bool) -> list[Meaning]:
    """Return the readings of one or more facts with named points: one per combination of points."""
    partial: list[tuple[Claim, ...]] = [()]
    for fact in (span for span in parse if span.name == "fact"):
        inside = [s for s in parse if fact.start <= s.start and s.end <= fact.end]
        points = named_points(inside, context)
        claimed = [c for p in points if (c := _claims(p.id, inside, context.sheet)) is not None]
        if not claimed:
            return [Meaning("unplaced", argument="that cannot be said of that point")]
        partial = [tuple(dict.fromkeys((*before, *claims))) for before in partial for claims in claimed]
    return [_placed(claims, context, correction, by_name=True) for claims in partial]


def _placed(claims: tuple[Claim, ...], context: Context, correction: bool, *, by_name: bool) -> Meaning:
    if correction:
        if context.last is None:
            return Meaning("unplaced", argument="there is nothing to correct")
        return Meaning("facts", claims, corrects=context.last[0], by_name=by_name)
    question = context.question
    if question is not None and len(claims) == 1 and _settles(claims[0], question, context.sheet):
        return Meaning("answer", claims, answers=question.entry_id, by_name=by_name)
    return Meaning("facts", claims, by_name=by_name)


def _settles(claim: Claim, question: Question, sheet: Sheet) -> bool:
    """Return whether a claim answers a question: it is about what the question asked."""
    for asked in question.candidates:
        same_reading = claim.reading_id == asked.reading_id
        same_aspect = aspect_of(sheet, claim) == aspect_of(sheet, asked)
        if claim.point_id == asked.point_id and same_reading and same_aspect:
            return True
    return False


def named_points(spans: list[Span], context: Context) -> tuple[Point, ...]:
    """Return the points that a name and side can mean here.

    A spoken side decides. Without one, the side of the stop is implied; then any point of that
    name at this stop; then any of that name at all.
    """
    sheet = context.sheet
    meant = [sheet.points[i] for i in _first(spans, "point").value.split("|")]
    side = next((s.value for s in spans if s.name == "side"), None)
    if side is not None:
        meant = [p for p in meant if p.side == side]
        return tuple(meant)
    here = [p for p in meant if p.stop_id == context.stop_id]
    stop_side = sheet.stop(context.stop_id).side
    if stop_side != "none":
        sided = [p for p in here or meant if p.side == stop_side]
        return tuple(sided or here or meant)
    return tuple(here or meant)


def _claims(point_id: str, spans: list[Span], sheet: Sheet) -> tuple[Claim, ...] | None:
    """Return what the spans claim of a point; None when it cannot be claimed of it."""
    claims: list[Claim] = []
    for place, span in enumerate(spans):
        try:
            if span.name == "condition":
                claims.append(make_claim(sheet, point_id, condition_id=span.value))
            elif span.name == "reading":
                value = Fraction(spans[place + 1].value)
                claims.append(make_claim(sheet, point_id, reading_id=span.value, value=value))
        except WalkError:
            return None
    return tuple(dict.fromkeys(claims))  # said twice in one breath is said once


def _bare(parse: Parse, context: Context, correction: bool) -> list[Meaning]:
    """Return the readings of facts without a point's name."""
    sheet, question = context.sheet, context.question
    number = _number(parse)
    if question is not None:
        answers = _bare_answers(parse, number, question, context)
        answers = [m for m in answers if not correction or _may_be_led_by_negative(m, question)]
        if answers:
            return answers
    if correction:
        test = context.timed
        if number is not None and test is not None and test.can_read(number):
            return [Meaning("timed", timed=test.said("correct", number))]
        if context.last is None:
            return [Meaning("unplaced", argument="there is nothing to correct")]
        candidates: tuple[str, ...] = (context.last[1].point_id,)
        spans = _with_reading(list(parse), context.last[1])
        found = [c for p in candidates if (c := _claims(p, spans, sheet))]
        if not found:
            return [Meaning("unplaced", argument="that cannot be said of the last point")]
        if question is not None and any(set(c) == set(question.candidates) for c in found):
            return [Meaning("unplaced", argument="that is what was asked: affirmative or negative")]
        return [_placed(c, context, True, by_name=False) for c in found]
    if any(span.name == "number" for span in parse):
        return [Meaning("unplaced", argument="a number alone says nothing: name the point")]
    more = any(span.name == "more" for span in parse)
    if question is not None and not more:
        # A word that does not answer may be a misheard answer: it must not become a fact of another point.
        return [Meaning("unplaced", argument="that is no answer: say it with the name of its point")]
    # "And cracked" goes on with what was said last, even where another point comes next.
    at_hand = (context.last[1].point_id,) if more and context.last is not None else context.at_hand
    claimed = [(p, c) for p in at_hand if (c := _claims(p, list(parse), sheet))]
    fresh = [c for p, c in claimed if not _all_spoken_of(p, c, context)]
    chosen = fresh or [c for _, c in claimed]
    if not chosen:
        return [Meaning("unplaced", argument="name the point")]
    return [Meaning("facts", c, by_name=False) for c in chosen]


def _bare_answers(
    parse: Parse, number: Fraction | None, question: Question, context: Context
) -> list[Meaning]:
    """Return the answers that words without a name can be to the question."""
    meant = next((claim for value, claim in question.by_number if value == number), None)
    if meant is not None:
        return [Meaning("answer", (meant,), answers=question.entry_id, by_name=False)]
    said = (_bare_answer(list(parse), asked, context) for asked in question.candidates)
    claims = dict.fromkeys(claim for claim in said if claim is not None)
    return [Meaning("answer", (c,), answers=question.entry_id, by_name=False) for c in claims]


def _may_be_led_by_negative(answer: Meaning, question: Question) -> bool:
    """Return whether "negative" before an answer leaves it the answer.

    "Negative, dripping" says which it is. "Negative, dry" may as well say that it is not dry, so nothing
    sound is taken from it while a defect is possible.
    """
    several = len(set(question.candidates)) > 1
    sound = all(claim.polarity == "sound" for claim in answer.claims)
    return several and not (sound and any(c.polarity == "defect" for c in question.candidates))


def _number(parse: Parse) -> Fraction | None:
    """Return the value of a number that is said alone."""
    if not any(span.name == "number" for span in parse):
        return None
    return next((Fraction(span.value) for span in parse if span.name == "value"), None)


def _with_reading(spans: list[Span], claim: Claim) -> list[Span]:
    """Read a value alone as a value of the claim's reading."""
    if claim.reading_id is None:
        return spans
    reading_id = claim.reading_id
    return [Span("reading", reading_id, s.words, s.start, s.end) if s.name == "number" else s for s in spans]


def _bare_answer(spans: list[Span], asked: Claim, context: Context) -> Claim | None:
    """Return the claim by which words without a name answer the question; None when they do not.

    It must be one of those asked about: another condition may be about another point, and another value
    may be half of one that was asked ("one" of "one and a half").
    """
    question = context.question
    claims = _claims(asked.point_id, _with_reading(spans, asked), context.sheet)
    if claims is None or len(claims) != 1 or question is None:
        return None
    return claims[0] if claims[0] in question.candidates else None


def _all_spoken_of(point_id: str, claims: tuple[Claim, ...], context: Context) -> bool:
    said = ((point_id, aspect_of(context.sheet, c) or c.reading_id or "") for c in claims)
    return all(pair in context.spoken_of for pair in said)


def _naming(parse: Parse, context: Context, correction: bool) -> list[Meaning]:
    points = named_points(list(parse), context)
    if not correction and (asked_of := [p for p in points if p.id in context.remark_on]):
        return [Meaning("remark", argument=point.id) for point in asked_of]
    question = context.question
    if question is not None and len({claim.point_id for claim in question.candidates}) > 1:
        # Where the point is not what was asked, its name does not say what is so of it.
        ids = {p.id for p in points}
        asked = (c for c in question.candidates if c.point_id in ids and c.low is None)
        answers = [Meaning("answer", (c,), answers=question.entry_id) for c in dict.fromkeys(asked)]
        if answers and (not correction or all(_may_be_led_by_negative(m, question) for m in answers)):
            return answers
    if correction and context.last is not None:
        moved = [_moved(context.last[1], p.id, context.sheet) for p in points]
        found = [
            Meaning("facts", (c,), corrects=context.last[0], by_name=True) for c in moved if c is not None
        ]
        return found or [Meaning("unplaced", argument="that cannot be said of that point")]
    return [Meaning("naming", argument=p.id) for p in points]


def _side(side: str, context: Context, correction: bool) -> list[Meaning]:
    """Return what a side alone means: the answer to a question, or a correction."""
    sheet, question = context.sheet, context.question
    of_that_side = [p for p in context.remark_on if sheet.points[p].side == side]
    if of_that_side and not correction:
        return [Meaning("remark", argument=point_id) for point_id in of_that_side]
    if question is not None and len({sheet.points[c.point_id].side for c in question.candidates}) > 1:
        mine = (c for c in question.candidates if sheet.points[c.point_id].side == side and c.low is None)
        answers = [
            Meaning("answer", (c,), answers=question.entry_id, by_name=False) for c in dict.fromkeys(mine)
        ]
        if answers and (not correction or all(_may_be_led_by_negative(m, question) for m in answers)):
            return answers
    if correction and context.last is not None:
        entry_id, claim = context.last
        name = sheet.points[claim.point_id].name
        others = [p.id for p in sheet.points.values() if p.name == name and p.side == side]
        moved = [c for p in others if (c := _moved(claim, p, sheet)) is not None]
        if moved:
            return [Meaning("facts", (c,), corrects=entry_id, by_name=False) for c in moved]
        return [Meaning("unplaced", argument=f"there is no {side} {name}")]
    return [Meaning("unplaced", argument="a side alone says nothing: name the point")]


def _moved(claim: Claim, point_id: str, sheet: Sheet) -> Claim | None:
    """Return the same claim of another point; None when it cannot be made of it."""
    if claim.condition_id is not None and not can_be_said(sheet, point_id, claim.condition_id):
        return None
    try:
        return make_claim(
            sheet,
            point_id,
            condition_id=claim.condition_id,
            reading_id=claim.reading_id,
            value=claim.value,
        )
    except WalkError:
        return None


def _first(spans: Parse | list[Span], name: str) -> Span:
    return next(span for span in spans if span.name == name)
