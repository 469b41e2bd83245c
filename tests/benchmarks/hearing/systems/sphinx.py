"""PocketSphinx with its own English model, given the same grammar as JSGF."""

from __future__ import annotations

from importlib.metadata import version

import pocketsphinx

from tests.benchmarks.hearing.mixing import Pcm
from tests.benchmarks.hearing.results import Answer, Identity
from tests.benchmarks.hearing.systems import Setup, Stopwatch, slots_of, whole_beginning
from tests.benchmarks.hearing.systems.matching import words_of
from voicelog.errors import VoicelogError, at
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.jsgf import load_jsgf

_SEARCH = "grammar"


class Sphinx:
    """PocketSphinx. Its answer is the longest whole phrase that its words begin with.

    In noise its words often break off within the grammar, as in "... coffee with brown sugar and":
    dropping the loose end does it more justice than to call that a refusal. Without any whole phrase
    it has refused. It is used as it comes: its estimate of the noise goes on from one utterance to the
    next. Each utterance is given at once, so that the cepstral mean is that of the utterance.
    """

    def __init__(self, setup: Setup) -> None:
        grammar = load_jsgf(setup.grammar)
        self._graph = compile_grammar(grammar)
        self._decoder = pocketsphinx.Decoder(lm=None, loglevel="FATAL")
        missing = [w for w in words_of(self._graph) if self._decoder.lookup_word(w) is None]
        if missing:
            raise VoicelogError(
                f"PocketSphinx's dictionary lacks words of the grammar: {', '.join(missing)}",
                where=at(setup.grammar),
                remedy="spell them otherwise, or leave PocketSphinx out with --systems",
            )
        self._decoder.add_jsgf_file(_SEARCH, str(setup.grammar))
        self._decoder.activate_search(_SEARCH)
        self.identity = Identity(
            system="pocketsphinx",
            title="PocketSphinx",
            version=version("pocketsphinx"),
            note="its own en-us model and dictionary, its own settings, the grammar as JSGF, one thread; "
            "the longest whole phrase that its words begin with",
        )

    def answer(self, pcm: Pcm) -> Answer:
        """Decode against the grammar."""
        raw = pcm.tobytes()
        watch = Stopwatch()
        self._decoder.start_utt()
        self._decoder.process_raw(raw, False, True)
        self._decoder.end_utt()
        best = self._decoder.hyp()
        watch.decoded()
        text = best.hypstr if best is not None and best.hypstr else ""
        slots = slots_of(self._graph, whole_beginning(self._graph, tuple(text.split())))
        refused = "" if slots else ("no whole phrase" if text else "nothing heard")
        return Answer(slots=slots, best_slots=slots, text=text, refused=refused, **watch.times())
