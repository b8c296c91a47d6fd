"""SIMULATION: where the pixels of a simulated photograph look.

It is reckoned exactly at every 16th pixel and interpolated by cubics, which is right to a thousandth of a pixel.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

__all__ = ["TILE", "Bools", "Floats", "Indices", "Lookout", "Place", "Singles", "tile_weights"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Indices = NDArray[np.intp]
Bools = NDArray[np.bool_]
Place = Callable[[Floats], Floats]

TILE = 16
"""Pixels of a tile's side, and of the mesh of exact places."""


@dataclass(frozen=True, eq=False)
class Lookout:
    """Where the pixels of a photograph look, by way of a mesh of exact places."""

    size: tuple[int, int]
    place: Place
    """From pixels (N, 2) to (N, k) of anything that is smooth over the photograph."""

    @property
    def tiles(self) -> tuple[int, int]:
        """Rows and columns of tiles."""
        return -(-self.size[1] // TILE), -(-self.size[0] // TILE)

    @cached_property
    def mesh(self) -> Floats:
        """(rows + 3, columns + 3, k): places at the corners of tiles, from one tile before the first on."""
        rows, columns = self.tiles
        x, y = np.meshgrid(np.arange(-1, columns + 2) * TILE, np.arange(-1, rows + 2) * TILE)
        pixels = np.stack((x.ravel(), y.ravel()), axis=1).astype(np.float64)
        return self.place(pixels).reshape(rows + 3, columns + 3, -1)

    @property
    def pixel_mm(self) -> float:
        """The side of a pixel in the middle of the photograph, where `place` gives millimetres."""
        middle = self.mesh[self.mesh.shape[0] // 2 - 1 :, self.mesh.shape[1] // 2 - 1 :][:2, :2, :2]
        return float(np.hypot(*(middle[0, 1] - middle[0, 0]))) / TILE

    def bounds(self, values: Floats) -> tuple[Floats, Floats]:
        """(rows, columns, k) each: the lowest and highest of a mesh's values over each tile."""
        first, second = slice(1, -2), slice(2, -1)
        corners = np.stack([values[i, j] for i in (first, second) for j in (first, second)])
        low, high = corners.min(axis=0), corners.max(axis=0)
        # A tile's samples begin half a pixel before its corner, and its sides bend a little.
        more = (high - low) * 0.06
        return low - more, high + more

    def samples(self, values: Floats, where: Indices, weights: Singles) -> Singles:
        """(len(where), side, side): mesh values (rows + 3, columns + 3) at the samples of tiles `where` (n, 2)."""
        near = np.lib.stride_tricks.sliding_window_view(values, (4, 4))[where[:, 0], where[:, 1]].astype(np.float32)
        # Many small products: one large one would be spread over threads, which wait for each other on a busy machine.
        found: Singles = weights @ (near @ weights.T)
        return found

    def full(self, values: Floats, rows: slice, columns: slice, fine: int = 1) -> Singles:
        """Mesh values at every sample of a rectangle of pixels, `fine` samples a pixel and direction."""
        tops, lefts = (np.arange(s.start // TILE, -(-s.stop // TILE)) for s in (rows, columns))
        where = np.stack(np.meshgrid(tops, lefts, indexing="ij"), axis=-1).reshape(-1, 2)
        tiles = self.samples(values, where, tile_weights(fine))
        side = TILE * fine
        whole = tiles.reshape(len(tops), len(lefts), side, side).swapaxes(1, 2).reshape(len(tops) * side, -1)
        down, right = ((s.start - t[0] * TILE) * fine for s, t in ((rows, tops), (columns, lefts)))
        return whole[down:, right:][: (rows.stop - rows.start) * fine, : (columns.stop - columns.start) * fine]


def _weights(t: Floats) -> Floats:
    """(n, 4): Lagrange's cubic through -1, 0, 1, 2, at t."""
    return np.stack(
        (
            -t * (t - 1) * (t - 2) / 6,
            (t + 1) * (t - 1) * (t - 2) / 2,
            -(t + 1) * t * (t - 2) / 2,
            (t + 1) * t * (t - 1) / 6,
        ),
        axis=-1,
    )


def tile_weights(fine: int) -> Singles:
    """(side, 4): weights of four mesh lines at the samples of a tile in one direction."""
    return _weights(((np.arange(TILE * fine) + 0.5) / fine - 0.5) / TILE).astype(np.float32)
