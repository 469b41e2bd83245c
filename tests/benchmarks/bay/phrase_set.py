"""What people report of the engine bay, in all the ways the sheet lets them, with its truth.

Seeded. In some 1,500 phrases every point, every name of it, every aspect of every point both
sound and defective, and every wording of every condition is said at least once; sound and
defective alternate. Readings are said within their limit, at it, a step to either side of it, far
beyond it, at the ends of what is plausible, and where a teen for its ten would cross it.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

from tests.benchmarks.bay.said import Fact, Said
from tests.benchmarks.bay.values_in_words import ways
from voicelog.sheet.model import Condition, Point, Reading, Sheet

SHARES = {
    "condition": 48,
    "reading": 22,
    "two of one point": 14,
    "two points": 9,
    "condition, no name": 4,
    "reading, no name": 3,
}
"""Kind of phrase to its share, in hundredths."""
ELSEWHERE = 0.12
"""Share of phrases spoken at another stop than the point's own."""
_TEENS = {16: 60, 17: 70, 18: 80, 19: 90, 13: 30, 14: 40, 15: 50}


def phrases(sheet: Sheet, count: int, seed: int = 1) -> list[Said]:
    """Return the first ``count`` phrases; the same seed gives the same ones."""
    writer = _Writer(sheet, random.Random(seed))
    return [writer.write() for _ in range(count)]


class _Writer:
    def __init__(self, sheet: Sheet, rng: random.Random) -> None:
        self._sheet = sheet
        self._rng = rng
        self._used: Counter[str] = Counter()
        self._facts = self._condition_facts()
        self._values = self._reading_facts()
        self._kinds = self._kinds_in_turn()

    # what is true ---------------------------------------------------------------------------

    def _condition_facts(self) -> Iterator[tuple[Point, Condition, str]]:
        """Yield point, condition and wording without end, each round in another order."""
        lexicon = self._sheet.lexicon
        while True:
            planned: list[tuple[Point, Condition, str]] = []
            cells = [(p, a, s) for p in self._sheet.points.values() for a in p.aspects for s in (True, False)]
            self._rng.shuffle(cells)
            for point, aspect, sound in cells:
                known = [c for c in lexicon.conditions_of((aspect,)) if (c.polarity == "sound") == sound]
                wordings = [(c, say) for c in known for say in c.say]
                place = self._least_used([f"{c.id}: {say}" for c, say in wordings])
                planned.append((point, *wordings[place]))
            said = {say for _, _, say in planned}
            for condition in lexicon.conditions.values():
                takes = [p for p in self._sheet.points.values() if condition.aspect in p.aspects]
                for say in condition.say:
                    if say not in said and takes:
                        planned.append((self._rng.choice(takes), condition, say))
            self._rng.shuffle(planned)
            yield from planned

    def _reading_facts(self) -> Iterator[tuple[Point, Reading, Fraction]]:
        while True:
            planned = [
                (point, reading, value)
                for point in self._sheet.points.values()
                for reading in point.readings
                for value in telling_values(reading, self._rng)
            ]
            self._rng.shuffle(planned)
            yield from planned

    def _kinds_in_turn(self) -> Iterator[str]:
        while True:
            kinds = [kind for kind, share in SHARES.items() for _ in range(share)]
            self._rng.shuffle(kinds)
            yield from kinds

    def _least_used(self, options: list[str]) -> int:
        place = min(range(len(options)), key=lambda i: (self._used[options[i]], self._rng.random()))
        self._used[options[place]] += 1
        return place

    # how it is said -------------------------------------------------------------------------

    def write(self) -> Said:
        kind = next(self._kinds)
        match kind:
            case "condition":
                point, condition, say = next(self._facts)
                stop_id = self._stop_for(point)
                fact = condition_fact(point, condition)
                name = self._name(point, stop_id)
                if " " not in say and self._rng.random() < 0.08:
                    text = f"{say} on the {name}"
                else:
                    text = f"{self._the()}{name} {self._is(point, say)}{say}"
                return Said(text=text, kind=kind, stop_id=stop_id, facts=(fact,))
            case "reading":
                point, reading, value = next(self._values)
                stop_id = self._stop_for(point)
                lead = "" if self._rng.random() < 0.15 else f"{self._reading_name(reading)} "
                text = f"{self._name(point, stop_id)} {lead}{self._way(value, reading)}"
                facts: tuple[Fact, ...] = (reading_fact(point, reading, value),)
                return Said(text=text, kind=kind, stop_id=stop_id, facts=facts)
            case "two of one point":
                return self._two_of_one()
            case "two points":
                return self._two_points()
            case "condition, no name":
                point, condition, say = next(self._facts)
                facts = (condition_fact(point, condition),)
                return Said(text=say, kind=kind, stop_id=point.stop_id, before=(named(point),), facts=facts)
            case _:
                point, reading, value = next(self._values)
                facts = (reading_fact(point, reading, value),)
                text = f"{self._reading_name(reading)} {self._way(value, reading)}"
                return Said(text=text, kind=kind, stop_id=point.stop_id, before=(named(point),), facts=facts)

    def _two_of_one(self) -> Said:
        point, condition, say = next(self._facts)
        stop_id = self._stop_for(point)
        name = self._name(point, stop_id)
        first = f"{name} {say}"
        facts = [condition_fact(point, condition)]
        if point.readings and self._rng.random() < 0.6:
            reading = self._rng.choice(point.readings)
            value = self._rng.choice(telling_values(reading, self._rng))
            second = f"{self._reading_name(reading)} {self._way(value, reading)}"
            facts.append(reading_fact(point, reading, value))
        else:
            others = [a for a in point.aspects if a not in (condition.aspect, "general")]
            # "Good and loose" contradicts itself: the walk asks about it, rightly.
            if "general" in (condition.aspect, *(others or ["general"])):
                kept = [c for c in self._of(others or ["general"]) if c.polarity == condition.polarity]
            else:
                kept = self._balanced(self._of(others))
            other = kept[self._least_used([c.id for c in kept])]
            second = other.say[self._least_used(list(other.say))]
            facts.append(condition_fact(point, other))
        joint = " and " if self._rng.random() < 0.75 else " "
        return Said(
            text=f"{first}{joint}{second}", kind="two of one point", stop_id=stop_id, facts=tuple(facts)
        )

    def _two_points(self) -> Said:
        point, condition, say = next(self._facts)
        there = [p for p in self._sheet.stop(point.stop_id).points if p.name != point.name]
        other = self._rng.choice(there)
        known = self._balanced(self._of(list(other.aspects)))
        second = known[self._least_used([c.id for c in known])]
        second_say = second.say[self._least_used(list(second.say))]
        joint = " and " if self._rng.random() < 0.7 else " "
        text = (
            f"{self._name(point, point.stop_id)} {say}{joint}{self._name(other, point.stop_id)} {second_say}"
        )
        facts = (condition_fact(point, condition), condition_fact(other, second))
        return Said(text=text, kind="two points", stop_id=point.stop_id, facts=facts)

    def _of(self, aspects: list[str]) -> list[Condition]:
        return list(self._sheet.lexicon.conditions_of(tuple(aspects)))

    def _balanced(self, conditions: list[Condition]) -> list[Condition]:
        """Return those of one polarity, sound or defect as a coin falls."""
        polarity = self._rng.choice(("sound", "defect"))
        return [c for c in conditions if c.polarity == polarity] or conditions

    def _stop_for(self, point: Point) -> str:
        if self._rng.random() >= ELSEWHERE:
            return point.stop_id
        return self._rng.choice([s.id for s in self._sheet.stops if s.id != point.stop_id])

    def _name(self, point: Point, stop_id: str) -> str:
        name = point.say[self._least_used([f"{point.id}: {say}" for say in point.say])]
        if point.side == "none":
            return name
        if stop_id == point.stop_id and self._rng.random() < 0.2:
            return name  # the side of the stop is implied
        sides = self._sheet.lexicon.sides[point.side]
        side = sides[self._least_used([f"side {say}" for say in sides])]
        form = self._rng.random()
        if form < 0.7:
            return f"{side} {name}"
        return f"{name} on the {side}" if form < 0.9 else f"{name} {side}"

    def _the(self) -> str:
        return "the " if self._rng.random() < 0.12 else ""

    def _is(self, point: Point, say: str) -> str:
        if " " in say or self._rng.random() >= 0.25:
            return ""
        return "are " if point.name.endswith("s") else self._rng.choice(("is ", "is ", "looks "))

    def _reading_name(self, reading: Reading) -> str:
        return reading.say[self._least_used([f"{reading.id}: {say}" for say in reading.say])]

    def _way(self, value: Fraction, reading: Reading) -> str:
        return self._rng.choice(ways(value, reading))


