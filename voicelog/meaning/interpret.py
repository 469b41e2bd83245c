"""From a decoding to an interpretation: what was said, how sure, and what must be asked.

Every hypothesis is resolved to its meanings and they share its posterior; what the words leave
open and what the sound leaves open are then one distribution. The rule of this module, tested as
a property over generated decodings: **a doubt never becomes a pass.** A sound claim is logged
without a doubt only when nearly all of the distribution says exactly that claim and next to none
of it says a defect. A defect needs less, because asking about a defect delays it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from voicelog.hearing.recogniser import Decoding
from voicelog.meaning.facts import Candidate, Claim, Doubt, Slot
from voicelog.meaning.misgivings import goes_on, misgiving, more_than_a_name
from voicelog.meaning.timed import TimedHeard
from voicelog.meaning.understand import Act, Context, Meaning, understand
from voicelog.meaning.wording import say_claim, say_what
from voicelog.phrases.commands import MARK_THE_REST
from voicelog.phrases.graph import PhraseGraph
from voicelog.sheet.model import Sheet


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Posteriors needed to log without asking. Set from tests/benchmarks, not by taste."""

    sound: float = 0.97
    """A sound claim, and a value within its limit."""
    defect: float = 0.90
    """A defect, and a value outside its limit."""
    elsewhere: float = 0.99
    """Any claim about a point of another stop: the point may have been misheard, and nobody looks there."""
    opposite: float = 0.01
    """The most that may say the opposite polarity of a sound claim."""
    command: float = 0.80
    heard: float = 0.25
    """Below this nothing was said that could even be asked about: the utterance is refused."""

    def __post_init__(self) -> None:
        if not 0 <= self.heard <= self.defect <= self.sound <= 1 or not 0 <= self.opposite <= 1 - self.sound:
            raise ValueError("thresholds must rise from heard over defect to sound")


DEFAULT = Thresholds()
_SPLIT_WORDS = 2
_ALONE = frozenset({"acknowledged", "disregard", "walk complete"})
"""Commands that put something on record, or end it, and must be all that was said."""
_TOLD = ("acknowledged", "affirmative")


@dataclass(frozen=True, slots=True)
class Draft:
    """One fact about to be logged."""

    claim: Claim
    posterior: dict[str, float]
    """By slot: point, side, condition or value, and polarity."""
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, slots=True)
class Interpretation:
    """What an utterance amounts to."""

    act: Act | str
    """An :data:`Act`, or ``refused``."""
    text: str
    """The best phrase; empty when refused."""
    drafts: tuple[Draft, ...] = ()
    argument: str = ""
    corrects: str | None = None
    answers: str | None = None
    by_name: bool = True
    reason: str = ""
    """Why it was refused."""
    alternatives: tuple[str, ...] = ()
    """Other phrases that may have been said, likeliest first."""
    timed: TimedHeard | None = None
    """What was said of a timed test."""
    points: tuple[str, ...] = ()
    """The points that a remark may be on, likeliest first; one where that is sure."""


@dataclass(frozen=True, slots=True)
class _Weighed:
    meaning: Meaning
    weight: float


