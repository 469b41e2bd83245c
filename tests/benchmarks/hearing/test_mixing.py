"""Noise at the ratio asked for, and the same mix as the data set's own program makes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.benchmarks.hearing.dataset import chosen, half, open_dataset, read_mono, sound
from tests.benchmarks.hearing.mixing import FRAME, mix, ratio_db, scaled_noise, stretch_of
from tests.speech_data import SPEECH
from voicelog.errors import VoicelogError


def bursts(seed: int, length: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return sound whose loudness changes."""
    rng = np.random.default_rng(seed)
    return 0.2 * rng.standard_normal(length) * np.abs(np.sin(np.arange(length) / 5000))


@pytest.mark.parametrize("wanted", [24.0, 6.0, 0.0, -3.0])
def test_the_ratio_obtained_is_the_ratio_asked_for(wanted: float) -> None:
    """Measured by frames one after the other, in plain Python."""
    speech, noise = bursts(1, 30_000), bursts(2, 90_000)
    scaled = scaled_noise(speech, stretch_of(noise, len(speech), "a"), wanted)
    loudest = [
        max(sum(float(v) ** 2 for v in x[k : k + FRAME]) for k in range(0, len(x) - FRAME + 1, FRAME))
        for x in (speech, scaled)
    ]
    assert 10 * np.log10(loudest[0] / loudest[1]) == pytest.approx(wanted, abs=1e-9)
    assert ratio_db(speech, scaled) == pytest.approx(wanted, abs=1e-9)


def test_a_mix_peaks_at_half_of_full_scale_and_depends_on_the_name_only() -> None:
    """The same name, the same mix; another name, another stretch of noise."""
    speech, noise = bursts(1, 30_000), bursts(2, 90_000)
    first, again, other = (mix(speech, noise, 6.0, name) for name in ("a", "a", "b"))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
    assert abs(int(np.abs(first.astype(int)).max()) - 32768 // 2) <= 1


def test_noise_that_is_too_short_is_said() -> None:
    """What happened, with the file."""
    with pytest.raises(VoicelogError, match="not longer than the speech of a"):
        mix(bursts(1, 30_000), bursts(2, 30_000), 6.0, "a")


@pytest.mark.skipif(not (SPEECH / "mix_noise.py").is_file(), reason="the speech data is not at hand")
@pytest.mark.parametrize("ratio", [24, 6, 0])
def test_a_mix_is_sample_for_sample_that_of_the_data_sets_program(ratio: int, tmp_path: Path) -> None:
    """mix_noise.py lies beside the data."""
    data = open_dataset(SPEECH, None, None, None)
    stems = chosen(list(data.files), 3, 1)
    program = str(SPEECH / "mix_noise.py")
    command = [sys.executable, program, "--snr", str(ratio), "--noise", str(data.noise)]
    subprocess.run([*command, "--out", str(tmp_path), *(str(data.files[s]) for s in stems)], check=True)
    noise = read_mono(data.noise)
    for stem in stems:
        theirs, _ = soundfile.read(tmp_path / f"{stem}.flac", dtype="int16")
        assert np.array_equal(sound(data, stem, ratio, noise), theirs)


def test_a_larger_sample_contains_the_smaller() -> None:
    """So that a run can be extended; and no count is all."""
    stems = [f"{number:03}" for number in range(50)]
    assert set(chosen(stems, 5, 1)) < set(chosen(stems, 20, 1))
    assert chosen(stems, None, 1) == stems
    assert chosen(stems, 20, 1) != chosen(stems, 20, 2)


def test_halves_are_of_about_the_same_size_and_never_change() -> None:
    """ "abc" has the SHA-256 that FIPS 180-2 works out, which begins with ba, an even byte."""
    assert half("abc") == "A"
    share = sum(half(str(number)) == "A" for number in range(2000)) / 2000
    assert 0.45 < share < 0.55


def test_a_folder_without_labels_is_said(tmp_path: Path) -> None:
    """What is needed, and by which option it is chosen."""
    with pytest.raises(VoicelogError) as problem:
        open_dataset(tmp_path, None, None, None)
    assert "--speech" in str(problem.value)