def named(point: Point) -> str:
    """Return how a point is named with nothing said of it."""
    return point.full_name


def condition_fact(point: Point, condition: Condition) -> Fact:
    """Return the fact that a point has a condition."""
    return Fact(point_id=point.id, condition_id=condition.id, sound=condition.polarity == "sound")


def reading_fact(point: Point, reading: Reading, value: Fraction) -> Fact:
    """Return the fact that a reading has a value."""
    return Fact(point_id=point.id, reading_id=reading.id, value=value, sound=is_within(value, reading))


def is_within(value: Fraction, reading: Reading) -> bool:
    """Return whether a value is within the reading's limit; a bound itself is within."""
    limit = reading.limit
    if limit is None:
        return True
    low_enough = limit.maximum is None or value <= limit.maximum
    return low_enough and (limit.minimum is None or value >= limit.minimum)


def telling_values(reading: Reading, rng: random.Random) -> list[Fraction]:
    """Return values that tell something of how a limit is kept: near it, far from it, confusable."""
    step = reading.resolution
    count = int((reading.high - reading.low) / step)
    found = [reading.low, reading.high]
    limit = reading.limit
    bounds = [] if limit is None else [b for b in (limit.minimum, limit.maximum) if b is not None]
    for bound in bounds:
        found += [bound - 2 * step, bound - step, bound, bound + step, bound + 2 * step]
        found += [Fraction(v) for pair in _TEENS.items() for v in pair if _crosses(pair, reading)]
    found += [reading.low + step * rng.randint(0, count) for _ in range(4)]
    return [v for v in dict.fromkeys(found) if reading.low <= v <= reading.high]


def _crosses(pair: tuple[int, int], reading: Reading) -> bool:
    a, b = (Fraction(v) for v in pair)
    inside = all(reading.low <= v <= reading.high for v in (a, b))
    return inside and is_within(a, reading) != is_within(b, reading)
