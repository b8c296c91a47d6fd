"""Macroblocks of 4 x 4 blocks, each predicted from its neighbours and corrected by an exact residual.

Every picture here is exact, so what a decoder predicts from is the drawn picture itself, and all blocks can be worked
out at once. H.264, clauses 7.3.5, 8.3.1 and 9.2.1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from render.video.h264_cavlc import luma_block, token_class
from render.video.h264_syntax import se, ue
from render.video.h264_transform import ZIGZAG, exact_levels, transformed

__all__ = ["RAW_BITS", "Tokens", "code_blocks", "tokens_of"]

Plane: TypeAlias = NDArray[np.uint8]
Mask: TypeAlias = NDArray[np.bool_]
Tokens: TypeAlias = NDArray[np.int8]
"""Per 4 x 4 block of the picture: which table its coefficients are sent by."""

RAW_BITS = 384 * 8
"""Bits of the samples of a macroblock. One that takes more goes raw; 128 more are the most (clause A.3.1)."""

_VERTICAL, _HORIZONTAL, _DC = range(3)
"""Intra4x4PredMode (H.264, table 8-2). The six along diagonals are left out."""

# The blocks of a macroblock in the order in which they are sent, as (row, column): H.264, clause 6.4.3.
_ORDER = [(2 * (i // 8) + i // 2 % 2, 2 * (i // 4 % 2) + i % 2) for i in range(16)]
_ROWS, _COLUMNS = (np.array(axis) for axis in zip(*_ORDER, strict=True))

# coded_block_pattern of an intra macroblock without chroma coefficients, 0 to 15: its place in table 9-4.
_PATTERN_PLACE = (3, 29, 30, 17, 31, 18, 37, 8, 32, 38, 19, 9, 20, 10, 11, 2)


@dataclass(frozen=True, slots=True)
class Coded:
    """The macroblocks of a picture that go as 4 x 4 blocks, in the order in which they are sent."""

    modes: NDArray[np.int8]
    """(count, 16)."""
    levels: NDArray[np.int32]
    """(count, 16, 16): blocks, coefficients in scan order."""

    def only(self, kept: Mask) -> Coded:
        return Coded(self.modes[kept], self.levels[kept])

    def bits(self, mb_type: int, chroma: list[int], where: Mask, tokens: Tokens) -> list[str]:
        """Each macroblock as bits; `where` marks their places, `chroma` has their chroma modes."""
        rows, columns = np.nonzero(where)
        at = 4 * rows[:, None] + _ROWS, 4 * columns[:, None] + _COLUMNS
        said = _said_modes(self.modes, where, at)
        pattern = self.levels.any(axis=2).reshape(-1, 4, 4).any(axis=2) @ (1 << np.arange(4))
        head, delta, out = ue(mb_type), se(0), list[str]()
        lists = (a.tolist() for a in (said, pattern, self.levels, tokens[at]))
        for modes, coded, levels, tables, mode in zip(*lists, chroma, strict=True):
            parts = [head, *[_MODES[m] for m in modes], ue(mode), ue(_PATTERN_PLACE[coded])]
            if coded:
                parts.append(delta)
                parts += [
                    luma_block(tuple(block), table)
                    for i, (block, table) in enumerate(zip(levels, tables, strict=True))
                    if coded >> i // 4 & 1
                ]
            out.append("".join(parts))
        return out


_MODES = ["0000", "0001", "0010", "1"]
"""rem_intra4x4_pred_mode 0 to 2 after its flag; or the flag alone, for the mode that is expected."""


Places: TypeAlias = tuple[NDArray[np.intp], NDArray[np.intp]]


def _said_modes(modes: NDArray[np.int8], where: Mask, at: Places) -> NDArray[np.int8]:
    """Places in `_MODES` (H.264, clause 8.3.1.1). A macroblock of another kind counts as DC."""
    whole = np.full((4 * where.shape[0] + 1, 4 * where.shape[1] + 1), _DC, np.int8)
    whole[0] = whole[:, 0] = -1
    rows, columns = at[0] + 1, at[1] + 1
    whole[rows, columns] = modes
    above, left = whole[rows - 1, columns], whole[rows, columns - 1]
    expected = np.where((above < 0) | (left < 0), _DC, np.minimum(above, left))
    return np.where(modes == expected, 3, modes - (modes > expected)).astype(np.int8)


def tokens_of(coded: Coded, where: Mask, raw: Mask) -> Tokens:
    """Which table each block's coefficients are sent by: nC of H.264, clause 9.2.1. A raw block counts as 16."""
    counts = np.full((4 * where.shape[0] + 1, 4 * where.shape[1] + 1), -1, np.int16)
    counts[1:, 1:] = np.repeat(np.repeat(16 * raw, 4, axis=0), 4, axis=1)
    rows, columns = np.nonzero(where)
    counts[4 * rows[:, None] + _ROWS + 1, 4 * columns[:, None] + _COLUMNS + 1] = (coded.levels != 0).sum(axis=2)
    above, left = counts[:-1, 1:], counts[1:, :-1]
    both = np.where((above >= 0) & (left >= 0), (above + left + 1) >> 1, np.maximum(np.maximum(above, left), 0))
    return _TABLE[both]


