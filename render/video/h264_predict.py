"""Macroblocks that need no residual: which did not change, and which a prediction gives exactly.

"H.264, clause" means Rec. ITU-T H.264; all such references and values are from memory.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "INEXACT",
    "SIZES",
    "ChromaMode",
    "LumaMode",
    "Mask",
    "Modes",
    "Planes",
    "changed_blocks",
    "exact_modes",
    "padded",
]

Plane: TypeAlias = NDArray[np.uint8]
Planes: TypeAlias = tuple[Plane, Plane, Plane]
Mask: TypeAlias = NDArray[np.bool_]
Modes: TypeAlias = NDArray[np.int8]
Sums: TypeAlias = NDArray[np.int64]


class LumaMode(IntEnum):
    """Intra16x16PredMode (H.264, table 8-4). Plane prediction, 3, is left out."""

    VERTICAL = 0
    HORIZONTAL = 1
    DC = 2


class ChromaMode(IntEnum):
    """intra_chroma_pred_mode (H.264, table 7-16). Plane prediction, 3, is left out."""

    DC = 0
    HORIZONTAL = 1
    VERTICAL = 2


INEXACT = -1  # No prediction gives the samples: the macroblock goes as I_PCM.

# Size of a macroblock in the planes Y, Cb, Cr of 4:2:0 (H.264, clause 6.2).
SIZES = (16, 8, 8)


def padded(frame: Planes, grid: tuple[int, int]) -> Planes:
    """The planes over whole macroblocks. The edge samples go on: most likely prediction gives them."""

    def pad(plane: Plane, size: int) -> Plane:
        rows, columns = grid[0] * size - plane.shape[0], grid[1] * size - plane.shape[1]
        return np.pad(plane, ((0, rows), (0, columns)), mode="edge") if rows or columns else plane

    y, cb, cr = map(pad, frame, SIZES)
    return y, cb, cr


def _whole(equal: Mask, size: int) -> Mask:
    """Per block of `size` (8 or 16) rows and columns of a mask: is it true all over?"""
    # Eight truth bytes at a time: far quicker than a reduction of booleans over two axes.
    words = np.ascontiguousarray(equal).view(np.uint64)
    rows = np.bitwise_and.reduce(words.reshape(-1, size, words.shape[1]), axis=1)
    whole: Mask = (rows.reshape(len(rows), -1, size // 8) == 0x0101010101010101).all(axis=2)
    return whole


def changed_blocks(now: Planes, before: Planes) -> Mask:
    """Which macroblocks differ from those of the picture before, in any plane."""
    y, cb, cr = (_whole(a == b, size) for a, b, size in zip(now, before, SIZES, strict=True))
    return ~(y & cb & cr)


def exact_modes(planes: Planes, wanted: Mask) -> tuple[Modes, Modes]:
    """Luma and chroma prediction mode that gives each wanted macroblock exactly, or INEXACT.

    The values of the other macroblocks mean nothing.
    """
    luma, chroma = (np.full(wanted.shape, INEXACT, np.int8) for _ in range(2))
    if not wanted.any():
        return luma, chroma
    # Look only at the box round the wanted macroblocks, with one row above and one column to the left of it:
    # prediction reads no further. There that row and column seem to lie at the picture's edge, which does no
    # harm, as nothing in them is wanted. Where the box has no such row or column, the edge is the picture's own.
    rows, columns = np.flatnonzero(wanted.any(axis=1)), np.flatnonzero(wanted.any(axis=0))
    top, left = max(int(rows[0]) - 1, 0), max(int(columns[0]) - 1, 0)
    bottom, right = int(rows[-1]) + 1, int(columns[-1]) + 1
    y, cb, cr = (
        plane[top * size : bottom * size, left * size : right * size] for plane, size in zip(planes, SIZES, strict=True)
    )
    inside = np.s_[top:bottom, left:right]
    # Written from the last choice to the first, so that the first that is exact stands.
    luma[inside][_dc_luma(y)] = LumaMode.DC
    luma[inside][_whole(_as_left(y), 16)] = LumaMode.HORIZONTAL
    luma[inside][_whole(_as_above(y), 16)] = LumaMode.VERTICAL
    chroma[inside][_whole(_as_above(cb) & _as_above(cr), 8)] = ChromaMode.VERTICAL
    chroma[inside][_whole(_as_left(cb) & _as_left(cr), 8)] = ChromaMode.HORIZONTAL
    chroma[inside][_dc_chroma(cb) & _dc_chroma(cr)] = ChromaMode.DC
    return luma, chroma


def _as_above(plane: Plane) -> Mask:
    """Which samples equal the one above; none in the first row, where vertical prediction is not allowed.

    A block of such samples alone repeats the row above it: H.264, clauses 8.3.3.1 and 8.3.4.3.
    """
    equal = np.zeros(plane.shape, np.bool_)
    np.equal(plane[1:], plane[:-1], out=equal[1:])
    return equal


def _as_left(plane: Plane) -> Mask:
    """The same for the sample to the left: H.264, clauses 8.3.3.2 and 8.3.4.2."""
    equal = np.zeros(plane.shape, np.bool_)
    np.equal(plane[:, 1:], plane[:, :-1], out=equal[:, 1:])
    return equal


def _edge_sums(plane: Plane, size: int, run: int) -> tuple[Sums, Sums]:
    """Sums over runs of `run` samples just above each macroblock, and just left of it.

    Shapes: (rows, columns, size / run) each. Where there is no neighbour the sum is -1.
    """
    rows, columns, runs = plane.shape[0] // size, plane.shape[1] // size, size // run
    above, left = (np.full((rows, columns, runs), -1, np.int64) for _ in range(2))
    above[1:] = plane[size - 1 : -1 : size].reshape(rows - 1, columns, runs, run).sum(axis=3)
    ends = plane[:, size - 1 : -1 : size].reshape(rows, runs, run, columns - 1)
    left[:, 1:] = ends.sum(axis=2).transpose(0, 2, 1)
    return above, left


def _mean(first: Sums, second: Sums, count: int, *, both: bool) -> Plane:
    """Rounded mean of two edges of `count` samples each, or of the first that exists; 128 where none does.

    Without `both` the first alone counts where both exist.
    """
    mean = np.where(second >= 0, (second + count // 2) // count, 128)
    mean = np.where(first >= 0, (first + count // 2) // count, mean)
    if both:
        mean = np.where((first >= 0) & (second >= 0), (first + second + count) // (2 * count), mean)
    return mean.astype(np.uint8)


def _dc_luma(plane: Plane) -> Mask:
    """Which macroblocks equal their DC prediction: H.264, clause 8.3.3.3."""
    above, left = _edge_sums(plane, 16, 16)
    value = _mean(above[..., 0], left[..., 0], 16, both=True)
    blocks = plane.reshape(value.shape[0], 16, value.shape[1], 16)
    return _whole((blocks == value[:, None, :, None]).reshape(plane.shape), 16)


def _dc_chroma(plane: Plane) -> Mask:
    """The same for chroma, where each 4 x 4 quarter has its own prediction: H.264, clause 8.3.4.1."""
    above, left = _edge_sums(plane, 8, 4)
    value = np.empty((above.shape[0], 2, above.shape[1], 2), np.uint8)
    # The quarters on the diagonal take both edges; each of the other two prefers the edge that it touches.
    value[:, 0, :, 0] = _mean(above[..., 0], left[..., 0], 4, both=True)
    value[:, 0, :, 1] = _mean(above[..., 1], left[..., 0], 4, both=False)
    value[:, 1, :, 0] = _mean(left[..., 1], above[..., 0], 4, both=False)
    value[:, 1, :, 1] = _mean(above[..., 1], left[..., 1], 4, both=True)
    quarters = plane.reshape(value.shape[0], 2, 4, value.shape[2], 2, 4)
    return _whole((quarters == value[:, :, None, :, :, None]).reshape(plane.shape), 8)
