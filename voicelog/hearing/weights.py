"""Reading the decoder's weights out of a CTranslate2 model.

CTranslate2 runs the encoder but has no call that returns next-token distributions for many
beams with a cache, so the decoder (:mod:`voicelog.hearing.decoder`) runs on the same weights in
NumPy. The layout is that of CTranslate2's binary version 6 (``Model.serialize`` in its converter).
"""

from __future__ import annotations

import struct
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

from voicelog.errors import ModelError

BINARY_VERSION = 6
_TYPES = (np.float32, np.int8, np.int16, np.int32, np.float16)

Array = npt.NDArray[np.float32]


def read_weights(path: Path) -> dict[str, Array]:
    """Return the decoder's variables of a ``model.bin`` as float32, by name.

    int8 weights are scaled back with their row scales. Raises :class:`ModelError` for a file
    that is cut short or of another binary version.
    """
    try:
        return _read(BytesIO(path.read_bytes()))
    except (struct.error, ValueError, IndexError, UnicodeDecodeError) as error:
        raise ModelError(
            f"the model file cannot be read ({error})",
            where=str(path),
            remedy="the file is cut short or of another version; install or copy the model again",
        ) from error


def _read(file: BinaryIO) -> dict[str, Array]:
    def number(code: str) -> int:
        value: int = struct.unpack(code, file.read(struct.calcsize(code)))[0]
        return value

    def string() -> str:
        return file.read(number("<H"))[:-1].decode()

    version = number("<I")
    if version != BINARY_VERSION:
        raise ValueError(f"binary version {version}, not {BINARY_VERSION}")
    string()  # name of the specification
    number("<I")  # its revision
    raw: dict[str, npt.NDArray[np.generic]] = {}
    for _ in range(number("<I")):
        name, rank = string(), number("<B")
        shape = [number("<I") for _ in range(rank)]
        kind, size = _TYPES[number("<B")], number("<I")
        raw[name] = np.frombuffer(file.read(size), kind).reshape(shape)
    for _ in range(number("<I")):
        alias, name = string(), string()
        raw[alias] = raw[name]
    return {
        name: _float(raw, name) for name in raw if name.startswith("decoder/") and not name.endswith("_scale")
    }


def _float(raw: dict[str, npt.NDArray[np.generic]], name: str) -> Array:
    value = raw[name]
    scale = raw.get(name + "_scale")
    if value.dtype == np.int8 and scale is not None:
        return np.ascontiguousarray(value.astype(np.float32) / scale.astype(np.float32).reshape(-1, 1))
    return np.ascontiguousarray(value.astype(np.float32))
