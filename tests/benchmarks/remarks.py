"""Remarks: how soon one is taken, what it costs the phrase after it, and where its end is heard.

Synthetic voices, without noise. ``python -m tests.benchmarks.remarks`` prints both tables; ``--voices``
chooses the voices, ``--repeat`` how often the times are taken. Leave the machine alone meanwhile.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import click
import numpy as np

from tests.benchmarks.voices import available_voices, speak
from tests.opening import without_gate
from voicelog.clock import now
from voicelog.conduct import Conductor
from voicelog.hearing.audio import Block
from voicelog.hearing.endpoint import CHUNK, Endpointer
from voicelog.hearing.recogniser import RATE, Decoding, Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.meaning.interpret import Interpretation, interpret
from voicelog.meaning.understand import Context
from voicelog.paths import shipped
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.sheet_grammar import listening_grammar
from voicelog.records.store import Store
from voicelog.remark_end import Hears, remark_end
from voicelog.sheet import load_sheet, load_unit
from voicelog.sheet.model import Sheet, Unit
from voicelog.walk.replies import Update

LONG = (
    "the lower radius rod bushing has started to walk out of its bore and there is a witness mark where "
    "the eye has been rubbing on the bracket so the shop should look at it before the next long run"
)
DICTATED = (
    "fitting looks cut near the clamp",
    "coolant weeping at the pump seal",
    "the hose was replaced in the spring and rubs on the bracket",
    "bolt torque unknown ask the shop",
    "slow drip after the engine has been running ten minutes",
    "the lower radius rod bushing has started to walk out of its bore",
)
NEAR = (
    "we should send it to the shop before the end of the month",
    "see my remark from last week",
    "there is rust at the end of the rod",
    "the marking on the hose end is worn off",
    "i found it at the end of the shift",
    "please read the earlier remark",
    "it comes loose at the end of the arc",
    "the clamp is at the end of the lower hose",
    "add that to the end of the report",
    "this is the end of the bracket",
    "his remark was about the dark stain",
    "front end alignment mark is gone",
    "near the end of her mark",
    "the fitting at the end of the park brake line",
)
"""Sentences that end as the phrase that ends a remark sounds, more or less."""


def heard_last(text: str, voice: str) -> Utterance:
    """Return the last utterance of a text spoken after a second of quiet, as the endpointer gives it."""
    quiet = np.zeros(RATE, np.float32)
    stream = np.concatenate([quiet, speak(text, voice), quiet])
    endpointer = Endpointer()
    found: list[Utterance] = []
    for at in range(0, len(stream), CHUNK):
        found += endpointer.accept(Block(stream[at : at + CHUNK], at / RATE))
    return (found + endpointer.finish())[-1]


def ends_heard_by(recogniser: WhisperRecogniser, sheet: Sheet) -> Hears:
    """Return what :func:`remark_end` asks, of an engine."""
    graph = compile_grammar(listening_grammar(("end of remark",)))
    context = Context(sheet, sheet.stops[0].id)

    def hears(sound: Utterance) -> tuple[Decoding, Interpretation]:
        decoding = recogniser.decode(sound, graph)
        return decoding, interpret(decoding, graph, context)

    return hears


def _timed(hear: Callable[[Utterance], Update], utterance: Utterance) -> tuple[float, float]:
    """Return the seconds, and the processor's, until an utterance is answered."""
    wall, processor = time.perf_counter(), time.process_time()
    hear(utterance)
    return time.perf_counter() - wall, time.process_time() - processor


def times(recogniser: WhisperRecogniser, sheet: Sheet, unit: Unit, repeat: int) -> None:
    """Print how soon a long remark is taken, and how soon the phrase after it is answered."""
    remark, phrase = heard_last(LONG, "slt"), heard_last("fan belt chafed", "slt")
    with Store.open(Path(tempfile.mkdtemp()), clock=now) as store:
        walk = Conductor(store, sheet, unit, recogniser, clock=now)
        walk.begin("R. Alder")
        walk.typed("go to engine front")
        walk.hear(phrase)  # the graph is made
        rows: dict[str, list[tuple[float, float]]] = {"alone": [], "remark": [], "after": []}
        for _ in range(repeat):
            rows["alone"].append(_timed(walk.hear, phrase))
            with walk.dictation.behind():
                walk.dictation.quiet(True)
                walk.typed("remark")
                rows["remark"].append(_timed(walk.hear, remark))
                walk.typed("end of remark")
                time.sleep(0.3)  # the words are being made
                rows["after"].append(_timed(walk.hear, phrase))
    names = {
        "alone": "a phrase, nothing else going on",
        "remark": f"a remark of {len(remark.samples) / RATE:.1f} s: until it is taken",
        "after": "a phrase while the words of that remark are being made",
    }
    for key, name in names.items():
        wall, processor = (sorted(row[k] for row in rows[key]) for k in (0, 1))
        middle = repeat // 2
        own = f", processor {processor[middle]:.2f} s" if key != "after" else ""
        click.echo(f"{name}: median {wall[middle]:.2f} s, most {wall[-1]:.2f} s{own}")


@click.command()
@click.option("--voices", default="slt,rms,awb,kal16,en-us,en-gb", show_default=True)
@click.option("--repeat", default=5, show_default=True)
def main(voices: str, repeat: int) -> None:
    """Print how soon remarks are taken, and where their end is heard."""
    unit = load_unit(shipped("samples", "engine_61.toml"))
    sheet = without_gate(load_sheet(shipped("grammars", "engine_bay.toml"), unit=unit))
    recogniser = WhisperRecogniser()
    times(recogniser, sheet, unit, repeat)
    hears = ends_heard_by(recogniser, sheet)
    for voice in (v for v in voices.split(",") if v in available_voices()):
        ended = sum(
            remark_end(heard_last(f"{said}. end of remark", voice), hears) is not None for said in DICTATED
        )
        wrong = [
            said for said in (*NEAR, *DICTATED) if remark_end(heard_last(said, voice), hears) is not None
        ]
        click.echo(
            f"{voice}: end heard {ended} of {len(DICTATED)}; "
            f"taken for the end {len(wrong)} of {len(NEAR) + len(DICTATED)} {wrong or ''}"
        )


if __name__ == "__main__":
    main()
