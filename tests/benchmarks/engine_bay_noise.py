"""Engine-bay noise, made from a seed: what a recogniser is up against beside a running engine.

A six-cylinder four-stroke diesel at idle (600 to 700 rpm, so it fires 30 to 35 times a second)
with its combustion knock, valve and injector clatter, fan and alternator; an air compressor that
cycles and purges its dryer; and now and then a tool struck or dropped on steel; all heard in a
hard-walled bay. The figures in this module are from memory and set by ear and by spectrum: they
are plausible, not measured from a vehicle.

All sound is mono float32 at 16 kHz. The same arguments give the same samples.

    python -m tests.benchmarks.engine_bay_noise 30 noise.flac --seed 1
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import soundfile

from voicelog.hearing.recogniser import RATE, Samples

FRAME = 2048
"""Samples in the frame whose energy defines the signal-to-noise ratio."""
CYLINDERS = 6
IDLE_RPM = (600.0, 700.0)
LEVEL_DBFS = -26.0
"""RMS of the steady part (engine and fan); an impact may peak far above it."""

_Floats = npt.NDArray[np.float64]


def engine_bay_noise(seconds: float, seed: int, *, impacts: bool = True, compressor: bool = True) -> Samples:
    """Return ``round(seconds * 16000)`` samples of noise in [-1, 1].

    ValueError when ``seconds`` is not positive.
    """
    if seconds <= 0:
        raise ValueError("seconds must be more than 0")
    count = round(seconds * RATE)
    # One generator a source, so that leaving one out does not alter the others.
    engine, fan, air, tools, room = (np.random.default_rng([seed, source]) for source in range(5))
    turns = _crank_turns(count, engine)
    sound = _diesel(turns, engine) + _fan(turns, fan)
    sound *= 10 ** (LEVEL_DBFS / 20) / _rms(_microphone(sound))
    if compressor:
        sound += 10 ** ((LEVEL_DBFS - 3) / 20) * _compressor(count, air)
    if impacts:
        sound += 10 ** (LEVEL_DBFS / 20) * _impacts(count, tools)
    sound = _microphone(_in_the_bay(sound, room))
    # Microphones overload softly; nothing may pass full scale.
    return np.tanh(sound).astype(np.float32)


def mix(speech: Samples, noise: Samples, snr_db: float) -> Samples:
    """Return speech plus the beginning of ``noise``, scaled to half of full scale.

    The ratio is that of the energies of the loudest whole 2,048-sample frames of the speech and
    of the stretch of noise used. ValueError when the noise is the shorter, when the speech has
    no whole frame, or when either is silent.
    """
    if len(noise) < len(speech):
        raise ValueError("the noise is shorter than the speech")
    stretch = noise[: len(speech)]
    loudest_speech, loudest_noise = _loudest_frame_energy(speech), _loudest_frame_energy(stretch)
    if not (loudest_speech and loudest_noise):
        raise ValueError("silence has no signal-to-noise ratio")
    gain = np.sqrt(loudest_speech / (loudest_noise * 10 ** (snr_db / 10)))
    mixed = speech + gain * stretch
    scaled: Samples = (mixed / (2 * np.abs(mixed).max())).astype(np.float32)
    return scaled


def _loudest_frame_energy(samples: Samples) -> float:
    if len(samples) < FRAME:
        raise ValueError(f"fewer than {FRAME} samples")
    frames = samples[: len(samples) // FRAME * FRAME].astype(np.float64).reshape(-1, FRAME)
    return float((frames**2).sum(axis=1).max())


def _rms(samples: _Floats) -> float:
    return float(np.sqrt(np.mean(samples**2)))


def _convolve(samples: _Floats, response: _Floats) -> _Floats:
    """Return ``samples`` through a filter, as long as ``samples``."""
    size = 1 << int(np.ceil(np.log2(len(samples) + len(response))))
    spectrum = np.fft.rfft(samples, size) * np.fft.rfft(response, size)
    filtered: _Floats = np.fft.irfft(spectrum, size)[: len(samples)]
    return filtered


def _ring(modes: Sequence[tuple[float, float, float]]) -> _Floats:
    """Return the sound of a struck body: (hertz, seconds to fall by 60 dB, strength) a mode."""
    longest = max(decay for _, decay, _ in modes)
    t = np.arange(max(2, round(longest * RATE))) / RATE
    ringing: _Floats = np.sum(
        [a * np.exp(-6.9 * t / d) * np.sin(2 * np.pi * f * t) for f, d, a in modes], axis=0
    )
    return ringing


def _coloured(count: int, rng: np.random.Generator, slope_db: float, low: float, high: float) -> _Floats:
    """Return noise of unit RMS that falls ``slope_db`` an octave between two frequencies."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    hertz = np.maximum(np.fft.rfftfreq(count, 1 / RATE), 1.0)
    shape = (hertz / 1000) ** (-slope_db / 6.02)
    shape /= np.sqrt(1 + (low / hertz) ** 4) * np.sqrt(1 + (hertz / high) ** 4)
    sound = np.fft.irfft(spectrum * shape, count)
    return sound / _rms(sound)


