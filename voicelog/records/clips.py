"""Sound clips as FLAC, named by the SHA-256 of the FLAC file's own bytes.

Samples are mono 32-bit floats in [-1, 1); kept with 16 bits, so a clip differs from what was heard
by at most half a step of 1/32768. Sound that came from a 16-bit file is kept without loss.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import soundfile

from voicelog.errors import RecordError

_FULL_SCALE = 32_768
_PAUSE_S = 0.3


def sha256_hex(data: bytes) -> str:
    """Return the SHA-256 of ``data`` as 64 lower-case hex digits."""
    return hashlib.sha256(data).hexdigest()


@dataclass(frozen=True, slots=True)
class Clip:
    """One stretch of sound, ready to be kept."""

    sha256: str
    """Of :attr:`flac`, 64 lower-case hex digits."""
    flac: bytes = field(repr=False)
    """A whole FLAC file: mono, 16 bits."""
    seconds: float

    @classmethod
    def from_samples(cls, samples: npt.NDArray[np.float32], rate: int) -> Clip:
        """Return the clip of ``samples``, shape (n,), at ``rate`` samples per second.

        The same samples give the same bytes with the same libFLAC. Values outside [-1, 1) are
        clipped. Raises RecordError for sound that cannot be kept: empty, not mono, not finite.
        """
        if samples.ndim != 1 or not len(samples) or not np.isfinite(samples).all():
            raise RecordError(
                f"This sound cannot be kept: its shape is {samples.shape} and it must be mono, "
                "not empty, and finite throughout.",
                where="sound clip",
                remedy="Check the microphone or the sound file, and say it once more.",
            )
        scaled = np.rint(samples.astype(np.float64) * _FULL_SCALE)
        steps = np.clip(scaled, -_FULL_SCALE, _FULL_SCALE - 1).astype(np.int16)
        buffer = io.BytesIO()
        soundfile.write(buffer, steps, rate, format="FLAC", subtype="PCM_16")
        flac = buffer.getvalue()
        return cls(sha256_hex(flac), flac, len(samples) / rate)

    def samples(self) -> tuple[npt.NDArray[np.float32], int]:
        """Return the sound, shape (n,), and its rate; RecordError when it cannot be decoded."""
        return decode(self.flac)


def decode(flac: bytes) -> tuple[npt.NDArray[np.float32], int]:
    """Return the samples, shape (n,), and the rate of a clip's FLAC file.

    Raises RecordError when the bytes are not a FLAC file that can be decoded.
    """
    try:
        samples, rate = soundfile.read(io.BytesIO(flac), dtype="float32")
    except (soundfile.SoundFileError, RuntimeError) as error:
        raise RecordError(
            "This sound clip cannot be decoded.",
            where="sound clip",
            remedy="Check the record with its proof of wholeness, and restore the clip from a backup.",
        ) from error
    return np.asarray(samples, dtype=np.float32), int(rate)


def joined(flacs: Sequence[bytes]) -> bytes:
    """Return one FLAC file of several clips of one rate, one after the other with a short pause between.

    A single one is returned as it is. Raises RecordError as :func:`decode`.
    """
    if len(flacs) == 1:
        return flacs[0]
    parts: list[npt.NDArray[np.float32]] = []
    for flac in flacs:
        samples, rate = decode(flac)
        parts += [samples, np.zeros(round(_PAUSE_S * rate), np.float32)]
    return Clip.from_samples(np.concatenate(parts[:-1]), rate).flac
