"""Weight matrices in eight bits, as speech models are commonly run on processors.

A weight is kept as an integer of 8 bits times a scale of its row, and what is multiplied by it is
rounded to 8 bits likewise; sums are exact integers of 32 bits, so a product is the same on every
processor. It is a third of the time and a quarter of the memory of float32. NumKong has the
integer kernels that NumPy lacks.
"""

from __future__ import annotations

from collections.abc import Iterator

import numkong
import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float32]
_ROWS_AT_ONCE = 8192


def _rounded(values: Array) -> tuple[npt.NDArray[np.int8], Array]:
    """Return rows of values as 8-bit integers and each row's scale (rows x 1)."""
    scales = np.maximum(np.abs(values).max(-1, keepdims=True), np.float32(1e-12)) / np.float32(127)
    return np.rint(values / scales).astype(np.int8), scales


def _blocks(rows: int) -> Iterator[slice]:
    return (slice(start, start + _ROWS_AT_ONCE) for start in range(0, rows, _ROWS_AT_ONCE))


class Matrix:
    """A weight matrix, outputs x inputs."""

    def __init__(self, weight: npt.NDArray[np.floating]) -> None:
        self.shape = (int(weight.shape[0]), int(weight.shape[1]))
        whole = np.empty(self.shape, np.int8)
        scales = np.empty((self.shape[0], 1), np.float32)
        for block in _blocks(self.shape[0]):  # not all at once: it would be the peak of memory
            whole[block], scales[block] = _rounded(weight[block].astype(np.float32))
        self._packed = numkong.dots_pack(whole, dtype="int8")
        self._scales = np.ascontiguousarray(scales.T)

    def __call__(self, x: Array) -> Array:
        """Return ``x`` (rows x inputs) times the transposed weight: rows x outputs."""
        rounded, scales = _rounded(x)
        product = np.asarray(numkong.dots_packed(rounded, self._packed)).astype(np.float32)
        product *= self._scales
        product *= scales
        return product
