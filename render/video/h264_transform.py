"""Coefficients whose decoded residual is exact: the transform of 4 x 4 luma blocks at the finest quantiser.

At quantiser 0 a step is 0.625 of a code, so nearly every residual has coefficients that give it back in every sample;
where rounding does not find them at once, neighbours do. H.264, clauses 8.5.6, 8.5.8, 8.5.9 and 8.5.12.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["ZIGZAG", "exact_levels", "transformed"]

Blocks: TypeAlias = NDArray[np.int32]
"""Shape (count, 4, 4): rows and columns of samples, or of coefficients."""

# normAdjust4x4 at quantiser 0: 10 where both frequencies are even, 16 where both are odd, else 13. The flat scaling
# matrix of 16 and the shift by 4 cancel out (clause 8.5.12.1).
_SCALE = np.array([[10, 13, 10, 13], [13, 16, 13, 16], [10, 13, 10, 13], [13, 16, 13, 16]], np.int32)
_BASIS = np.array([[2, 2, 2, 2], [2, 1, -1, -2], [2, -2, -2, 2], [1, -2, 2, -1]]) / 2
_NORM = (_BASIS**2).sum(axis=1)
_FORWARD = _BASIS / _NORM[:, None]

ZIGZAG = np.array([0, 1, 4, 8, 5, 2, 3, 6, 9, 12, 13, 10, 7, 11, 14, 15])
"""Places in a 4 x 4 block, row by row, in the order in which a frame's coefficients are sent (clause 8.5.6)."""

_ROUNDS = 6
"""Steps of the search for exact coefficients; two or three are usual."""
_STEPS = np.concatenate([np.eye(16, dtype=np.int32), -np.eye(16, dtype=np.int32)]).reshape(32, 4, 4)
_PART = 4096
"""Blocks that are searched at a time, for the memory's sake."""


def _half(values: Blocks) -> Blocks:
    return values >> 1


def _one_way(a: Blocks, b: Blocks, c: Blocks, d: Blocks) -> tuple[Blocks, Blocks, Blocks, Blocks]:
    even, odd, low, high = a + c, a - c, _half(b) - d, b + _half(d)
    return even + high, odd + low, odd - low, even - high


def _decoded(levels: Blocks) -> Blocks:
    """Residuals of coefficients in 64ths, before the last rounding. Any leading axes."""
    rows = np.stack(_one_way(*np.moveaxis(levels * _SCALE, -1, 0)), axis=-1)
    return np.stack(_one_way(*np.moveaxis(rows, -2, 0)), axis=-2)


def residual_of(levels: Blocks) -> Blocks:
    """What a decoder adds to the prediction."""
    return (_decoded(levels) + 32) >> 6


def transformed(residuals: Blocks) -> NDArray[np.float64]:
    """Residuals as real coefficients, in steps of the quantiser."""
    both: NDArray[np.float64] = 64 * (_FORWARD @ residuals @ _FORWARD.T) / _SCALE
    return both


def exact_levels(residuals: Blocks) -> tuple[Blocks, NDArray[np.bool_]]:
    """Coefficients of each residual, and whether they give it back exactly. Equal residuals are worked out once."""
    count = len(residuals)
    # As one value of 16 numbers each: unique rows by bytes.
    rows = np.ascontiguousarray(residuals.reshape(count, 16).astype(np.int16))
    _, first, place = np.unique(rows.view(np.dtype((np.void, 32))).ravel(), return_index=True, return_inverse=True)
    distinct = residuals[first]
    levels = np.rint(transformed(distinct)).astype(np.int32)
    for at in range(0, len(levels), _PART):
        _search(levels[at : at + _PART], distinct[at : at + _PART])
    exact = (residual_of(levels) == distinct).all(axis=(1, 2))
    return levels[place], exact[place]


def _search(levels: Blocks, residuals: Blocks) -> None:
    """Change coefficients by one, where the residual is not exact, as long as that brings it nearer."""
    for _ in range(_ROUNDS):
        left = np.flatnonzero((residual_of(levels) != residuals).any(axis=(1, 2)))
        if not len(left):
            return
        tried = levels[left, None] + _STEPS
        # What is beyond half a code, squared: nothing where all samples are right.
        error = np.abs(_decoded(tried) - 64 * residuals[left, None])
        beyond = (np.maximum(error - 31, 0).astype(np.int64) ** 2).sum(axis=(2, 3))
        levels[left] = tried[np.arange(len(left)), beyond.argmin(axis=1)]
