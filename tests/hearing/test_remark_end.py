"""Where a remark ends, heard by the engine in synthetic voices: a few of ``tests/benchmarks/remarks.py``."""

from __future__ import annotations

import pytest

from tests.benchmarks.remarks import ends_heard_by, heard_last
from tests.benchmarks.voices import available_voices
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.remark_end import remark_end
from voicelog.sheet.model import Sheet

pytestmark = pytest.mark.skipif(
    not {"slt", "en-gb"} <= set(available_voices()), reason="not installed: flite, espeak-ng"
)
SAID = [
    ("slt", "coolant weeping at the pump seal. end of remark", "at the end"),
    ("rms", "bolt torque unknown, ask the shop. end remark", "at the end"),
    ("kal16", "slow drip after the engine has been running ten minutes. end of remark", "at the end"),
    ("awb", "the hose was replaced in the spring and rubs on the bracket, end of remark", "at the end"),
    ("en-gb", "loose. end of remark", "at the end"),
    ("slt", "end of remark", "alone"),
    ("en-gb", "end of remark", "alone"),
    ("slt", "coolant weeping at the pump seal", None),
    ("rms", "we should send it to the shop before the end of the month", None),
    ("kal16", "please read the earlier remark", None),
    ("awb", "the fitting at the end of the park brake line", None),
    ("en-gb", "front end alignment mark is gone", None),
    ("slt", "it comes loose at the end of the arc", None),
    ("rms", "his remark was about the dark stain", None),
]


def test_the_end_of_a_remark_is_heard_and_dictation_is_not_taken_for_it(engine_bay: Sheet) -> None:
    """In one breath with what is dictated or alone it ends the remark; other sentences do not."""
    hears = ends_heard_by(WhisperRecogniser(), engine_bay)
    heard = [(voice, text, remark_end(heard_last(text, voice), hears)) for voice, text, _ in SAID]
    assert [(voice, text, end.where if end else None) for voice, text, end in heard] == SAID
