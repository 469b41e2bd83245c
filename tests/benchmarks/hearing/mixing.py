"""Speech with noise at a given ratio, by the method of the data set's publisher.

The ratio is the energy of the loudest whole frame of 2,048 samples of the speech over that of the
noise, in decibels. The stretch of noise is chosen by the CRC-32 of the speech file's name, so a mix
is the same on every machine. The sum is scaled to half of full scale and kept as 16-bit samples, as
a file would be.
"""

from __future__ import annotations

import io
import zlib

import numpy as np
import numpy.typing as npt
import soundfile

from voicelog.errors import VoicelogError

FRAME = 2048
"""Samples in a frame."""

Samples = npt.NDArray[np.float64]
"""Mono samples in [-1, 1]."""
Pcm = npt.NDArray[np.int16]
"""Mono samples as 16-bit whole numbers."""


def loudest_frame_energy(samples: Samples) -> float:
    """Return the largest sum of squares over whole frames.

    Raises :class:`VoicelogError` for sound shorter than one frame.
    """
    whole = len(samples) // FRAME
    if not whole:
        raise VoicelogError(f"the sound is shorter than one frame of {FRAME} samples")
    return float(np.square(samples[: whole * FRAME].reshape(whole, FRAME)).sum(axis=1).max())


def ratio_db(speech: Samples, noise: Samples) -> float:
    """Return the ratio of two signals in decibels, as the publisher counts it."""
    return float(10 * np.log10(loudest_frame_energy(speech) / loudest_frame_energy(noise)))


def stretch_of(noise: Samples, length: int, name: str) -> Samples:
    """Return the ``length`` samples of noise that go with the speech file ``name`` (no suffix).

    Raises :class:`VoicelogError` when the noise is not longer than the speech.
    """
    if len(noise) <= length:
        raise VoicelogError(
            f"the noise is not longer than the speech of {name}", remedy="give a longer recording of noise"
        )
    start = np.random.default_rng(zlib.crc32(name.encode())).integers(0, len(noise) - length)
    return noise[start : start + length]


def scaled_noise(speech: Samples, noise: Samples, wanted_db: float) -> Samples:
    """Return noise of the speech's length, scaled to the wanted ratio."""
    ratio = loudest_frame_energy(speech) / (loudest_frame_energy(noise) * 10 ** (wanted_db / 10))
    return noise * float(np.sqrt(ratio))


def mix(speech: Samples, noise: Samples, wanted_db: float, name: str) -> Pcm:
    """Return the speech of the file ``name`` in a stretch of noise, as 16-bit samples."""
    mixed = speech + scaled_noise(speech, stretch_of(noise, len(speech), name), wanted_db)
    return as_pcm(mixed / (2 * np.abs(mixed).max()))


def as_pcm(samples: Samples) -> Pcm:
    """Return what a 16-bit FLAC file of the samples holds: libsndfile's own rounding."""
    file = io.BytesIO()
    soundfile.write(file, samples, 16_000, format="FLAC", subtype="PCM_16")
    file.seek(0)
    pcm: Pcm = soundfile.read(file, dtype="int16")[0]
    return pcm