def _wander(count: int, rng: np.random.Generator, seconds: float) -> _Floats:
    """Return a slow random walk about 0, about 1 in size, that forgets itself in ``seconds``."""
    step = 0.1
    knots = int(np.ceil(count / RATE / step)) + 2
    keep = np.exp(-step / seconds)
    values = np.empty(knots)
    values[0] = rng.standard_normal()
    for i, kick in enumerate(rng.standard_normal(knots - 1), start=1):
        values[i] = keep * values[i - 1] + np.sqrt(1 - keep**2) * kick
    return np.interp(np.arange(count) / RATE, np.arange(knots) * step, values)


def _crank_turns(count: int, rng: np.random.Generator) -> _Floats:
    """Return the crankshaft's angle in turns at each sample."""
    rpm = rng.uniform(IDLE_RPM[0] + 15, IDLE_RPM[1] - 15) + 5 * np.clip(_wander(count, rng, 2.0), -3, 3)
    return np.cumsum(rpm / 60 / RATE)


def _strikes(turns: _Floats, per_turn: float, offset: float) -> npt.NDArray[np.int64]:
    """Return the samples at which something that happens ``per_turn`` times a turn happens."""
    return np.flatnonzero(np.diff(np.floor(turns * per_turn + offset)) > 0)


def _diesel(turns: _Floats, rng: np.random.Generator) -> _Floats:
    """Return combustion, knock and clatter."""
    count = len(turns)
    firings = _strikes(turns, CYLINDERS / 2, 0.0)
    cylinder = np.arange(len(firings)) % CYLINDERS
    # No two cylinders are alike, and no two strokes: the first gives the half orders, the
    # second the roughness of an idling diesel.
    strength = rng.uniform(0.8, 1.2, CYLINDERS)[cylinder] * (1 + 0.12 * rng.standard_normal(len(firings)))
    pulses = np.zeros(count)
    pulses[firings] = strength
    exhaust = _convolve(pulses, _ring([(33, 0.06, 1.0), (66, 0.07, 0.8), (105, 0.05, 0.5), (190, 0.04, 0.3)]))
    knocks = np.zeros(count)
    knocks[firings] = strength * rng.uniform(0.5, 1.5, len(firings))
    block = [(420, 0.03, 0.35), (870, 0.02, 0.5), (1350, 0.018, 0.6), (1900, 0.014, 0.5), (2650, 0.01, 0.3)]
    knock = _convolve(knocks, _ring(block))
    ticks = np.zeros(count)
    for valve in range(2 * CYLINDERS):
        at = _strikes(turns, 0.5, valve / (2 * CYLINDERS) + 0.03)
        at = np.clip(at + rng.integers(-12, 13, len(at)), 0, count - 1)
        ticks[at] += rng.uniform(0.3, 1.0) * rng.uniform(0.7, 1.3, len(at))
    clatter = _convolve(ticks, _ring([(2900, 0.007, 0.6), (4100, 0.005, 1.0), (5600, 0.004, 0.7)]))
    return 0.7 * exhaust + 0.9 * knock + 0.5 * clatter


def _fan(turns: _Floats, rng: np.random.Generator) -> _Floats:
    """Return the fan's rush, which beats with its blades, and the alternator's thin whine."""
    count = len(turns)
    rush = _coloured(count, rng, 4.5, 120, 5000)
    blades = 1 + 0.25 * np.sin(2 * np.pi * turns * 1.2 * 9)
    whine = np.sin(2 * np.pi * turns * 2.8 * 36) + 0.4 * np.sin(2 * np.pi * turns * 2.8 * 72)
    return 0.3 * (rush * blades + 0.05 * whine)


