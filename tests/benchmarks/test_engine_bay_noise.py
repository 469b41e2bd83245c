from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from voicelog.hearing.recogniser import RATE


def test_the_same_seed_gives_the_same_noise() -> None:
    """A benchmark can be repeated; another seed is another bay."""
    noise = engine_bay_noise(5, 1)
    np.testing.assert_array_equal(noise, engine_bay_noise(5, 1))
    assert not np.array_equal(noise, engine_bay_noise(5, 2))
    assert noise.dtype == np.float32
    assert len(noise) == 5 * RATE
    assert np.abs(noise).max() <= 1


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_engine_fires_as_often_as_a_six_cylinder_diesel_at_idle(seed: int) -> None:
    """Six cylinders that fire every other turn, at 600 to 700 rpm: 30 to 35 Hz and its multiples."""
    noise = engine_bay_noise(30, seed, impacts=False, compressor=False)
    spectrum = np.mean(np.abs(np.fft.rfft(noise.reshape(-1, 2 * RATE) * np.hanning(2 * RATE))) ** 2, axis=0)
    hertz = np.arange(len(spectrum)) / 2
    band = (hertz >= 25) & (hertz <= 45)
    firing = hertz[band][np.argmax(spectrum[band])]
    assert 30 <= firing <= 35
    for multiple in (2, 3):
        near = np.abs(hertz - multiple * firing) <= 1.5 * multiple
        between = np.abs(hertz - (multiple + 0.25) * firing) <= 2
        assert spectrum[near].max() > 4 * np.median(spectrum[between])


def test_engine_noise_is_steady_and_impacts_stand_out() -> None:
    """Over frames of 128 ms the engine stays within a few decibels; a dropped spanner does not."""

    def spread_db(impacts: bool) -> float:
        noise = engine_bay_noise(60, 1, impacts=impacts, compressor=False)
        power = (noise[: len(noise) // 2048 * 2048].reshape(-1, 2048) ** 2).mean(axis=1)
        return float(10 * np.log10(power.max() / np.median(power)))

    assert spread_db(False) < 3
    assert spread_db(True) > 6


def test_the_ratio_of_a_mix_is_that_of_the_loudest_frames() -> None:
    """At 10 dB the loudest frame of the speech has ten times the energy of that of the noise."""
    speech = np.zeros(4 * 2048, np.float32)
    speech[2048:4096] = 0.25
    noise = np.full(5 * 2048, 0.01, np.float32)
    mixed = mix(speech, noise, 10)
    # 0.25 squared is ten times the square of the noise's level after mixing.
    level = 0.25 / np.sqrt(10)
    assert mixed[2048] / mixed[0] == pytest.approx((0.25 + level) / level, rel=1e-5)
    assert np.abs(mixed).max() == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("speech", "noise"),
    [(np.ones(4096), np.ones(4095)), (np.ones(100), np.ones(4096)), (np.zeros(4096), np.ones(4096))],
)
def test_a_ratio_that_means_nothing_is_refused(speech: np.ndarray, noise: np.ndarray) -> None:
    """Too little noise, too little speech, and silence."""
    with pytest.raises(ValueError):
        mix(speech.astype(np.float32), noise.astype(np.float32), 10)
