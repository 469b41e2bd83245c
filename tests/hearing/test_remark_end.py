"""Where a remark ends, heard by the engine in synthetic voices.

What was seen with six dictated sentences and this phrase after each, in flite's slt, rms, awb and kal16
and espeak-ng's en-us and en-gb, without noise: every end was heard. Of twenty sentences that
end otherwise one was taken for the end, in espeak-ng's two voices: "near the end of her mark".
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.voices import available_voices, speak
from voicelog.hearing.audio import Block
from voicelog.hearing.endpoint import CHUNK, Endpointer
from voicelog.hearing.recogniser import RATE, Decoding, Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.meaning.interpret import Interpretation, interpret
from voicelog.meaning.understand import Context
from voicelog.phrases.graph import compile_grammar
from voicelog.phrases.sheet_grammar import listening_grammar
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


def last_of(text: str, voice: str) -> Utterance:
    quiet = np.zeros(RATE, np.float32)
    stream = np.concatenate([quiet, speak(text, voice), quiet])
    endpointer = Endpointer()
    found: list[Utterance] = []
    for at in range(0, len(stream), CHUNK):
        found += endpointer.accept(Block(stream[at : at + CHUNK], at / RATE))
    return (found + endpointer.finish())[-1]


def test_the_end_of_a_remark_is_heard_and_dictation_is_not_taken_for_it(engine_bay: Sheet) -> None:
    """In one breath with what is dictated or alone it ends the remark; other sentences do not."""
    recogniser = WhisperRecogniser()
    graph = compile_grammar(listening_grammar(("end of remark",)))
    context = Context(engine_bay, engine_bay.stops[0].id)

    def hears(sound: Utterance) -> tuple[Decoding, Interpretation]:
        decoding = recogniser.decode(sound, graph)
        return decoding, interpret(decoding, graph, context)

    heard = [(voice, text, remark_end(last_of(text, voice), hears)) for voice, text, _ in SAID]
    assert [(voice, text, end.where if end else None) for voice, text, end in heard] == SAID
