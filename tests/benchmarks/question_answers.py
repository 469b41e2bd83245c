"""Short answers to open questions, spoken by synthetic voices in engine-bay noise.

Each doubt of a table is made as two near decodings make it; then an answer is spoken, heard with the
phrase graph that the walk has at that moment, and decided. Beside the answers, words that are none:
whatever comes of them, nothing sound may be on record that was not before.

    python -m tests.benchmarks.question_answers --voices "flite slt" "flite rms"
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from tests.benchmarks.bay.sounds import AFTER_S, BEFORE_S
from tests.benchmarks.bay.speakers import speakers_here, speech
from tests.benchmarks.bay.tables import share, table
from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from tests.opening import without_gate
from voicelog.graphs import Graphs
from voicelog.hearing.recogniser import RATE, Decoding, Hypothesis, Samples, Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.meaning.facts import Heard
from voicelog.meaning.interpret import interpret
from voicelog.meaning.wording import say_claim
from voicelog.paths import shipped
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet
from voicelog.walk.decide import context_of, decide
from voicelog.walk.events import StopEntered, WalkStarted
from voicelog.walk.state import WalkState, apply, fold

AT = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
NONE = "none"
"""What an answer comes to that takes the entry back."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """What was said, as it may have been heard, and the answers with what each settles."""

    stop: str
    heard: tuple[tuple[str, float], ...]
    answers: tuple[tuple[str, str], ...]
    """Words, and the claim that they settle it as; :data:`NONE` where nothing of it stays."""
    strangers: tuple[str, ...]
    """Words that are no answer to it."""


DOUBTS = (
    Doubt(
        "engine_front",
        (("left brake hose chafed", 0.6), ("right brake hose chafed", 0.4)),
        (
            ("left", "left brake hose chafed"),
            ("right", "right brake hose chafed"),
            ("the left one", "left brake hose chafed"),
            ("right side", "right brake hose chafed"),
            ("it's the left", "left brake hose chafed"),
            ("negative, right", "right brake hose chafed"),
        ),
        ("tight", "dry", "two", "clean"),
    ),
    Doubt(
        "left_front",
        (("left lift cylinder dripping", 0.6), ("left lift cylinder dry", 0.4)),
        (
            ("dry", "left lift cylinder dry"),
            ("dripping", "left lift cylinder dripping"),
            ("it is dry", "left lift cylinder dry"),
            ("it's dripping", "left lift cylinder dripping"),
            ("the first", "left lift cylinder dripping"),
            ("negative, dripping", "left lift cylinder dripping"),
        ),
        ("tight", "intact", "left", "clean"),
    ),
    Doubt(
        "engine_front",
        (("fan belt deflection one half inch", 0.6), ("fan belt deflection one and one half inches", 0.4)),
        (
            ("one half", "fan belt deflection one half inch"),
            ("half an inch", "fan belt deflection one half inch"),
            ("one and a half", "fan belt deflection one and one half inches"),
            ("one and a half inches", "fan belt deflection one and one half inches"),
            ("it's one half inch", "fan belt deflection one half inch"),
            ("an inch and a half", "fan belt deflection one and one half inches"),
        ),
        ("tight", "dry", "left", "good"),
    ),
    Doubt(
        "left_front",
        (("left brake hose intact", 0.9),),
        (
            ("affirmative", "left brake hose intact"),
            ("negative", NONE),
            ("intact", "left brake hose intact"),
            ("that is affirmative", "left brake hose intact"),
            ("disregard", NONE),
        ),
        ("dry", "tight", "left", "two"),
    ),
    Doubt(
        "engine_front",
        (("upper radiator hose chafed", 0.6), ("lower radiator hose chafed", 0.4)),
        (
            ("upper hose", "upper radiator hose chafed"),
            ("lower hose", "lower radiator hose chafed"),
            ("the upper radiator hose", "upper radiator hose chafed"),
            ("it's the lower hose", "lower radiator hose chafed"),
            ("the second one", "lower radiator hose chafed"),
        ),
        ("tight", "dry", "fan belt", "clean"),
    ),
)


def main() -> None:
    """Speak, hear and print; exit code 1 where anything sound was logged that was not said."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    voices = speakers_here()
    parser.add_argument("--voices", nargs="+", choices=voices, default=voices[:4], metavar="VOICE")
    parser.add_argument("--ratios", nargs="+", type=float, default=(12.0, 6.0), metavar="DB")
    parser.add_argument("--cache", type=Path, default=Path("/tmp/voicelog-bay"), metavar="FOLDER")
    parser.add_argument("--rows", action="store_true", help="print each answer that was not taken")
    args = parser.parse_args()
    ear = WhisperRecogniser()
    sheet = without_gate(load_sheet(shipped("grammars") / "engine_bay.toml"))
    graphs = Graphs(sheet, {})
    lines, wrong = [], 0
    for ratio in args.ratios:
        counts: dict[bool, Counter[str]] = {True: Counter(), False: Counter()}
        for number, (doubt, said, expected) in enumerate(_said()):
            state = asked(sheet, graphs, doubt)
            for voice in args.voices:
                sound = _in_noise(speech(said, voice, args.cache), ratio, number)
                outcome, what = answered(state, graphs, ear, sound, expected)
                counts[expected is not None][outcome] += 1
                wrong += outcome == "passed"
                if args.rows and outcome not in ("right", "left open"):
                    print(f"{ratio:.0f} dB  {voice:12} {said!r}: {outcome} {what}")
        for is_answer, name in ((True, "answers"), (False, "no answers")):
            total = counts[is_answer].total()
            outcomes = ("right", "asked again", "refused", "left open", "wrong", "passed")
            lines.append(
                (f"{ratio:.0f}", name, total, *(share(counts[is_answer][o], total) for o in outcomes))
            )
    print(table(lines, ("dB", "said", "n", *("right", "asked", "refused", "left open", "wrong", "passed"))))
    sys.exit(1 if wrong else 0)


