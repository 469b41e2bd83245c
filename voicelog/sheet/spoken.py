"""What a phrase must be so that a person can say it and a recogniser can follow it.

A spoken phrase is lower-case words of letters (in English, a to z), single spaces between them: no
digits, no punctuation. Control words belong to the dialogue and cannot name anything else.
"""

from __future__ import annotations

import re
import unicodedata

from num2words import num2words

from voicelog.sheet.model import Language

CLOCK_PHRASES: tuple[str, ...] = (
    "start",
    "mark",
    "stop",
    "start the clock",
    "stop the clock",
    "cancel test",
    "read the clock",
)
"""Said of timed tests, the first three before a name or a reading; only sheets with such tests need them."""

CONTROL_PHRASES: tuple[str, ...] = (
    "say again",
    "correction",
    "disregard",
    "stand by",
    "resume",
    "hand over",
    "acknowledged",
    "affirmative",
    "negative",
    "next stop",
    "previous stop",
    "what is left",
    "what is left on the walk",
    "mark the rest of this stop sound",
    "what is open",
    "where am i",
    "remark",
    "end of remark",
    "walk complete",
    *CLOCK_PHRASES,
)
"""Said to steer the dialogue, so never the name of a point, a stop or a condition."""

MAY_BE_LEFT_OUT: tuple[str, ...] = (
    "acknowledged",
    "what is left on the walk",
    "mark the rest of this stop sound",
    "what is open",
    "hand over",
    *CLOCK_PHRASES,
)
"""Control words that a lexicon in another language need not have: they only tell something, another
word does as well, or they are for timed tests, which its sheets may not have."""

_SPOKEN = re.compile(r"[a-z]+(?: [a-z]+)*")
_SPOKEN_ELSEWHERE = re.compile(r"[^\W\d_]+(?: [^\W\d_]+)*")
_NUMBER = re.compile(r"\d+")


def phrase_fault(phrase: str, language: Language | None = None) -> tuple[str, str] | None:
    """Return what is wrong with a spoken phrase and what to write, or None. No language is English."""
    if not phrase.strip():
        return "an empty phrase cannot be said", "Write the words a person says, or take the phrase out."
    control = control_phrases(language)
    if phrase in control:
        return (
            f'"{phrase}" is a control word and cannot name anything else',
            "Choose another phrase; the control words are: " + ", ".join(control) + ".",
        )
    return letters_fault(phrase, language)


def control_phrases(language: Language | None) -> tuple[str, ...]:
    """Return the phrases that steer the dialogue in a language."""
    if language is None:
        return CONTROL_PHRASES
    return tuple(p for said in (*language.commands.values(), language.correction) for p in said)


def letters_fault(phrase: str, language: Language | None = None) -> tuple[str, str] | None:
    """Return what is wrong with the letters of a phrase and what to write, or None."""
    if language is None:
        fits = _SPOKEN.fullmatch(phrase) is not None
    else:
        # One spelling of each word: a recogniser compares characters.
        same = phrase == unicodedata.normalize("NFC", phrase.lower())
        fits = same and _SPOKEN_ELSEWHERE.fullmatch(phrase) is not None
    if fits:
        return None
    if any(c.isdigit() for c in phrase):
        fault = "has digits in it"
    elif any(unicodedata.category(c)[0] in "PS" for c in phrase):
        fault = "has punctuation in it"
    elif phrase != phrase.lower():
        fault = "has capital letters in it"
    elif language is not None and phrase != unicodedata.normalize("NFC", phrase):
        fault = "has letters in it that are put together from parts"
    elif language is None and any(c.isalpha() and not "a" <= c <= "z" for c in phrase):
        fault = "has letters beyond a to z in it"
    else:
        fault = "has stray spaces in it"
    return (
        f'the spoken phrase "{phrase}" {fault}',
        f'Write lower-case words as they are said: "{as_spoken(phrase, language)}".',
    )


def as_spoken(phrase: str, language: Language | None = None) -> str:
    """Return ``phrase`` respelt as lower-case words: numbers in (English) words, marks dropped."""
    if language is not None:
        whole = unicodedata.normalize("NFC", phrase.lower())
        return " ".join(re.findall(r"[^\W\d_]+", whole)) or "words"
    plain = unicodedata.normalize("NFKD", phrase)
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = plain.replace("'", "").replace("\u2019", "")
    plain = _NUMBER.sub(lambda m: f" {num2words(int(m[0]))} ", plain)
    plain = plain.replace("&", " and ")
    return " ".join(re.findall(r"[a-z]+", plain.lower())) or "words"
