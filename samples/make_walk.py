"""Makes the sound of a scripted walk: synthetic voices over engine-bay noise that never stops.

    python -m samples.make_walk [samples/engine_61_walk.toml]

Run from the repository's root, with the voices of tests/benchmarks/voices.py installed. Writes
the script's ``sound`` (Ogg Opus, 16 kHz, mono) and its ``times`` (JSON, seconds). The same script,
voices and noise give the same samples; the file's bytes differ by its serial number alone.

The signal-to-noise ratio of a line is that of tests/benchmarks/engine_bay_noise.py: the energies
of the loudest 2,048-sample frames of the speech and of the noise beneath it.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from tests.benchmarks.engine_bay_noise import FRAME, engine_bay_noise
from tests.benchmarks.voices import speak
from voicelog.demo import Line, Script, load_script
from voicelog.hearing.recogniser import RATE, Samples

STRIKES = 0.4
"""How loud the struck tools are, as a part of what the noise module makes them: at full strength
one strike under a word would need a shout to be heard over."""
COMPRESSION = 0.8
"""About 60 kbit/s. The usual 25 kbit/s for speech alone spoils speech in noise for a recogniser."""
TAIL_S = 3.0
PEAK = 0.8
QUIET_DB = -45.0
"""Speech begins and ends where its level passes this, relative to its loudest frame."""

Speaker = Callable[[str, str], Samples]
"""From text and voice to speech."""


@dataclass(frozen=True, slots=True)
class Walk:
    """The sound and, per line, the first and the last second of its speech."""

    samples: Samples
    times: tuple[tuple[float, float], ...]


def make_walk(script: Script, speaker: Speaker = speak) -> Walk:
    """Return the whole walk as sound: float32, mono, 16 kHz, peak 0.8."""
    speech = [trimmed(speaker(line.say, line.voice)) for line in script.lines]
    starts, ends = place(script.lines, speech)
    noise = walk_noise(ends[-1] / RATE + TAIL_S, script.noise_seed)
    mixed = noise.astype(np.float64)
    for line, said, start, end in zip(script.lines, speech, starts, ends, strict=True):
        ratio = loudest_frame_energy(noise[start:end]) / loudest_frame_energy(said)
        mixed[start:end] += np.sqrt(ratio * 10 ** (line.snr_db / 10)) * said
    mixed *= PEAK / np.abs(mixed).max()
    times = tuple((round(s / RATE, 3), round(e / RATE, 3)) for s, e in zip(starts, ends, strict=True))
    return Walk(mixed.astype(np.float32), times)


def place(lines: tuple[Line, ...], speech: list[Samples]) -> tuple[list[int], list[int]]:
    """Return the first sample of each line and the one after its last."""
    starts, ends, now = list[int](), list[int](), 0
    for line, said in zip(lines, speech, strict=True):
        starts.append(now + round(line.gap_s * RATE))
        now = starts[-1] + len(said)
        ends.append(now)
    return starts, ends


def walk_noise(seconds: float, seed: int) -> Samples:
    """Return engine-bay noise with its strikes softened by :data:`STRIKES`."""
    steady = engine_bay_noise(seconds, seed, impacts=False)
    struck = engine_bay_noise(seconds, seed)
    return (steady + STRIKES * (struck - steady)).astype(np.float32)


def trimmed(speech: Samples) -> Samples:
    """Return the speech without the silence before and after it, in steps of 10 ms."""
    step = RATE // 100
    energy = (speech[: len(speech) // step * step].astype(np.float64).reshape(-1, step) ** 2).mean(axis=1)
    loud = np.flatnonzero(energy > energy.max() * 10 ** (QUIET_DB / 10))
    return speech[loud[0] * step : (loud[-1] + 1) * step]


def loudest_frame_energy(samples: Samples) -> float:
    """Return the energy of the loudest whole frame; shorter sound is one frame."""
    padded = np.pad(samples.astype(np.float64), (0, max(0, FRAME - len(samples))))
    frames = padded[: len(padded) // FRAME * FRAME].reshape(-1, FRAME)
    return float((frames**2).sum(axis=1).max())


def write(script: Script, walk: Walk) -> None:
    """Write the sound and the times beside the script."""
    soundfile.write(
        script.sound_path, walk.samples, RATE, format="OGG", subtype="OPUS", compression_level=COMPRESSION
    )
    lines = [
        {"say": line.say, "start_s": start, "end_s": end}
        for line, (start, end) in zip(script.lines, walk.times, strict=True)
    ]
    times = {"seconds": round(len(walk.samples) / RATE, 3), "lines": lines}
    script.times_path.write_text(json.dumps(times, indent=1) + "\n", encoding="utf-8")


def main() -> None:
    """Make the sound and the times of one script."""
    parser = argparse.ArgumentParser(description="Make the sound of a scripted walk.")
    default = Path(__file__).parent / "engine_61_walk.toml"
    parser.add_argument("script", type=Path, nargs="?", default=default)
    script = load_script(parser.parse_args().script, with_times=False)
    walk = make_walk(script)
    write(script, walk)
    seconds, size = len(walk.samples) / RATE, script.sound_path.stat().st_size / 1e6
    print(f"{len(script.lines)} lines, {seconds:.0f} s, {size:.2f} MB: {script.sound_path}")


if __name__ == "__main__":
    main()