def _said() -> Iterator[tuple[Doubt, str, str | None]]:
    for doubt in DOUBTS:
        for said, expected in doubt.answers:
            yield doubt, said, expected
        for said in doubt.strangers:
            yield doubt, said, None


def _in_noise(words: Samples, ratio: float, seed: int) -> Samples:
    padded = np.pad(words, (round(BEFORE_S * RATE), round(AFTER_S * RATE))).astype(np.float32)
    return mix(padded, engine_bay_noise(len(padded) / RATE + 0.1, seed), ratio)


def asked(sheet: Sheet, graphs: Graphs, doubt: Doubt) -> WalkState:
    """Return a walk that has just asked the doubt's question."""
    words = dict.fromkeys(WalkStarted.model_fields, "x")
    words |= {"kind": "walk started", "operator": "R. Alder", "extent": "daily"}
    state = fold(sheet, ((AT, e) for e in (WalkStarted(**words), StopEntered(stop_id=doubt.stop))))
    hypotheses = tuple(Hypothesis(tuple(text.split()), -1.0, p) for text, p in doubt.heard)
    first = doubt.heard[0][0]
    decoding = Decoding(hypotheses, 1.0 - sum(p for _, p in doubt.heard), first, 0.0)
    meant = interpret(decoding, graphs.now(state), context_of(state))
    for event in decide(state, meant, Heard(text=first)).events:
        state = apply(state, event, AT)
    assert state.asked is not None, doubt
    return state


def answered(
    state: WalkState, graphs: Graphs, ear: WhisperRecogniser, sound: Samples, expected: str | None
) -> tuple[str, str]:
    """Return what came of an answer, and what was heard."""
    graph = graphs.now(state)
    decoding = ear.decode(Utterance(sound, 0.0), graph)
    meant = interpret(decoding, graph, context_of(state))
    outcome = decide(state, meant, Heard(text=meant.text))
    then = state
    for event in outcome.events:
        then = apply(then, event, AT)
    best = decoding.hypotheses[0].posterior if decoding.hypotheses else 0.0
    what = f"{meant.text or meant.reason!r} of {decoding.free_text!r}, {best:.3f}"
    standing = [entry.claim for entry in then.standing()]
    said = {say_claim(claim, state.sheet) for claim in standing}
    open_ = bool(then.doubts())
    if any(c.polarity == "sound" and say_claim(c, state.sheet) != expected for c in standing):
        return "passed", what
    if said and said != {expected}:
        return "wrong", what
    if expected is None:
        return ("left open" if open_ else "wrong"), what
    if said == {expected} or (expected == NONE and not said and not open_):
        return "right", what
    if not open_:
        return "wrong", what
    return ("asked again" if any(r.kind == "doubt" for r in outcome.replies) else "refused"), what


if __name__ == "__main__":
    main()
