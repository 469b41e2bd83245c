"""Sound in: recordings become blocks of mono float32 in [-1, 1] at 16 kHz; so do microphones
(:mod:`voicelog.hearing.microphone`).

Invariant: blocks follow each other without a gap, unless sound was lost; then the time of the
next block says so. A recording that breaks off gives all that can be read of it and then raises
:class:`AudioTruncated`. Times are seconds from the start of the recording or stream.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from voicelog.errors import AudioError, at
from voicelog.hearing.recogniser import RATE, Samples

BLOCK_S = 0.032
"""512 samples, what the speech detector judges at once."""

_READ_FRAMES = 4096
_RATES = range(4_000, 768_001)
_SHORTFALL_S = 0.25
_MP3_TRAILER = 8192
"""Bytes that may follow an MP3 file's sound: its tags."""
_PIPED_SIZE = 0x7F00_0000
"""A header written to a pipe announces about as much as can be written; that is no cut."""

Frames = npt.NDArray[np.float32]
"""Samples of all channels at a device's or file's own rate, shape (frames, channels)."""


class AudioTruncated(AudioError):
    """A recording broke off. Raised after everything that can be read of it was given."""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """A short piece of a stream: samples at :data:`RATE`, and when they began."""

    samples: Samples
    start_s: float


def blocks_from_file(path: Path | str, *, block_s: float = BLOCK_S) -> Iterator[Block]:
    """Yield a recording's blocks in order, reading as it goes; only the last may be shorter.

    Any format that libsndfile reads (WAV, FLAC, Ogg Opus and Vorbis, MP3...), any rate, any
    number of channels (averaged). Raises :class:`AudioError` when the file cannot be read, and
    :class:`AudioTruncated` after the last block when it broke off.
    """
    with _open(Path(path)) as file:
        blocks = Blocks(file.samplerate, file.channels, block_s)
        cut: str | None = None
        frames_read = 0
        while cut is None:
            frames, cut = _read(file)
            if not len(frames):
                break
            frames_read += len(frames)
            yield from blocks.add(frames)
        if not frames_read:
            raise AudioError("the file holds no sound", where=at(path), remedy="record it again")
        yield from blocks.end()
        cut = cut or _shortfall(file, frames_read)
        if cut is not None:
            raise AudioTruncated(
                f"the recording breaks off after {frames_read / file.samplerate:.1f} s ({cut})",
                where=at(path),
                remedy="all of it up to there was used; copy the file again, or convert it to FLAC",
            )


def read_samples(path: Path | str) -> Samples:
    """Return a whole, short recording as samples at :data:`RATE`.

    Raises :class:`AudioError`; a recording that breaks off is an error too.
    """
    return np.concatenate([block.samples for block in blocks_from_file(path, block_s=1.0)])


class _Sequential(soundfile.SoundFile):  # type: ignore[misc]
    """A sound file read from front to back.

    soundfile seeks to where it already is after each read of a file that can be sought in. In an
    MP3 file that loses sound, and in a FLAC file without a length it fails at the end.
    """

    source: BinaryIO | None = None
    """Where the bytes come from, when how many were used must be known."""

    def seekable(self) -> bool:
        return False

    def close(self) -> None:
        super().close()
        if self.source is not None:
            self.source.close()


def _open(path: Path) -> _Sequential:
    where = at(path)
    try:
        with path.open("rb") as file:
            empty = not file.read(1)
    except FileNotFoundError as error:
        raise AudioError("there is no such file", where=where, remedy="check the name") from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise AudioError(f"the file cannot be read ({reason})", where=where) from error
    if empty:
        raise AudioError("the file is empty", where=where, remedy="record it or copy it again")
    try:
        sound = _Sequential(path)
        if sound.format == "MP3":
            sound.close()
            source = path.open("rb")
            sound = _Sequential(source)
            sound.source = source
    except (soundfile.LibsndfileError, TypeError) as error:  # TypeError: headerless, such as .raw
        raise AudioError(
            "this is not a sound file that can be read", where=where, remedy="use WAV, FLAC, Ogg Opus or MP3"
        ) from error
    if sound.samplerate not in _RATES:
        rate = sound.samplerate
        sound.close()
        raise AudioError(f"a rate of {rate} Hz cannot be used", where=where, remedy="use 16000 Hz or more")
    return sound


