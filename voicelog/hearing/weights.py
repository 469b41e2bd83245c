"""Reading the decoder's weights out of a CTranslate2 model.

CTranslate2 runs the encoder but has no call that returns next-token distributions for many
beams with a cache, so the decoder (:mod:`voicelog.hearing.decoder`) runs on the same weights in
NumPy. The layout is that of CTranslate2's binary version 6 (``Model.serialize`` in its converter).
"""

from __future__ import annotations

import mmap
import struct
from pathlib import Path
from typing import cast

import numpy as np
import numpy.typing as npt

from voicelog.errors import ModelError

BINARY_VERSION = 6
_TYPES = (np.float32, np.int8, np.int16, np.int32, np.float16)

Floats = npt.NDArray[np.floating]


def read_weights(path: Path) -> dict[str, Floats]:
    """Return the decoder's variables of a ``model.bin`` by name, in the precision they are kept in.

    They are views of the file, so that only what is looked at takes up memory. int8 weights are
    scaled back with their row scales, to float32. Raises :class:`ModelError` for a file that is
    cut short or of another binary version.
    """
    try:
        with path.open("rb") as file:
            return _Reader(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)).decoder()
    except (struct.error, ValueError, IndexError, UnicodeDecodeError) as error:
        raise ModelError(
            f"the model file cannot be read ({error})",
            where=str(path),
            remedy="the file is cut short or of another version; install or copy the model again",
        ) from error


class _Reader:
    def __init__(self, data: mmap.mmap) -> None:
        self._data = data
        self._place = 0

    def _number(self, code: str) -> int:
        value: int = struct.unpack_from(code, self._data, self._place)[0]
        self._place += struct.calcsize(code)
        return value

    def _string(self) -> str:
        length = self._number("<H")
        self._place += length
        return self._data[self._place - length : self._place - 1].decode()

    def _array(self) -> npt.NDArray[np.generic]:
        shape = [self._number("<I") for _ in range(self._number("<B"))]
        kind, size = np.dtype(_TYPES[self._number("<B")]), self._number("<I")
        self._place += size
        values = np.frombuffer(self._data, kind, size // kind.itemsize, self._place - size)
        return values.reshape(shape)

    def decoder(self) -> dict[str, Floats]:
        """Return the decoder's variables."""
        version = self._number("<I")
        if version != BINARY_VERSION:
            raise ValueError(f"binary version {version}, not {BINARY_VERSION}")
        self._string()  # name of the specification
        self._number("<I")  # its revision
        raw: dict[str, npt.NDArray[np.generic]] = {}
        for _ in range(self._number("<I")):
            name = self._string()
            raw[name] = self._array()
        for _ in range(self._number("<I")):
            alias, name = self._string(), self._string()
            raw[alias] = raw[name]
        return {
            name: _floats(raw, name)
            for name in raw
            if name.startswith("decoder/") and not name.endswith("_scale")
        }


def _floats(raw: dict[str, npt.NDArray[np.generic]], name: str) -> Floats:
    value, scale = raw[name], raw.get(name + "_scale")
    if np.issubdtype(value.dtype, np.floating):
        return cast(Floats, value)
    floats = value.astype(np.float32)
    return floats / scale.astype(np.float32).reshape(-1, 1) if scale is not None else floats