def interpret(
    decoding: Decoding,
    graph: PhraseGraph,
    context: Context,
    thresholds: Thresholds = DEFAULT,
    *,
    whole: bool = True,
) -> Interpretation:
    """Return what to make of a decoding where the operator stands.

    ``whole`` is False where the sound broke off: what was lost may have been a "not", so nothing
    sound is logged from it without asking.
    """
    if decoding.refused or not decoding.hypotheses:
        return _refusal(decoding, decoding.refused or "no phrase that can be said here")
    weighed = _weigh(decoding, graph, context)
    best = max(weighed, key=lambda w: w.weight)
    alternatives = tuple(h.text for h in decoding.hypotheses[1:6] if h.posterior >= 0.001)
    meaning = best.meaning
    if meaning.act == "unplaced":
        return _refusal(decoding, meaning.argument)
    if meaning.act in ("facts", "answer"):
        places = range(len(meaning.claims))
        reason = misgiving(decoding, context.sheet.lexicon)
        if not whole:
            reason = "the sound broke off"
        drafts = tuple(_draft(p, best, weighed, context, thresholds, reason) for p in places)
        if all(_joint(d) < thresholds.heard for d in drafts):
            return _refusal(decoding, "not clear enough")
        bare = meaning.act == "facts" and not meaning.by_name and meaning.corrects is None
        if bare and decoding.outside > 1.0 - thresholds.sound:
            # A word or two is what talk and noise are heard as: not even worth a question.
            return _refusal(decoding, "not clear enough without the name of a point")
        return Interpretation(
            act=meaning.act,
            text=decoding.hypotheses[0].text,
            drafts=drafts,
            corrects=meaning.corrects,
            answers=meaning.answers,
            by_name=meaning.by_name,
            alternatives=alternatives,
        )
    if meaning.act == "timed":
        return _of_a_test(decoding, best, weighed, context, thresholds, whole, alternatives)
    if meaning.act == "remark":
        return _remark(decoding, weighed, thresholds, alternatives)
    if context.reading_out and meaning.act == "command" and meaning.argument in _TOLD:
        doubt = _against_acknowledging(decoding, weighed, context, thresholds, whole)
        if doubt:
            return _refusal(decoding, doubt)
    elif best.weight < thresholds.command:
        return _refusal(decoding, "not clear enough")
    if meaning.act == "naming" and more_than_a_name(decoding):
        return _refusal(decoding, "more was said than the name of a point")
    if meaning.act == "command" and meaning.argument in _ALONE and goes_on(decoding):
        return _refusal(decoding, f"more was said than {meaning.argument}")
    if context.standing_by and not _by_itself(decoding):
        return _refusal(decoding, "standing by, and more was said than resume")
    if meaning.act == "command" and meaning.argument == MARK_THE_REST:
        unsure = "" if whole and best.weight >= thresholds.sound else "not clear enough"
        doubt = unsure or misgiving(decoding, context.sheet.lexicon)
        if doubt:
            return _refusal(decoding, doubt)
    if meaning.act == "affirm":
        doubt = _against_affirming(decoding, weighed, context, thresholds, whole)
        if doubt:
            return _refusal(decoding, doubt)
    return Interpretation(
        meaning.act, decoding.hypotheses[0].text, argument=meaning.argument, alternatives=alternatives
    )


def _by_itself(decoding: Decoding) -> bool:
    """Return whether the phrase was all that was said: "resume", and not "we resume the drill at ten".

    The unconstrained reading may split a word, so that it has a few words more.
    """
    return len(decoding.free_text.split()) <= len(decoding.hypotheses[0].words) + _SPLIT_WORDS


def _against_affirming(
    decoding: Decoding, weighed: list[_Weighed], context: Context, thresholds: Thresholds, whole: bool
) -> str:
    """Return why a caution does not count as affirmed; empty when it does.

    It must be as sure as a sound claim: a door that opens by mistake is worse than one asked twice.
    """
    affirmed = sum(w.weight for w in weighed if w.meaning.act == "affirm")
    denied = sum(w.weight for w in weighed if w.meaning.act == "deny")
    if affirmed < thresholds.sound or denied > thresholds.opposite:
        return "not clear enough"
    if not whole:
        return "the sound broke off"
    return misgiving(decoding, context.sheet.lexicon)


def _against_acknowledging(
    decoding: Decoding, weighed: list[_Weighed], context: Context, thresholds: Thresholds, whole: bool
) -> str:
    """Return why a defect does not count as acknowledged; empty when it does.

    It says that a person was told. "Not acknowledged" is soon said again; what was not said is not.
    """
    commands = [(w.meaning.argument, w.weight) for w in weighed if w.meaning.act == "command"]
    told = sum(weight for name, weight in commands if name in _TOLD)
    denied = sum(weight for name, weight in commands if name == "negative")
    if told < thresholds.command or denied > thresholds.opposite:
        return "not clear enough"
    if not whole:
        return "the sound broke off"
    return misgiving(decoding, context.sheet.lexicon)


def _remark(
    decoding: Decoding, weighed: list[_Weighed], thresholds: Thresholds, alternatives: tuple[str, ...]
) -> Interpretation:
    """Return a remark on a point, and every point that it may be on where that is not sure."""
    points: dict[str, float] = {}
    for other in weighed:
        if other.meaning.act == "remark":
            place = other.meaning.argument
            points[place] = points.get(place, 0.0) + other.weight
    ranked = sorted(points, key=lambda place: -points[place])
    if sum(points.values()) < thresholds.command:
        return _refusal(decoding, "not clear enough")
    sure = points[ranked[0]] >= thresholds.command
    likely = tuple(ranked[:1] if sure else (p for p in ranked if points[p] >= thresholds.opposite))
    return Interpretation("remark", decoding.hypotheses[0].text, points=likely, alternatives=alternatives)


