"""Whisper as faster-whisper runs it, its text matched to the nearest phrase of the grammar."""

from __future__ import annotations

import random
from importlib.metadata import version

import ctranslate2
from faster_whisper import WhisperModel

from tests.benchmarks.hearing.mixing import Pcm
from tests.benchmarks.hearing.results import Answer, Identity
from tests.benchmarks.hearing.systems import Setup, Stopwatch, as_floats, slots_of
from tests.benchmarks.hearing.systems.matching import NearestPhrase, normalised
from voicelog.hearing.models import find_whisper
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.jsgf import load_jsgf

BEAM = 5
AUTOMATIC = "auto"
"""The prompt that stands for one made from the grammar."""


class FreeWhisper:
    """faster-whisper with its own settings and the same weights as ours."""

    def __init__(self, setup: Setup) -> None:
        self._graph = compile_grammar(load_jsgf(setup.grammar))
        self._nearest = NearestPhrase(self._graph)
        self._cutoff = setup.cutoff
        self._prompt = domain_prompt(self._graph) if setup.prompt == AUTOMATIC else setup.prompt
        model = find_whisper(setup.model)
        self._model = WhisperModel(
            str(model.path), device="cpu", compute_type="int8", cpu_threads=setup.threads
        )
        packages = ", ".join(f"{name} {version(name)}" for name in ("faster-whisper", "ctranslate2"))
        prompt = f'prompt "{self._prompt}"' if self._prompt else "no prompt"
        self.identity = Identity(
            system="whisper",
            title="free Whisper",
            version=f"{packages}, {model.name}",
            note=f"the weights {model.sha256[:12]}, beam {BEAM}, {prompt}, {setup.threads} threads; nearest "
            f"phrase of the grammar, refused below {setup.cutoff:g} of 100",
        )

    def answer(self, pcm: Pcm) -> Answer:
        """Transcribe, then match."""
        samples = as_floats(pcm)
        # It falls back to sampling when a text looks wrong to it: the same seed, the same text.
        ctranslate2.set_random_seed(1)
        watch = Stopwatch()
        segments, _ = self._model.transcribe(
            samples, language="en", beam_size=BEAM, initial_prompt=self._prompt or None
        )
        heard = " ".join(segment.text.strip() for segment in segments)
        watch.decoded()
        found = self._nearest.to(normalised(heard))
        slots = slots_of(self._graph, found.words) if found else None
        refused = ""
        if not found:
            refused = "nothing heard"
        elif found.likeness < self._cutoff:
            refused = f"like no phrase ({found.likeness:.0f} of 100)"
        return Answer(
            slots=None if refused else slots,
            best_slots=slots,
            text=" ".join(found.words) if found else "",
            heard=heard,
            refused=refused,
            **watch.times(),
        )


def domain_prompt(graph: PhraseGraph) -> str:
    """Return the longest of a few seeded phrases of the grammar, written as a sentence."""
    rng = random.Random(1)
    longest = max((graph.sample(rng) for _ in range(50)), key=len)
    return " ".join(longest).capitalize() + "."
