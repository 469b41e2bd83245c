"""voicelog's own engine, through the protocol that the rest of voicelog uses."""

from __future__ import annotations

import hashlib
from pathlib import Path

import voicelog
from tests.benchmarks.hearing.mixing import Pcm
from tests.benchmarks.hearing.results import Answer, Claim, Identity
from tests.benchmarks.hearing.systems import Setup, Stopwatch, as_floats, slots_of
from voicelog.hearing.recogniser import Decoding, Utterance
from voicelog.hearing.whisper import WhisperOptions, WhisperRecogniser
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.jsgf import load_jsgf


class Ours:
    """Grammar-constrained Whisper."""

    def __init__(self, setup: Setup) -> None:
        self._graph = compile_grammar(load_jsgf(setup.grammar))
        self._recogniser = WhisperRecogniser(setup.model, WhisperOptions(threads=setup.threads))
        self.identity = Identity(
            system="voicelog",
            title="voicelog",
            version=f"{voicelog.__version__}, source {source_hash()[:12]}, {self._recogniser.name}",
            note=f"its own engine over the weights {self._recogniser.model_sha256[:12]}, "
            f"{setup.threads} threads",
        )

    def answer(self, pcm: Pcm) -> Answer:
        """Decode against the grammar."""
        utterance = Utterance(as_floats(pcm), 0.0)
        watch = Stopwatch()
        decoding = self._recogniser.decode(utterance, self._graph)
        watch.decoded()
        return answer_of(decoding, self._graph).model_copy(update=watch.times())


def answer_of(decoding: Decoding, graph: PhraseGraph) -> Answer:
    """Return the answer in a decoding, with the posterior of each slot of the best hypothesis.

    A slot's posterior is the sum over the hypotheses that agree on its value.
    """
    if not decoding.hypotheses:
        return Answer(slots=None, text="", heard=decoding.free_text, refused=decoding.refused, posterior=0.0)
    best = decoding.hypotheses[0]
    readings = [(slots_of(graph, h.words) or {}, h.posterior) for h in decoding.hypotheses]
    best_slots = readings[0][0]
    claims = tuple(
        Claim(slot=name, value=value, posterior=sum(p for slots, p in readings if slots.get(name) == value))
        for name, value in best_slots.items()
    )
    return Answer(
        slots=None if decoding.refused else best_slots,
        text=best.text,
        heard=decoding.free_text,
        refused=decoding.refused,
        posterior=best.posterior,
        best_slots=best_slots,
        claims=claims,
    )


def source_hash() -> str:
    """Return the SHA-256 of what decodes: a changed engine is another one."""
    digest = hashlib.sha256()
    package = Path(voicelog.__file__).parent
    for part in ("hearing", "phrases"):
        for path in sorted((package / part).rglob("*.py")):
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()
