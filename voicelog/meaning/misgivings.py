"""What makes a pass doubtful although the graph's phrase was heard well.

The graph has no words for what nobody is meant to say, so a denial can be heard as the nearest
phrase that it has: "insecure" as "is secure", "is it tight" as "is tight", "not dry" as "dry". And of
"dry but mushroomed" only the first half may be heard. Two things tell. The decoder, which knows the
sound and not the graph, says how likely it is that nothing comes after the phrase. And the
unconstrained reading was not held to the graph: it is far too rough to be taken at its word. Both are
only used one way: to ask.
"""

from __future__ import annotations

import itertools
import re

from voicelog.hearing.recogniser import Decoding
from voicelog.sheet.model import Lexicon

_IS = frozenset({"is", "are"})
_DENIALS = frozenset({
    "no", "not", "never", "none", "nothing", "hardly", "barely", "scarcely", "cannot", "can't", "isn't",
    "aren't", "wasn't", "doesn't", "don't", "won't", "without", "except", "but", "unless", "nearly", "almost",
    "negative",
})  # fmt: skip
_UNITS = frozenset({
    "second", "seconds", "minute", "minutes", "hour", "hours", "degree", "degrees", "foot", "feet", "yard",
    "yards", "mile", "miles", "meter", "meters", "millimeter", "millimeters", "centimeter", "centimeters",
    "liter", "liters", "gallon", "gallons", "quart", "quarts", "pint", "pints", "ounce", "ounces", "pound",
    "pounds", "psi", "bar", "kilopascal", "kilopascals", "volt", "volts", "amp", "amps", "ohm", "ohms",
    "percent", "inch", "inches", "turn", "turns", "click", "clicks", "rpm", "revolutions", "revs",
})  # fmt: skip


_SECONDS, _SECONDS_A_LETTER, _MORE_SECONDS = 0.6, 0.075, 1.0
"""How long a phrase takes, with the quiet around it, and how much more is more than a pause. Fitted by
tests/benchmarks/engine_bay: of phrases heard right, one in a hundred takes 0.6 s more than this."""
_MORE_THAN_A_NAME_S = 0.6
_ENDS_NATS = -1.0
"""Log-probability that nothing comes after the phrase, below which more was said. Whole phrases were seen
at -0.69 and above (engine bay in synthetic voices at 12 and 24 dB; human orders at 6 dB and clean at
-0.53, a question mark taken for an end), passes that went on at -1.6 and below."""
_SPLIT_WORDS = 1
"""Words by which the unconstrained reading of a name may be longer: "gear box"."""


def goes_on(decoding: Decoding) -> bool:
    """Return whether more was said after the best phrase, which the graph has no words for."""
    return decoding.ending < _ENDS_NATS


def misgiving(decoding: Decoding, lexicon: Lexicon) -> str:
    """Return why what was understood must not pass without asking; empty when nothing speaks against it.

    ``decoding`` has a hypothesis at least; the best is what was understood.
    """
    words, audio_s = decoding.hypotheses[0].words, decoding.audio_s
    if words[-1:] == ("and",) or goes_on(decoding):
        return "more was said after that"
    if audio_s > _SECONDS + _SECONDS_A_LETTER * sum(map(len, words)) + _MORE_SECONDS:
        return "more was said than was heard"
    free = _words(decoding.free_text)
    denials = sorted((_DENIALS & set(free)) - set(words))
    if denials:
        return f'"{denials[0]}" may have been said'
    pairs = set(itertools.pairwise(free))
    if any(pair not in pairs for pair in _is_sound(words, lexicon)):
        return "it may have been a question or the opposite"
    other = sorted((_UNITS & set(free)) - set(words))
    if other and not _UNITS & set(words):
        return f'"{other[0]}" may have been said'
    return ""


def more_than_a_name(decoding: Decoding) -> bool:
    """Return whether more was said than the name of a point: a defect may be what was not heard of it.

    Stricter than :func:`misgiving`, because a name by itself is soon said again. Argument as there.
    """
    words = decoding.hypotheses[0].words
    took = _SECONDS + _SECONDS_A_LETTER * sum(map(len, words)) + _MORE_THAN_A_NAME_S
    free = _words(decoding.free_text)
    longer = len(free) > len(words) and free[: len(words)] == words
    if longer or goes_on(decoding):
        return True
    return decoding.audio_s > took or len(free) > len(words) + _SPLIT_WORDS


def _words(free_text: str) -> tuple[str, ...]:
    plain = free_text.lower().replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    return tuple(re.findall(r"[a-z0-9']+", plain))


def _is_sound(words: tuple[str, ...], lexicon: Lexicon) -> list[tuple[str, str]]:
    """Return each "is" or "are" with the word after it, where that begins a sound condition."""
    said = {tuple(p.split()) for c in lexicon.conditions.values() if c.polarity == "sound" for p in c.say}
    longest = max(map(len, said), default=0)
    return [
        (words[place], words[place + 1])
        for place in range(len(words) - 1)
        if words[place] in _IS
        and any(words[place + 1 : place + 1 + n] in said for n in range(1, longest + 1))
    ]