_TABLE = np.array([token_class(count) for count in range(17)], np.int8)


def code_blocks(luma: Plane, wanted: Mask) -> tuple[Coded, Mask]:
    """The wanted macroblocks as 4 x 4 blocks, and which of them are exact so and smaller than raw samples.

    `luma` is over whole macroblocks; both results are in the order of the wanted macroblocks.
    """
    rows, columns = np.nonzero(wanted)
    top, left = 16 * rows[:, None] + 4 * _ROWS, 16 * columns[:, None] + 4 * _COLUMNS
    run = np.arange(4)
    blocks = luma[top[..., None, None] + run[:, None], left[..., None, None] + run].astype(np.int32)
    # Where there is no neighbour, -1 stands for the row or column above or left of the picture; it is not used.
    above = luma[np.maximum(top - 1, 0)[..., None], left[..., None] + run].astype(np.int32)
    before = luma[top[..., None] + run, np.maximum(left - 1, 0)[..., None]].astype(np.int32)
    has_above, has_left = top > 0, left > 0
    sums = above.sum(axis=2) * has_above + before.sum(axis=2) * has_left
    mean = np.where(has_above & has_left, (sums + 4) >> 3, (sums + 2) >> 2)
    mean = np.where(has_above | has_left, mean, 128)
    shape = blocks.shape
    predicted = (
        np.broadcast_to(above[:, :, None, :], shape),
        np.broadcast_to(before[:, :, :, None], shape),
        np.broadcast_to(mean[:, :, None, None], shape),
    )
    allowed = has_above, has_left, np.ones_like(has_left)
    costs = [np.where(ok, _cost(blocks - p), np.inf) for p, ok in zip(predicted, allowed, strict=True)]
    modes = np.argmin(costs, axis=0).astype(np.int8)
    residuals = np.choose(modes[..., None, None], [blocks - p for p in predicted])
    levels, exact = exact_levels(residuals.reshape(-1, 4, 4))
    coded = Coded(modes, levels.reshape(-1, 16, 16)[..., ZIGZAG])
    fits = _bits(coded.levels).sum(axis=1) < RAW_BITS
    return coded, exact.reshape(-1, 16).all(axis=1) & fits


def _cost(residuals: NDArray[np.int32]) -> NDArray[np.float64]:
    cost: NDArray[np.float64] = np.log2(1 + np.abs(transformed(residuals))).sum(axis=(-2, -1))
    return cost


def _bits(levels: NDArray[np.int32]) -> NDArray[np.float64]:
    """About how many bits blocks take: what a coefficient of each size usually takes, and the mode."""
    bits: NDArray[np.float64] = (1.5 * np.log2(1 + np.abs(levels))).sum(axis=-1) + 2.0 * (levels != 0).sum(axis=-1) + 4
    return bits
