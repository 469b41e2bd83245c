"""Features and weights against values worked out from their published definitions."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest

from voicelog.errors import ModelError
from voicelog.hearing.decoder import _erf
from voicelog.hearing.features import log_mel, mel_filters
from voicelog.hearing.recogniser import RATE
from voicelog.hearing.weights import read_weights


def test_error_function_agrees_with_the_standard_library() -> None:
    """Abramowitz and Stegun 7.1.26 promises 1.5e-7; math.erf is the reference."""
    import math

    x = np.linspace(-4, 4, 801).astype(np.float32)
    assert np.abs(_erf(x) - np.array([math.erf(v) for v in x])).max() < 5e-7


def test_mel_bands_are_equally_wide_below_one_kilohertz_and_have_unit_area() -> None:
    """Slaney's scale (Auditory Toolbox, 1998) is linear to 1 kHz; filters are normalised by area."""
    filters = mel_filters(80)
    bins = np.fft.rfftfreq(400, 1 / RATE)
    centres = [float((row * bins).sum() / row.sum()) for row in filters]
    below = [c for c in centres if 100 < c < 900]
    assert np.ptp(np.diff(below)) < 15  # Hz; the grid of 40 Hz bins blurs each centre
    wide = filters[60:]  # where a triangle covers many bins its sampled area is exact enough
    assert np.allclose(wide.sum(1) * 40.0, 1.0, atol=0.05)


@pytest.mark.parametrize("hertz", [440.0, 1000.0, 3000.0])
def test_a_tone_is_loudest_in_the_band_that_holds_it(hertz: float) -> None:
    """The peak lies in the band whose triangle covers the tone's frequency."""
    t = np.arange(RATE) / RATE
    features = log_mel((0.5 * np.sin(2 * np.pi * hertz * t)).astype(np.float32), 80, 200)
    bins = np.fft.rfftfreq(400, 1 / RATE)
    band = int(features[:, 20:80].mean(1).argmax())
    covered = bins[mel_filters(80)[band] > 0]
    assert covered.min() - 40 <= hertz <= covered.max() + 40


def test_silence_after_the_speech_is_the_floor_not_zero() -> None:
    """What follows the utterance is 8 below the loudest cell, scaled: the model's own silence."""
    noise = np.random.default_rng(1).normal(0, 0.1, RATE).astype(np.float32)
    features = log_mel(noise, 80, 300)
    assert np.allclose(features[:, 150:], features.max() - 2.0, atol=1e-6)


def test_a_cut_model_file_is_refused_in_words(tmp_path: Path) -> None:
    """Half a file, or another version of it, is named as such."""
    for content in (b"", struct.pack("<I", 6) + b"\x03\x00ab", struct.pack("<I", 5) + bytes(64)):
        path = tmp_path / "model.bin"
        path.write_bytes(content)
        with pytest.raises(ModelError, match="cannot be read") as caught:
            read_weights(path)
        assert str(path) in caught.value.where and caught.value.remedy