def _compressor(count: int, rng: np.random.Generator) -> _Floats:
    """Return a two-cylinder compressor that runs for a while, cuts out and purges its dryer."""
    sound = np.zeros(count)
    at = rng.uniform(-15, 20)
    while at < count / RATE:
        runs = rng.uniform(12, 30)
        begin, end = max(0, round(at * RATE)), min(count, round((at + runs) * RATE))
        if end - begin > RATE // 2:
            t = np.arange(end - begin) / RATE
            stroke = 2 * np.pi * np.cumsum(18.0 + 0.15 * _wander(end - begin, rng, 1.0)) / RATE
            beat = np.maximum(np.sin(stroke), 0) ** 3 + 0.6 * np.maximum(-np.sin(stroke), 0) ** 3
            rattle = _coloured(end - begin, rng, 3.0, 250, 4000)
            thump = sum(np.sin(n * stroke + n) / n for n in range(1, 9))
            edges = np.minimum(1, np.minimum(t / 0.4, t[::-1] / 0.15))
            sound[begin:end] += edges * (0.9 * beat * rattle + 0.35 * thump)
        purge = round((at + runs) * RATE)
        if 0 <= purge < count:
            hiss = _coloured(round(1.2 * RATE), rng, -1.0, 800, 7500)
            hiss *= np.exp(-np.arange(len(hiss)) / (0.22 * RATE))
            kept = min(len(hiss), count - purge)
            sound[purge : purge + kept] += 4.0 * hiss[:kept]
        at += runs + rng.uniform(15, 45)
    return sound


def _impacts(count: int, rng: np.random.Generator) -> _Floats:
    """Return about seven strikes a minute: dropped spanners, hammer taps, a ratchet's rattle."""
    sound = np.zeros(count)
    at = rng.exponential(60 / 7)
    while at < count / RATE:
        kind = rng.choice(["drop", "taps", "ratchet"])
        base = rng.uniform(900, 2200)
        # The modes of a free steel bar are far from harmonic: about 1, 2.76, 5.4 and 8.9.
        ratios = ((1.0, 1.0), (2.76, 0.7), (5.4, 0.45), (8.93, 0.25))
        length = rng.uniform(0.08, 0.35) if kind == "drop" else rng.uniform(0.03, 0.1)
        modes = [(base * r, length / np.sqrt(r), a) for r, a in ratios if base * r < 7500]
        bar = _ring([*modes, (rng.uniform(180, 320), 0.08, 0.8)])
        if kind == "drop":
            delays = np.cumsum([0.0, 0.17, 0.1, 0.06, 0.035][: rng.integers(2, 6)])
            weights = 0.6 ** np.arange(len(delays))
        elif kind == "taps":
            delays = np.cumsum(rng.uniform(0.35, 0.6, rng.integers(2, 5)))
            weights = rng.uniform(0.7, 1.0, len(delays))
        else:
            delays = np.cumsum(rng.uniform(0.035, 0.05, rng.integers(8, 20)))
            weights = rng.uniform(0.15, 0.25, len(delays))
        loudness = rng.uniform(3, 9)
        for delay, weight in zip(delays, weights, strict=True):
            begin = round((at + delay) * RATE)
            if begin < count:
                kept = min(len(bar), count - begin)
                sound[begin : begin + kept] += loudness * weight * bar[:kept]
        at += rng.exponential(60 / 7)
    return sound


def _in_the_bay(sound: _Floats, rng: np.random.Generator) -> _Floats:
    """Return the sound with the echo of a hard-walled bay, 0.9 s to fall by 60 dB."""
    tail = rng.standard_normal(round(0.9 * RATE)) * np.exp(-6.9 * np.arange(round(0.9 * RATE)) / (0.9 * RATE))
    tail[: round(0.008 * RATE)] = 0
    tail *= 0.6 / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return _convolve(sound, tail) / float(np.sqrt(1 + 0.6**2))


def _microphone(sound: _Floats) -> _Floats:
    """Return the sound as a small microphone gives it: falling off below 90 Hz, nothing at 0."""
    spectrum = np.fft.rfft(sound)
    hertz = np.fft.rfftfreq(len(sound), 1 / RATE)
    heard: _Floats = np.fft.irfft(spectrum * (hertz / np.hypot(hertz, 90.0)), len(sound))
    return heard


def main() -> None:
    """Write noise to a file, to be listened to."""
    parser = argparse.ArgumentParser(description="Make engine-bay noise from a seed.")
    parser.add_argument("seconds", type=float)
    parser.add_argument("file", help="a .flac or .wav file to write")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--no-impacts", action="store_true")
    parser.add_argument("--no-compressor", action="store_true")
    args = parser.parse_args()
    noise = engine_bay_noise(
        args.seconds, args.seed, impacts=not args.no_impacts, compressor=not args.no_compressor
    )
    soundfile.write(args.file, noise, RATE)


if __name__ == "__main__":
    main()
