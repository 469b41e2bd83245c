"""The four tones against a model of the ear and the noise of an engine bay.

The judge is not ours: the gammatone filters of scipy.signal, spaced as R. F. Lyon and M. Slaney give
them ("Auditory Toolbox", 1998), the envelopes compressed to a cube root (Stevens's law).
"""

from itertools import combinations

import numpy as np
import numpy.typing as npt
import pytest
from scipy.signal import gammatone, lfilter

from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from voicelog.hearing.audio import Block
from voicelog.hearing.endpoint import CHUNK, Endpointer
from voicelog.hearing.recogniser import RATE, Samples
from voicelog.voice.tones import MEANINGS, PATTERNS, Tone, tone

TONES = tuple(MEANINGS)
FRAME = RATE // 100
"""Ten milliseconds."""

Cochleagram = npt.NDArray[np.float64]
"""Loudness by band and frame, above what goes on steadily."""


def _erb_spaced(low: float, high: float, count: int) -> npt.NDArray[np.float64]:
    # Equal steps on the scale of Glasberg and Moore 1990: 21.4 log10(1 + 0.00437 f).
    steps = np.linspace(np.log10(1 + 0.00437 * low), np.log10(1 + 0.00437 * high), count)
    return np.asarray((10**steps - 1) / 0.00437)


def _heard(samples: Samples) -> Cochleagram:
    bands = []
    for centre in _erb_spaced(300, 5000, 24):
        b, a = gammatone(centre, "iir", fs=RATE)
        power = lfilter(b, a, samples) ** 2
        frames = power[: len(power) // FRAME * FRAME].reshape(-1, FRAME).mean(axis=1)
        bands.append(np.cbrt(frames))
    heard = np.array(bands)
    # A listener gets used to what goes on steadily: what counts is what stands out from it.
    steady = np.median(heard, axis=1, keepdims=True)
    stands_out: Cochleagram = np.maximum(heard - steady, 0)
    return stands_out


def _with_silence(name: Tone, before_s: float = 0.5, after_s: float = 0.5) -> Samples:
    samples = tone(name, RATE)
    before, after = (np.zeros(round(s * RATE), np.float32) for s in (before_s, after_s))
    return np.concatenate([before, samples, after])


def _likeness(template: Cochleagram, heard: Cochleagram) -> float:
    """Return the largest normalised correlation of the two over all shifts in time."""
    frames = template.shape[1]
    padded = np.pad(heard, ((0, 0), (frames, frames)))
    size = np.linalg.norm(template) * np.linalg.norm(heard)
    return max(
        float(np.sum(template * padded[:, shift : shift + frames]) / size)
        for shift in range(padded.shape[1] - frames + 1)
    )


def _templates() -> dict[Tone, Cochleagram]:
    return {name: _heard(_with_silence(name, 0.2, 0.2)) for name in TONES}


def _nearest(samples: Samples) -> Tone:
    heard = _heard(samples)
    templates = _templates()
    return max(templates, key=lambda name: _likeness(templates[name], heard))


def test_taken_is_short() -> None:
    """The tone that is heard most takes less than 150 ms."""
    assert len(tone("taken", RATE)) / RATE < 0.15


@pytest.mark.parametrize("rate", [16_000, 44_100, 48_000])
@pytest.mark.parametrize("name", TONES)
def test_components(name: Tone, rate: int) -> None:
    """Each tone keeps to 0.8 to 3 kHz, and each of its pulses has at least four harmonics there."""
    samples = tone(name, rate).astype(float)
    power = np.abs(np.fft.rfft(samples)) ** 2
    hertz = np.fft.rfftfreq(len(samples), 1 / rate)
    assert power[(hertz > 750) & (hertz < 3100)].sum() > 0.95 * power.sum()
    # IEC 60601-1-8: a pulse frequency of 150 to 1000 Hz with at least four harmonics (from memory).
    for pulse in PATTERNS[name]:
        for pitch in (pulse.from_hz, pulse.to_hz):
            assert 150 <= pitch <= 1000
            assert sum(750 < pitch * n < 3100 for n in range(1, 30)) >= 4


def test_tones_are_unlike_each_other() -> None:
    """No two tones are alike to the model of the ear, at any shift in time."""
    templates = _templates()
    likeness = {pair: _likeness(templates[pair[0]], templates[pair[1]]) for pair in combinations(TONES, 2)}
    assert max(likeness.values()) < 0.75, likeness


@pytest.mark.parametrize("snr_db", [12, 6, 0, -6])
@pytest.mark.parametrize("name", TONES)
def test_told_apart_beside_an_engine(name: Tone, snr_db: float) -> None:
    """A tone beside a running engine is nearest to itself, in each of eight stretches of noise."""
    samples = _with_silence(name)
    took_it_for = [_nearest(mix(samples, engine_bay_noise(3, seed), snr_db)) for seed in range(8)]
    assert took_it_for == [name] * 8


@pytest.mark.parametrize("name", TONES)
def test_stands_out_of_the_noise(name: Tone) -> None:
    """A tone 6 dB above the steady noise is 13 dB above it in at least one third of an octave."""
    # ISO 7731, method by thirds of an octave: 13 dB above the masked threshold (from memory; the
    # threshold is taken to be the noise's level in the band, without the spread of masking).
    samples = tone(name, RATE)
    noise = engine_bay_noise(3, 1, impacts=False)[: len(samples)]
    spectra = [np.abs(np.fft.rfft(s.astype(float))) ** 2 for s in (samples, noise)]
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE)
    total = [s.sum() for s in spectra]
    above = []
    for centre in 1000 * 2 ** (np.arange(-2, 6) / 3):
        band = (hertz >= centre * 2 ** (-1 / 6)) & (hertz < centre * 2 ** (1 / 6))
        above.append(10 * np.log10((spectra[0][band].sum() / total[0]) / (spectra[1][band].sum() / total[1])))
    assert max(above) + 6 >= 13


@pytest.mark.parametrize("loudness", [1.0, 0.3, 0.05])
@pytest.mark.parametrize("name", TONES)
def test_not_taken_for_speech(name: Tone, loudness: float) -> None:
    """A tone that reaches the microphone opens no utterance, in quiet or beside an engine."""
    for background in (np.zeros(3 * RATE, np.float32), engine_bay_noise(3, 2, impacts=False)):
        sound = background.copy()
        samples = tone(name, RATE) * np.float32(loudness)
        for begin in (RATE, 2 * RATE):
            sound[begin : begin + len(samples)] += samples
        endpointer = Endpointer()
        heard = [
            utterance
            for begin in range(0, len(sound), CHUNK)
            for utterance in endpointer.accept(Block(sound[begin : begin + CHUNK], begin / RATE))
        ]
        assert [*heard, *endpointer.finish()] == []


def test_rate_too_low() -> None:
    """A rate that cannot carry the tones is refused."""
    with pytest.raises(ValueError, match="cannot carry"):
        tone("taken", 4000)
