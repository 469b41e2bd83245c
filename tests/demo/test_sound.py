"""The shipped sound fits its script, and the generator places and mixes as it says."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from samples.make_walk import make_walk, trimmed, walk_noise
from tests.benchmarks.engine_bay_noise import mix
from tests.demo.making import ROOT, write_script
from voicelog.demo import Script, load_script
from voicelog.hearing.recogniser import RATE, Samples


@pytest.fixture(scope="module")
def shipped() -> Script:
    return load_script(ROOT / "samples" / "engine_61_walk.toml")


def test_the_shipped_sound_fits_its_script(shipped: Script) -> None:
    """Small, 16 kHz mono Opus, as long as its times, and louder where a line is spoken."""
    assert shipped.sound_path.stat().st_size < 5_000_000
    info = soundfile.info(shipped.sound_path)
    assert (info.format, info.subtype, info.samplerate, info.channels) == ("OGG", "OPUS", RATE, 1)
    assert shipped.lines[-1].end_s < info.duration < 600
    samples, _ = soundfile.read(shipped.sound_path, dtype="float32")
    ends = [0.0, *(line.end_s for line in shipped.lines)]
    for before, line in zip(ends, shipped.lines, strict=False):
        gap, speech = level(samples, before + 0.3, line.start_s), level(samples, line.start_s, line.end_s)
        assert gap > 1e-4, "the noise never stops"
        assert speech > gap, line.say


def level(samples: Samples, start_s: float, end_s: float) -> float:
    """Return the loudest tenth of a second's RMS between two times."""
    part = samples[round(start_s * RATE) : round(end_s * RATE)]
    frames = part[: len(part) // 1600 * 1600].reshape(-1, 1600)
    return float(np.sqrt((frames**2).mean(axis=1)).max())


def tone(text: str, voice: str) -> Samples:
    """Speak as a tone of half a second, with silence around it."""
    wave = 0.1 * np.sin(2 * np.pi * 440 * np.arange(RATE // 2) / RATE)
    return np.pad(wave, (4000, 6000)).astype(np.float32)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Script:
    lines = [(text, ("nothing",), 0.0, 0.0) for text in ("one", "two", "three")]
    return load_script(write_script(tmp_path_factory.mktemp("small"), lines), with_times=False)


def test_lines_are_placed_by_their_gaps(small: Script) -> None:
    """A gap is the time from the end of the speech before, its own silence cut away."""
    walk = make_walk(small, tone)
    assert len(trimmed(tone("", ""))) == pytest.approx(RATE // 2, abs=320)
    befores = [0.0, *(end for _, end in walk.times)]
    for (start, end), before in zip(walk.times, befores, strict=False):
        assert start - before == pytest.approx(1.2, abs=0.001)
        assert end - start == pytest.approx(0.5, abs=0.021)
    assert len(walk.samples) / RATE == pytest.approx(walk.times[-1][1] + 3.0, abs=0.001)
    assert np.abs(walk.samples).max() == pytest.approx(0.8, abs=1e-6)


def test_the_same_script_gives_the_same_samples(small: Script) -> None:
    """Making the sound twice makes it the same."""
    assert np.array_equal(make_walk(small, tone).samples, make_walk(small, tone).samples)


def test_the_ratio_is_that_of_the_benchmarks(small: Script) -> None:
    """A line is the benchmark's mix of its speech and the noise beneath it, but for loudness."""
    walk = make_walk(small, tone)
    noise = walk_noise(len(walk.samples) / RATE, small.noise_seed)
    said = trimmed(tone("", ""))
    start = round(walk.times[1][0] * RATE)
    mixed = mix(said, noise[start : start + len(said)], 20.0)
    stretch = walk.samples[start : start + len(said)]
    assert np.allclose(stretch / np.abs(stretch).max(), mixed / np.abs(mixed).max(), atol=1e-4)
