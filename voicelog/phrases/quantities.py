"""How a measured value is said, number and unit together.

The number words come from :mod:`voicelog.phrases.numbers`; this module adds the unit, including
the forms that put it inside the number ("half an inch", "an inch and a half").
"""

from __future__ import annotations

from fractions import Fraction

from voicelog.phrases.expression import Expression, Maybe, Tag, choice, phrases, sequence, words
from voicelog.phrases.numbers import number_expression, say_value, spoken_forms, values
from voicelog.sheet.model import Measure, Reading


def quantity_expression(reading: Reading, measure: Measure | None) -> Expression:
    """Return everything that can be said for a value of ``reading``, tagged ``value``.

    The tag's value is the exact fraction, such as ``3/4``. The unit may be left out; another
    unit than the reading's own cannot be said.
    """
    number = number_expression(reading.low, reading.high, reading.resolution)
    if measure is None:
        return number
    one = measure.say[0]
    article = "an" if one[0] in "aeiou" else "a"
    units = Maybe(phrases((*measure.say, f"of {article} {one}", f"{article} {one}")))
    return choice((sequence(number, units), *_unit_inside(reading, measure, article)))


def _unit_inside(reading: Reading, measure: Measure, article: str) -> tuple[Expression, ...]:
    """Return "an inch", "an inch and a half", "two inches and a quarter" and the like."""
    one = measure.say[0]
    many = measure.say[1] if len(measure.say) > 1 else one
    found: list[Expression] = []
    for value in values(reading.low, reading.high, reading.resolution):
        whole, part = divmod(value, 1)
        if whole < 1 or (part and (part.denominator & (part.denominator - 1)) != 0):
            continue
        heads: tuple[str, ...] = (f"{article} {one}", one) if whole == 1 else ()
        if whole == 1 and not part:
            found.append(Tag("value", str(value), words(heads[0])))
        elif part:
            lead = heads or tuple(f"{n} {many}" for n in spoken_forms(whole, Fraction(1))[:1])
            tails = tuple(t for t in spoken_forms(part, part_resolution(part)) if "point" not in t)
            said = phrases(f"{head} and {tail}" for head in lead for tail in tails)
            found.append(Tag("value", str(value), said))
    return tuple(found)


def part_resolution(part: Fraction) -> Fraction:
    """Return the resolution at which a fraction such as 3/8 is said in its lowest terms."""
    return Fraction(1, max(part.denominator, 4))


def say_quantity(value: Fraction, reading: Reading, measure: Measure | None) -> str:
    """Return the value as it is read back: ``one half inch``, ``twelve point six volts``."""
    number = say_value(value, reading.resolution)
    if measure is None:
        return number
    single = value == 1 or (0 < value < 1 and "point" not in number and number != "zero")
    many = measure.say[1] if len(measure.say) > 1 else measure.say[0]
    return f"{number} {measure.say[0] if single else many}"