def _of_a_test(
    decoding: Decoding,
    best: _Weighed,
    weighed: list[_Weighed],
    context: Context,
    thresholds: Thresholds,
    whole: bool,
    alternatives: tuple[str, ...],
) -> Interpretation:
    """Return what was said of a timed test. A start that is not sure is refused: it is soon said again.

    A reading that is not sure is taken, with all that it may have been, since its moment would be lost.
    """
    said = best.meaning.timed
    assert said is not None
    values: dict[Fraction, float] = {}
    mass = 0.0
    for other in weighed:
        its = other.meaning.timed
        if its is not None and replace(its, value=None) == replace(said, value=None):
            mass += other.weight
            if its.value is not None:
                values[its.value] = values.get(its.value, 0.0) + other.weight
    text = decoding.hypotheses[0].text
    doubt = misgiving(decoding, context.sheet.lexicon)
    if not whole:
        doubt = "the sound broke off"
    sure = values.get(said.value, 0.0) if said.value is not None else mass
    if sure < thresholds.sound:
        doubt = "not heard clearly enough"
    if mass < thresholds.command or (doubt and said.verb in ("start", "correct")):
        return _refusal(decoding, doubt or "not clear enough")
    kept = {v: w for v, w in values.items() if w >= thresholds.opposite or v == said.value}
    ranked = tuple(sorted(kept.items(), key=lambda item: (-item[1], item[0])))
    return Interpretation("timed", text, timed=TimedHeard(said, ranked, doubt), alternatives=alternatives)


def _refusal(decoding: Decoding, reason: str) -> Interpretation:
    alternatives = tuple(h.text for h in decoding.hypotheses[:5])
    return Interpretation("refused", "", reason=reason, alternatives=alternatives)


def _weigh(decoding: Decoding, graph: PhraseGraph, context: Context) -> list[_Weighed]:
    """Return the meanings of all hypotheses with their weights, in order of first appearance."""
    weights: dict[Meaning, float] = {}
    for hypothesis in decoding.hypotheses:
        meanings = understand(graph.parse(hypothesis.words), context)
        for meaning in meanings:
            share = hypothesis.posterior / len(meanings)
            weights[meaning] = weights.get(meaning, 0.0) + share
    return [_Weighed(m, w) for m, w in weights.items()]


@dataclass(slots=True)
class _Tally:
    """What the distribution says at one place of the utterance."""

    by_claim: dict[Claim, float] = field(default_factory=dict)

    def mass(self, keep: Sequence[Claim]) -> float:
        return sum(self.by_claim[c] for c in keep)


def _draft(
    place: int,
    best: _Weighed,
    weighed: list[_Weighed],
    context: Context,
    thresholds: Thresholds,
    misgiving: str,
) -> Draft:
    sheet = context.sheet
    tally = _Tally()
    for other in weighed:
        same_act = (
            other.meaning.act in ("facts", "answer") and other.meaning.corrects == best.meaning.corrects
        )
        if same_act and place < len(other.meaning.claims):
            claim = other.meaning.claims[place]
            tally.by_claim[claim] = tally.by_claim.get(claim, 0.0) + other.weight
    # The likeliest claim at this place; of equals, the one in the best meaning.
    top = max(tally.by_claim, key=lambda c: (tally.by_claim[c], c == best.meaning.claims[place]))
    joint = tally.by_claim[top]
    for claim, weight in _defects_left_out(top, best, weighed).items():
        tally.by_claim[claim] = weight
    opposite = tally.mass([c for c in tally.by_claim if c.polarity != top.polarity])
    needed = thresholds.sound if top.polarity == "sound" else thresholds.defect
    looked_at = top.point_id in context.at_hand or sheet.points[top.point_id].stop_id == context.stop_id
    if not looked_at and best.meaning.act == "facts":
        needed = max(needed, thresholds.elsewhere)
    sure = joint >= needed and not (top.polarity == "sound" and opposite > thresholds.opposite)
    posterior = _slots(top, tally, sheet)
    if sure and misgiving and top.polarity == "sound":
        said = Candidate(claim=top, posterior=round(joint, 6), said=say_claim(top, sheet))
        return Draft(top, posterior, (make_doubt((said,), sheet, misgiving),))
    if sure:
        return Draft(top, posterior)
    return Draft(top, posterior, (_doubt(top, tally, sheet, thresholds),))


