"""The four tones, computed: told apart beside an engine by number, rhythm, length and contour.

Sources. Patterson, "Auditory warning sounds in the work environment", Phil. Trans. R. Soc. Lond. B
327 (1990) 485-492: pulses with at least four components, so that one masked component does not
change their character; rounded on- and offsets; warnings set apart by their rhythm, since those
that share one are confused. IEC 60601-1-8: pulse frequency of 150 to 1000 Hz, at least four
harmonics in 300 to 4000 Hz, and more pulses for what is graver. Details of both are from memory.

Only harmonics in :data:`BAND_HZ` are sounded: an engine is loudest below it, and small loudspeakers
give nothing there. The ear hears the missing fundamental from their spacing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from voicelog.hearing.recogniser import Samples

Tone = Literal["taken", "doubt", "not understood", "trouble"]

MEANINGS: dict[Tone, str] = {
    "taken": "it is on the disk",
    "doubt": "a question is open: answer it, or leave it for the officer",
    "not understood": "nothing was logged: say it again",
    "trouble": "something is wrong: it may not be logged",
}
"""Every tone and what it means, the least grave first."""

BAND_HZ = (800.0, 3000.0)
EDGE_S = 0.015
"""How long a pulse takes to rise and to fall."""
PEAK = 0.6


@dataclass(frozen=True, slots=True)
class Pulse:
    """One pulse: its fundamental goes from one frequency to another, and silence follows it."""

    seconds: float
    from_hz: float
    to_hz: float
    gap_s: float = 0.0


PATTERNS: dict[Tone, tuple[Pulse, ...]] = {
    "taken": (Pulse(0.13, 480, 480),),
    "doubt": (Pulse(0.1, 330, 330, 0.13), Pulse(0.16, 494, 560)),
    "not understood": (Pulse(0.42, 560, 300),),
    "trouble": (
        Pulse(0.07, 560, 560, 0.05),
        Pulse(0.07, 370, 370, 0.05),
        Pulse(0.07, 560, 560, 0.19),
        Pulse(0.07, 370, 370, 0.05),
        Pulse(0.07, 560, 560),
    ),
}
"""One short level pulse; a low and a higher one, as a question rises; one long fall; five fast ones
in a group of three and a group of two."""


@lru_cache(maxsize=16)
def tone(name: Tone, rate: int) -> Samples:
    """Return a tone as mono samples at ``rate`` hertz, at most :data:`PEAK` high. Do not change it.

    ValueError where ``rate`` cannot carry the band.
    """
    if rate < 2 * BAND_HZ[1]:
        raise ValueError(f"a rate of {rate} Hz cannot carry {BAND_HZ[1]:.0f} Hz")
    sound = np.concatenate([_pulse(pulse, rate) for pulse in PATTERNS[name]])
    scaled: Samples = (PEAK * sound / np.abs(sound).max()).astype(np.float32)
    return scaled


def _pulse(pulse: Pulse, rate: int) -> npt.NDArray[np.float64]:
    count = round(pulse.seconds * rate)
    pitch = np.geomspace(pulse.from_hz, pulse.to_hz, count)
    phase = 2 * np.pi * np.cumsum(pitch) / rate
    low, high = BAND_HZ
    sound = np.zeros(count)
    for harmonic in range(1, int(high // pitch.min()) + 1):
        # A harmonic fades out at the edges of the band, so that a glide crosses them without a click.
        inside = np.clip(np.minimum(harmonic * pitch / low - 0.9, 1.1 - harmonic * pitch / high) / 0.1, 0, 1)
        # Schroeder's phases keep the peak low for a given loudness.
        sound += inside * np.sin(harmonic * phase + np.pi * harmonic * (harmonic - 1) / 6)
    edge = round(EDGE_S * rate)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    sound[:edge] *= rise
    sound[count - edge :] *= rise[::-1]
    rms = np.sqrt(np.mean(sound**2))
    return np.concatenate([sound / rms, np.zeros(round(pulse.gap_s * rate))])