def _read(file: _Sequential) -> tuple[Frames, str | None]:
    """Return the next frames, none at the end, and why reading stopped if it failed."""
    # A decoder that fails has filled the buffer up to there, but its count is lost with the
    # exception: what it did not touch is still not a number.
    buffer = np.full((_READ_FRAMES, file.channels), np.nan, np.float32)
    try:
        frames: Frames = file.read(_READ_FRAMES, dtype="float32", always_2d=True, out=buffer)
    except soundfile.LibsndfileError as error:
        untouched = np.isnan(buffer[:, 0])
        count = int(np.argmax(untouched)) if untouched.any() else len(buffer)
        return buffer[:count], error.error_string.strip().rstrip(".").removeprefix("Error : ")
    return frames, None


def _shortfall(file: _Sequential, frames_read: int) -> str | None:
    """Return how the file holds less than it announces, or None."""
    if "lacks an end-of-stream" in file.extra_info:
        return "its end is missing"
    sizes = re.search(r"^data\s*: (\d+) \(should be (\d+)\)", file.extra_info, re.MULTILINE)
    if sizes and int(sizes[2]) < int(sizes[1]) < _PIPED_SIZE:
        return f"it announces {int(sizes[1])} bytes of sound and holds {int(sizes[2])}"
    missing_s = (file.frames - frames_read) / file.samplerate
    if _SHORTFALL_S < missing_s < _PIPED_SIZE:
        return f"it announces {missing_s:.1f} s more"
    if file.source is not None:
        # libsndfile guesses the length of an MP3 file that does not tell it, and stops there.
        unread = os.fstat(file.source.fileno()).st_size - file.source.tell()
        if unread > _MP3_TRAILER:
            return f"it does not tell its length, and {unread} bytes of it cannot be reached"
    return None


class Blocks:
    """Turns frames of any rate and channel count into blocks of one length.

    ``rate`` is that of the frames, in hertz; ``start_s`` is when the first of them began.
    """

    def __init__(self, rate: float, channels: int, block_s: float, start_s: float = 0.0) -> None:
        self._length = round(block_s * RATE)
        if self._length < 1:
            raise ValueError("a block must hold at least one sample")
        self._channels = channels
        self._start_s = start_s
        self._given = 0
        self._rest: Samples = np.zeros(0, np.float32)
        self._resampler = None if rate == RATE else soxr.ResampleStream(rate, RATE, 1, dtype="float32")

    def add(self, frames: Frames, *, last: bool = False) -> Iterator[Block]:
        """Yield the blocks that these frames fill; after ``last`` there can be no more."""
        mono = frames.mean(axis=1, dtype=np.float32)
        # Float files and devices may hold anything; what is not a number is silence.
        mono = np.nan_to_num(mono, nan=0.0, posinf=1.0, neginf=-1.0)
        if self._resampler is not None:
            mono = self._resampler.resample_chunk(mono, last=last)
        pending = np.concatenate([self._rest, np.clip(mono, -1, 1)])
        whole = len(pending) // self._length * self._length
        for begin in range(0, whole, self._length):
            yield self._block(pending[begin : begin + self._length])
        self._rest = pending[whole:]

    def end(self) -> Iterator[Block]:
        """Yield what is left, the last block as short as it is."""
        yield from self.add(np.zeros((0, self._channels), np.float32), last=True)
        if len(self._rest):
            yield self._block(self._rest)
            self._rest = self._rest[:0]

    def _block(self, samples: Samples) -> Block:
        block = Block(samples, self._start_s + self._given / RATE)
        self._given += len(samples)
        return block