def _defects_left_out(top: Claim, best: _Weighed, weighed: list[_Weighed]) -> dict[Claim, float]:
    """Return the defects of the top claim's point that other meanings have anywhere, and the best has not.

    "Dry" may have been the half of "dry and cracked" that was heard. Compared place by place the
    defect would have no place to be weighed at, and its point would pass.
    """
    left_out: dict[Claim, float] = {}
    if top.polarity == "sound":
        for other in weighed:
            for claim in dict.fromkeys(other.meaning.claims):
                mine = claim.point_id == top.point_id and claim.polarity == "defect"
                if mine and claim not in best.meaning.claims:
                    left_out[claim] = left_out.get(claim, 0.0) + other.weight
    return left_out


def _joint(draft: Draft) -> float:
    return draft.posterior["claim"]


def _slots(top: Claim, tally: _Tally, sheet: Sheet) -> dict[str, float]:
    """Return the posterior of each slot of the top claim: the mass that agrees with it there."""
    name, side = sheet.points[top.point_id].name, sheet.points[top.point_id].side
    claims = list(tally.by_claim)
    agree = {
        "claim": [top],
        "point": [c for c in claims if sheet.points[c.point_id].name == name],
        "side": [c for c in claims if sheet.points[c.point_id].side == side],
        "polarity": [c for c in claims if c.polarity == top.polarity],
    }
    if top.condition_id is not None:
        agree["condition"] = [c for c in claims if c.condition_id == top.condition_id]
    else:
        agree["value"] = [c for c in claims if (c.reading_id, c.value) == (top.reading_id, top.value)]
    return {slot: round(min(1.0, tally.mass(kept)), 6) for slot, kept in agree.items()}


def _doubt(top: Claim, tally: _Tally, sheet: Sheet, thresholds: Thresholds) -> Doubt:
    ranked = sorted(tally.by_claim.items(), key=lambda item: -item[1])
    # What may have been meant: all that a person would want to choose from, and always the
    # likeliest claim of the opposite polarity.
    kept = [(c, p) for c, p in ranked[:4] if p >= thresholds.opposite or c == top]
    opposite = next(((c, p) for c, p in ranked if c.polarity != top.polarity), None)
    if opposite is not None and opposite not in kept and opposite[1] > thresholds.opposite / 10:
        kept.append(opposite)
    candidates = tuple(Candidate(claim=c, posterior=round(p, 6), said=say_claim(c, sheet)) for c, p in kept)
    return make_doubt(candidates, sheet)


def make_doubt(candidates: tuple[Candidate, ...], sheet: Sheet, reason: str = "") -> Doubt:
    """Return the doubt between the candidates (likeliest first), with the one question that settles it."""
    top = candidates[0].claim
    if len(candidates) == 1:
        slot: Slot = "condition" if top.condition_id is not None else "value"
        return Doubt(
            slot=slot,
            question=f"{say_claim(top, sheet)}: affirmative or negative?",
            reason=reason or "not heard clearly enough",
            candidates=candidates,
        )
    slot = _slot_in_doubt([c.claim for c in candidates], sheet)
    return Doubt(
        slot=slot,
        question=_question(slot, [c.claim for c in candidates], sheet),
        reason=reason or _reason(slot, [c.claim for c in candidates]),
        candidates=candidates,
    )


def _slot_in_doubt(claims: list[Claim], sheet: Sheet) -> Slot:
    points = {c.point_id for c in claims}
    names = {sheet.points[p].name for p in points}
    if len(names) > 1:
        return "point"
    if len(points) > 1:
        return "side"
    if len({c.reading_id for c in claims}) == 1 and claims[0].reading_id is not None:
        return "value"
    return "condition"


def _question(slot: Slot, claims: list[Claim], sheet: Sheet) -> str:
    points = [sheet.points[c.point_id] for c in claims]
    if slot == "side":
        choices = list(dict.fromkeys(p.side for p in points))
        return f"{say_what(claims[0], sheet)}: {_either(list(choices))} {points[0].name}?"
    if slot == "point":
        same = len({say_what(c, sheet) for c in claims}) == 1
        said = [p.full_name if same else say_claim(c, sheet) for p, c in zip(points, claims, strict=True)]
        lead = f"{say_what(claims[0], sheet)}: " if same else ""
        return f"{lead}{_either(list(dict.fromkeys(said)))}?"
    return f"{points[0].full_name}: {_either([say_what(c, sheet) for c in claims])}?"


def _either(options: list[str]) -> str:
    return options[0] if len(options) == 1 else f"{', '.join(options[:-1])} or {options[-1]}"


def _reason(slot: Slot, claims: list[Claim]) -> str:
    if len({c.polarity for c in claims}) > 1:
        return "it may be sound or a defect"
    return {"side": "which side is not clear", "point": "which point is not clear"}.get(
        slot, "more than one was possible"
    )
