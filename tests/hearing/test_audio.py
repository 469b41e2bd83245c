from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import soxr

from voicelog.errors import AudioError
from voicelog.hearing import audio
from voicelog.hearing.audio import (
    AudioTruncated,
    Block,
    blocks_from_file,
    read_samples,
)
from voicelog.hearing.recogniser import RATE, Samples


def tone(seconds: float, rate: int, channels: int = 1, hertz: float = 440.0, level: float = 0.3) -> Samples:
    wave = level * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)
    return np.repeat(wave[:, None], channels, axis=1).astype(np.float32)


def loudest_hertz(samples: Samples) -> float:
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(np.argmax(spectrum)) * RATE / len(samples)


def all_of(path: Path) -> tuple[list[Block], AudioError | None]:
    blocks: list[Block] = []
    try:
        for block in blocks_from_file(path):
            blocks.append(block)
    except AudioError as error:
        return blocks, error
    return blocks, None


def joined(blocks: list[Block]) -> Samples:
    return np.concatenate([block.samples for block in blocks])


def cut(path: Path, share: float = 0.6) -> Path:
    whole = path.read_bytes()
    short = path.with_name(f"cut{path.suffix}")
    short.write_bytes(whole[: int(len(whole) * share)])
    return short


# recordings


@pytest.mark.parametrize(
    ("name", "subtype", "rate", "channels"),
    [
        ("a.flac", "PCM_16", 44_100, 2),
        ("a.flac", "PCM_24", 96_000, 1),
        ("a.flac", "PCM_16", 16_000, 1),
        ("a.wav", "PCM_16", 8_000, 1),
        ("a.wav", "FLOAT", 48_000, 6),
        ("a.wav", "ULAW", 8_000, 2),
        ("a.opus", "OPUS", 48_000, 2),
        ("a.ogg", "VORBIS", 22_050, 1),
        ("a.mp3", "MPEG_LAYER_III", 44_100, 2),
        ("a.aiff", "PCM_16", 32_000, 1),
    ],
)
def test_every_format_and_rate_gives_the_same_tone(
    tmp_path: Path, name: str, subtype: str, rate: int, channels: int
) -> None:
    """A 440 Hz tone comes back as 440 Hz, as long and as loud as it was."""
    path = tmp_path / name
    container = "OGG" if name.endswith("opus") else None
    soundfile.write(path, tone(2.0, rate, channels), rate, subtype=subtype, format=container)
    blocks, error = all_of(path)
    samples = joined(blocks)
    assert error is None
    assert samples.dtype == np.float32
    assert loudest_hertz(samples[:RATE]) == pytest.approx(440, abs=1)
    assert len(samples) == pytest.approx(2 * RATE, abs=0.01 * RATE)
    middle = samples[RATE // 2 : 3 * RATE // 2]
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(0.3 / np.sqrt(2), rel=0.03)


def test_resampling_in_pieces_is_resampling_at_once(tmp_path: Path) -> None:
    """Blocks hold what libsoxr makes of the whole file in one call."""
    path = tmp_path / "noise.wav"
    noise = np.random.default_rng(3).uniform(-0.5, 0.5, 50_000).astype(np.float32)
    soundfile.write(path, noise, 44_100, subtype="FLOAT")
    once = soxr.resample(noise, 44_100, RATE)
    pieces = read_samples(path)
    assert len(pieces) == len(once)
    np.testing.assert_allclose(pieces, once, atol=1e-4)


@pytest.mark.parametrize("rate", [16_000, 44_100])
def test_blocks_follow_each_other(tmp_path: Path, rate: int) -> None:
    """Every block but the last has 512 samples, and its time is that of its first sample."""
    path = tmp_path / "a.wav"
    soundfile.write(path, tone(1.01, rate), rate)
    blocks = list(blocks_from_file(path))
    assert {len(block.samples) for block in blocks[:-1]} == {512}
    assert 0 < len(blocks[-1].samples) <= 512
    passed = 0
    for block in blocks:
        assert block.start_s == pytest.approx(passed / RATE, abs=1e-9)
        passed += len(block.samples)


def test_a_recording_is_not_read_ahead(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first block of an hour costs one read, whatever the length of the file."""
    path = tmp_path / "long.wav"
    soundfile.write(path, tone(60, 16_000), 16_000)
    reads: list[int] = []
    read = audio._read

    def counted(file: Any) -> Any:
        reads.append(1)
        return read(file)

    monkeypatch.setattr(audio, "_read", counted)
    blocks = blocks_from_file(path)
    next(blocks)
    assert len(reads) == 1


def test_a_cut_flac_file_gives_all_that_can_be_decoded(tmp_path: Path) -> None:
    """Every FLAC frame before the cut comes out unaltered, and then the cut is told."""
    whole = tmp_path / "a.flac"
    noise = np.random.default_rng(1).uniform(-0.5, 0.5, 5 * RATE).astype(np.float32)
    soundfile.write(whole, noise, RATE)
    blocks, error = all_of(cut(whole))
    assert isinstance(error, AudioTruncated)
    samples = joined(blocks)
    # White noise does not compress: the share of bytes is the share of samples, less one frame.
    assert 0.6 * len(noise) - 2 * 4096 < len(samples) <= 0.6 * len(noise)
    np.testing.assert_allclose(samples, noise[: len(samples)], atol=1e-4)
    assert f"{len(samples) / RATE:.1f} s" in error.what


@pytest.mark.parametrize(
    ("name", "subtype"),
    [("a.wav", "PCM_16"), ("a.opus", "OPUS"), ("a.ogg", "VORBIS"), ("a.mp3", "MPEG_LAYER_III")],
)
def test_a_cut_file_of_any_format_is_told(tmp_path: Path, name: str, subtype: str) -> None:
    """What can be read comes first, at least half of it, and then the notice."""
    path = tmp_path / name
    noise = np.random.default_rng(2).uniform(-0.3, 0.3, 20 * RATE).astype(np.float32)
    soundfile.write(path, noise, RATE, subtype=subtype, format="OGG" if name.endswith("opus") else None)
    assert all_of(path)[1] is None
    blocks, error = all_of(cut(path))
    assert isinstance(error, AudioTruncated)
    assert 0.4 < len(joined(blocks)) / len(noise) < 0.7


def test_an_mp3_that_does_not_tell_its_length_is_not_shortened_in_silence(tmp_path: Path) -> None:
    """libsndfile stops where it guessed such a file to end; what is left is told."""
    path = tmp_path / "a.mp3"
    sound = tone(20, 44_100)
    sound[: 10 * 44_100] *= np.linspace(1, 0, 10 * 44_100)[:, None] ** 2
    sound[10 * 44_100 :, 0] += np.random.default_rng(0).uniform(-0.3, 0.3, 10 * 44_100)
    soundfile.write(path, sound, 44_100)
    coded = path.read_bytes()
    # The first frame of a file of varying bit rate holds no sound but its length ("Xing").
    mark = coded.index(b"Xing")
    path.write_bytes(coded[coded.index(coded[:2], mark) :])
    blocks, error = all_of(path)
    complete = len(joined(blocks)) >= 19.9 * RATE
    assert complete or isinstance(error, AudioTruncated)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("empty.wav", b"", "empty"),
        ("empty.flac", b"", "empty"),
        ("text.wav", b"left lift cylinder weeping\n" * 100, "not a sound file"),
        ("headerless.raw", b"\x01\x02" * 1000, "not a sound file"),
        ("only_magic.flac", b"fLaC", "not a sound file"),
    ],
)
def test_what_is_not_sound_is_refused(tmp_path: Path, name: str, content: bytes, says: str) -> None:
    """The error says what is wrong, names the file and tells what to do."""
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(AudioError, match=says) as caught:
        list(blocks_from_file(path))
    assert caught.value.where == str(path)
    assert caught.value.remedy


def test_missing_files_folders_and_headers_alone_are_refused(tmp_path: Path) -> None:
    """A name without a file, a folder, and a file of no samples each have their own words."""
    soundfile.write(tmp_path / "none.wav", np.zeros(0, np.float32), RATE)
    for name, says in [("missing.wav", "no such file"), ("", "directory"), ("none.wav", "no sound")]:
        with pytest.raises(AudioError, match=says):
            read_samples(tmp_path / name)


def test_absurd_rates_are_refused(tmp_path: Path) -> None:
    """A damaged header must not make hours of sound from a few samples."""
    soundfile.write(tmp_path / "slow.wav", np.zeros(100, np.float32), 10)
    with pytest.raises(AudioError, match="10 Hz"):
        read_samples(tmp_path / "slow.wav")


def test_samples_are_numbers_within_full_scale(tmp_path: Path) -> None:
    """A float file may hold anything; what comes out is in [-1, 1]."""
    wild = np.array([0.5, np.nan, np.inf, -np.inf, 7.0, -7.0] * 200, np.float32)
    soundfile.write(tmp_path / "wild.wav", wild, RATE, subtype="FLOAT")
    samples = read_samples(tmp_path / "wild.wav")
    np.testing.assert_array_equal(samples[:6], np.array([0.5, 0, 1, -1, 1, -1], np.float32))
