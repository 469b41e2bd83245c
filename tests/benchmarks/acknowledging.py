"""What is said while carried defects are read out, by synthetic voices in engine-bay noise; and how long
the reading of 1, 5 and 15 defects takes.

Acknowledgements are heard with the phrase graph of that moment, interpreted and decided. Beside them,
words that acknowledge nothing: whatever comes of them, no defect may be acknowledged.

    python -m tests.benchmarks.acknowledging
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from tests.benchmarks.bay.sounds import AFTER_S, BEFORE_S
from tests.benchmarks.bay.speakers import speakers_here, speech
from tests.benchmarks.bay.tables import share, table
from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from tests.opening import without_gate
from voicelog.graphs import Graphs
from voicelog.hearing.recogniser import RATE, Samples, Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import interpret
from voicelog.paths import shipped
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet
from voicelog.voice.spoken import for_the_ear
from voicelog.voice.synthesis import find_speaker
from voicelog.walk.carried import read_out
from voicelog.walk.decide import context_of, decide
from voicelog.walk.events import (
    CarriedDefect,
    CommandHeard,
    DefectAcknowledged,
    DefectsCarried,
    WalkStarted,
)
from voicelog.walk.state import WalkState, apply, fold

AT = datetime(2026, 11, 25, 7, 0, tzinfo=UTC)
ACKNOWLEDGED = ("acknowledged", "affirmative", "affirm", "fan belt acknowledged")
OTHERS = {
    "say again": "command heard",
    "negative": "command heard",
    "remark": "command heard",
    "remark on fan belt": "command heard",
    "stand by": "command heard",
    "hand over": "command heard",
}
"""Other words that are said then, and the event that must come of each."""
STRANGERS = (
    *("not acknowledged", "I have not seen it", "left lift cylinder dry", "left lift cylinder dripping"),
    *("wheels chocked", "engine off", "who left that open", "knowledge", "college", "next stop"),
)
"""What acknowledges nothing."""
_FIFTEEN = (
    ("left lift cylinder", "leak", "dripping", "", "in the shop", False),
    ("right lift cylinder", "leak", "weeping", "", "deferred until 2026-12-04", False),
    ("fan belt", "reading:deflection", "deflection 1 in", "above the limit", "confirmed", False),
    ("water pump", "leak", "dripping", "", "repair certified", True),
    ("upper radiator hose", "damage", "chafed", "", "repaired, not certified", True),
)


def main() -> None:
    """Speak, hear and print; exit code 1 where anything was acknowledged that was not."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    voices = speakers_here()
    parser.add_argument("--voices", nargs="+", choices=voices, default=voices[:3], metavar="VOICE")
    parser.add_argument("--ratios", nargs="+", type=float, default=(24.0, 12.0), metavar="DB")
    parser.add_argument("--cache", type=Path, default=Path("/tmp/voicelog-bay"), metavar="FOLDER")
    parser.add_argument("--rows", action="store_true", help="print each that was not as meant")
    args = parser.parse_args()
    sheet = without_gate(load_sheet(shipped("grammars") / "engine_bay.toml"))
    _reading(sheet)
    ear, graphs = WhisperRecogniser(), Graphs(sheet, {})
    lines, wrong = [], 0
    for ratio in args.ratios:
        counts: dict[str, Counter[str]] = {}
        said = [*((s, "defect acknowledged") for s in ACKNOWLEDGED), *OTHERS.items()]
        for number, (words, meant) in enumerate([*said, *((s, "") for s in STRANGERS)]):
            state = told(sheet, 3)
            kind = "acknowledgements" if words in ACKNOWLEDGED else "control words" if meant else "strangers"
            for voice in args.voices:
                sound = _in_noise(speech(words, voice, args.cache), ratio, number)
                outcome, heard = _heard(state, graphs, ear, sound, words, meant)
                counts.setdefault(kind, Counter())[outcome] += 1
                wrong += outcome == "acknowledged wrongly"
                if args.rows and outcome not in ("right", "left alone"):
                    print(f"{ratio:.0f} dB  {voice:12} {words!r}: {outcome}, {heard}")
        outcomes = ("right", "left alone", "refused", "other", "acknowledged wrongly")
        for kind, count in counts.items():
            total = count.total()
            lines.append((f"{ratio:.0f}", kind, total, *(share(count[o], total) for o in outcomes)))
    print(table(lines, ("dB", "said", "n", *("right", "left alone", "refused", "other", "wrongly"))))
    sys.exit(1 if wrong else 0)


def told(sheet: Sheet, number: int) -> WalkState:
    """Return a walk that reads out its first of so many carried defects."""
    defects = tuple(
        CarriedDefect(
            defect_id=f"engine_61-d{n + 1}",
            point_id="fan_belt",
            point=point,
            matter=matter,
            what=what,
            class_name=class_name,
            state="certified" if again else "heard",
            stood=stood,
            since="2026-11-23",
            look_again=again,
        )
        for n in range(number)
        for point, matter, what, class_name, stood, again in (_FIFTEEN[n % len(_FIFTEEN)],)
    )
    words = dict.fromkeys(WalkStarted.model_fields, "x")
    words |= {"kind": "walk started", "operator": "R. Alder", "extent": "daily"}
    return fold(sheet, ((AT, e) for e in (WalkStarted(**words), DefectsCarried(defects=defects))))


def _reading(sheet: Sheet) -> None:
    """Print how long the defects are read out, by the voice that a walk has."""
    voice = find_speaker()
    if voice is None:
        print("no voice here: the reading was not timed")
        return
    for number in (1, 5, 15):
        state, seconds, count = told(sheet, number), 0.0, 0
        for place in range(number):
            (reply,) = read_out(state, following=place > 0)
            words = for_the_ear(reply.text, sheet.lexicon)
            samples, rate = voice.speak(words)
            seconds, count = seconds + len(samples) / rate, count + len(words.split())
            known = state.to_acknowledge
            assert known is not None
            ack = DefectAcknowledged(defect_id=known.defect_id, by="R. Alder", heard=Heard(text="x"))
            state = apply(state, ack, AT)
        print(f"{number} defects: {count} words, {seconds:.1f} s read out, {seconds / number:.1f} s each")


def _in_noise(words: Samples, ratio: float, seed: int) -> Samples:
    padded = np.pad(words, (round(BEFORE_S * RATE), round(AFTER_S * RATE))).astype(np.float32)
    return mix(padded, engine_bay_noise(len(padded) / RATE + 0.1, seed), ratio)


def _heard(
    state: WalkState, graphs: Graphs, ear: WhisperRecogniser, sound: Samples, words: str, meant: str
) -> tuple[str, str]:
    """Return what came of words, and what was heard."""
    graph = graphs.now(state)
    decoding = ear.decode(Utterance(sound, 0.0), graph)
    found = interpret(decoding, graph, context_of(state))
    events = decide(state, found, Heard(text=found.text)).events
    best = decoding.hypotheses[0].posterior if decoding.hypotheses else 0.0
    heard = f"{found.text or found.reason!r} of {decoding.free_text!r}, {best:.3f}"
    acknowledged = any(isinstance(event, DefectAcknowledged) for event in events)
    if acknowledged and meant != "defect acknowledged":
        return "acknowledged wrongly", heard
    if not meant:
        return "left alone", heard
    if found.act == "refused":
        return "refused", heard
    right = events[0].kind == meant and (acknowledged or _command(events[0]) in words)
    return ("right" if right else "other"), heard


def _command(event: object) -> str:
    return event.command if isinstance(event, CommandHeard) else "-"


if __name__ == "__main__":
    main()
