"""Written answers as they are spoken."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicelog.paths import shipped
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Language, Lexicon, Sheet
from voicelog.voice.spoken import for_the_ear

SHEET: Sheet = load_sheet(shipped("grammars", "engine_bay.toml"))
LEXICON: Lexicon = SHEET.lexicon


@pytest.mark.parametrize(
    ("written", "spoken"),
    [
        # How people say these: common practice, no published source.
        ("belt deflection 3/8 in", "belt deflection three eighths of an inch"),
        ("at most 1/4 in", "at most one quarter of an inch"),
        ("deflection one half inch", "deflection one half inch"),
        ("deflection three eighths inch", "deflection three eighths of an inch"),
        ("deflection two and three eighths inches", "deflection two and three eighths inches"),
        ("1/2 in", "one half inch"),
        ("1 1/2 in", "one and one half inches"),
        ("1 in", "one inch"),
        ("0.5 in", "zero point five inches"),
        ("3-1/2 qt", "three and one half quarts"),
        # Tread gauges are read in thirty-seconds throughout (common practice, no published source).
        ("tread 4/32 in", "tread four thirty seconds of an inch"),
        ("at most 12.60 V", "at most twelve point six volts"),
        ("air tank 120 psi", "air tank one hundred twenty p s i"),
        ("one psi", "one p s i"),
        ("-40 \N{DEGREE SIGN}F", "minus forty degrees fahrenheit"),
        ("5 inH2O", "five inches of water"),
        ("12,500 psi", "twelve thousand five hundred p s i"),
        ("7.25", "seven point two five"),
        ("left front; 2 of 45 covered", "left front, two of forty five covered"),
        ("left lift cylinder: dry or dripping?", "left lift cylinder, dry or dripping?"),
        ("disk full. Free some (50 %) & go on", "disk full. Free some, fifty percent, and go on"),
        ("see voicelog doctor --disk", "see voicelog doctor disk"),
        ("correct entry e3", "correct entry e three"),
        ("\x1b[31mred\x07", "thirty one mred"),
        ("--", ""),
        ("", ""),
    ],
)  # fmt: skip
def test_spoken(written: str, spoken: str) -> None:
    """What is written short is spoken in full, and nothing is left that an engine would spell."""
    assert for_the_ear(written, LEXICON) == spoken


@given(st.text(max_size=60) | st.from_regex(r"[0-9 /.,-]{1,12} ?(in|psi|V|L)?", fullmatch=True))
def test_any_text(text: str) -> None:
    """Whatever is written, only words and the marks of a sentence are spoken."""
    assert re.fullmatch(r"[^\W\d_ ,.?']*|([^\W\d_]|[ ,.?'])*", for_the_ear(text, LEXICON))


def test_every_caution_has_words() -> None:
    """Every caution and name of the shipped sheet can be spoken."""
    cautions = [c for stop in SHEET.stops for c in stop.cautions] + list(SHEET.cautions)
    names = [p.full_name for p in SHEET.points.values()]
    for text in (*cautions, *names):
        assert len(for_the_ear(text, LEXICON).split()) >= len(text.split()) - 1


def test_other_language() -> None:
    """In another language the figures are left to the engine, and its letters are kept."""
    korean = Language("Korean", {}, (), (), (), (), (), (), (), ())
    lexicon = Lexicon({}, {}, {}, {}, {}, "", korean)
    assert for_the_ear("왼쪽 실린더: 3 psi?", lexicon) == "왼쪽 실린더, 3 psi?"
