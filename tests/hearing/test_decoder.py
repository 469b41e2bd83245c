"""The decoder against CTranslate2's own, which runs the same weights, and its matrices against NumPy."""

from __future__ import annotations

import json

import ctranslate2
import numpy as np
import pytest

from tests.conftest import ROOT
from voicelog.hearing.audio import read_samples
from voicelog.hearing.decoder import Decoder
from voicelog.hearing.features import log_mel
from voicelog.hearing.matrix import Matrix
from voicelog.hearing.models import find_whisper
from voicelog.hearing.recogniser import RATE
from voicelog.hearing.search import free_decode
from voicelog.hearing.weights import read_weights

END, PROMPT = 50256, (50257, 50362)
"""End of text; start of transcript and no timestamps, of the English models' tokenizer."""


def test_a_product_in_eight_bits_is_near_the_exact_one() -> None:
    """Within one part in a hundred of the size of the result, as rounding to 1/127 of each row gives."""
    rng = np.random.default_rng(1)
    weight = rng.normal(0, 0.05, (300, 384)).astype(np.float32)
    x = rng.normal(0, 1, (7, 384)).astype(np.float32)
    exact = x @ weight.T
    assert np.abs(Matrix(weight)(x) - exact).max() < 0.03 * np.abs(exact).max()


def test_rows_do_not_change_each_other() -> None:
    """Each row has its own scale: a loud one takes nothing from a quiet one."""
    rng = np.random.default_rng(2)
    matrix = Matrix(rng.normal(0, 1, (20, 64)).astype(np.float32))
    quiet, loud = rng.normal(0, 1e-4, (1, 64)), rng.normal(0, 1e4, (1, 64))
    together = matrix(np.concatenate([quiet, loud]).astype(np.float32))
    np.testing.assert_array_equal(together[0], matrix(quiet.astype(np.float32))[0])


@pytest.mark.parametrize("number", [9, 17, 42])
def test_free_decoding_reads_what_ctranslate2_reads(number: int) -> None:
    """The likeliest text, greedily, of three lines of the recorded walk; their likelihoods agree.

    CTranslate2 4 is the reference: its score is the mean log-probability of the tokens and the end.
    """
    folder = find_whisper().path
    model = ctranslate2.models.Whisper(str(folder), device="cpu", compute_type="float32")
    line = json.loads((ROOT / "samples" / "engine_61_walk.times.json").read_text())["lines"][number]
    samples = read_samples(ROOT / "samples" / "engine_61_walk.opus")
    samples = samples[int((line["start_s"] - 0.3) * RATE) : int((line["end_s"] + 0.2) * RATE)]
    features = ctranslate2.StorageView.from_array(log_mel(samples, 80, 3000)[None])
    encoded = model.encode(features)
    read = model.generate(
        encoded, [list(PROMPT)], beam_size=1, return_scores=True, suppress_blank=False, suppress_tokens=[]
    )[0]
    decoder = Decoder(read_weights(folder / "model.bin"))
    nothing_forbidden = np.zeros(len(decoder.embeddings), np.float32)
    tokens, likelihood = free_decode(
        decoder,
        decoder.attend_to(np.asarray(encoded).astype(np.float32)[0]),
        PROMPT,
        END,
        nothing_forbidden,
        beam=1,
        most_tokens=60,
    )
    assert list(tokens) == [t for t in read.sequences_ids[0] if t != END]
    assert likelihood / (len(tokens) + 1) == pytest.approx(read.scores[0], abs=0.15)
