"""Log-mel features as Whisper's encoder expects them.

80 (or 128) mel bands, 25 ms Hann windows every 10 ms, 16 kHz; log10 power, floored 8 below the
loudest cell of the utterance and scaled. The recipe is that of the paper (Radford et al. 2022,
"Robust Speech Recognition via Large-Scale Weak Supervision", section 2.2) and its published code.
"""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

from voicelog.hearing.recogniser import RATE, Samples

FFT = 400
HOP = 160
FRAMES_PER_SECOND = RATE // HOP

Features = npt.NDArray[np.float32]
"""Bands x frames."""


def _mel(hertz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Slaney's mel scale: linear below 1 kHz, logarithmic above (Auditory Toolbox, 1998)."""
    linear = hertz * 3.0 / 200.0
    return np.where(
        hertz < 1000.0, linear, 15.0 + np.log(np.maximum(hertz, 1e-9) / 1000.0) * 27.0 / np.log(6.4)
    )


def _hertz(mel: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.where(mel < 15.0, mel * 200.0 / 3.0, 1000.0 * np.exp(np.log(6.4) / 27.0 * (mel - 15.0)))


@functools.cache
def mel_filters(bands: int) -> Features:
    """Return triangular, area-normalised filters, bands x (FFT / 2 + 1)."""
    bins = np.fft.rfftfreq(FFT, 1 / RATE)
    top = _mel(np.array([RATE / 2]))[0]
    edges = _hertz(np.linspace(0.0, top, bands + 2))
    rising = (bins[None] - edges[:-2, None]) / (edges[1:-1] - edges[:-2])[:, None]
    falling = (edges[2:, None] - bins[None]) / (edges[2:] - edges[1:-1])[:, None]
    triangles = np.maximum(0.0, np.minimum(rising, falling))
    filters: Features = (triangles * (2.0 / (edges[2:] - edges[:-2]))[:, None]).astype(np.float32)
    return filters


def log_mel(samples: Samples, bands: int, frames: int) -> Features:
    """Return the features of ``samples`` followed by digital silence, bands x ``frames``.

    Silence is part of the signal, as in the model's training, and not a block of zeros after the
    scaling: a zero in scaled features is a sound of middle loudness.
    """
    wanted = frames * HOP
    padded = np.zeros(wanted + FFT, np.float32)
    kept = samples[:wanted]
    half = FFT // 2
    padded[half : half + len(kept)] = kept
    padded[:half] = padded[half + 1 : 2 * half + 1][::-1]  # reflection at the start
    view = np.lib.stride_tricks.sliding_window_view(padded, FFT)[::HOP][:frames]
    spoken = min(frames, -(-(len(kept) + half) // HOP) + 1)  # beyond it every frame is silent
    window = np.hanning(FFT + 1)[:-1].astype(np.float32)
    power = np.zeros((frames, FFT // 2 + 1), np.float32)
    power[:spoken] = np.abs(np.fft.rfft(view[:spoken] * window, axis=1)) ** 2
    logs = np.log10(np.maximum(mel_filters(bands) @ power.T, 1e-10))
    logs = np.maximum(logs, logs.max() - 8.0)
    features: Features = ((logs + 4.0) / 4.0).astype(np.float32)
    return features
