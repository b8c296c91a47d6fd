"""Which scan lines a photograph shows: both fields of an interlaced picture, or one alone.

Vertical lines of the grid are made of scan lines. Where one field alone was seen every second one is missing, and the
light along an upright line goes up and down with twice the lines' distance.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.raster.lattice.crossings import Lattice

__all__ = ["one_field_share"]

Floats = NDArray[np.float64]

_DEEP = 0.5
"""Depth of the ups and downs from which a piece of a line has one field alone, as a share of what lines as wide as the
level ones make. Both fields make none; a second field that lies a tenth of a line off its middle, a third."""
_CLEARLY = 4.0
"""How many times as deep as with other distances beside that one."""
_BESIDE = (0.36, 0.43, 0.58, 0.66)
"""Those other distances, as cycles for each line of a frame; one field has 0.5."""
_SEEN = 0.01
"""Depth that one field has to make to stand out of noise."""
_CLEAR = 0.15
"""Share of a cell beside a crossing that is left out."""
_FINEST_PX = 2.5
"""Pixels of two lines of a frame below which they are not resolved."""


def one_field_share(
    linear: NDArray[Any], lattice: Lattice, lines_in_cell: float, gun: int, width: float
) -> float | None:
    """The share of the vertical lines' pieces that show one field alone; None where scan lines are not resolved.

    `linear` is the photograph in linear light, (rows, columns, 3); `lines_in_cell` the lines of a frame in a cell's
    height, `width` the standard deviation across of a level line in pixels.
    """
    columns = np.arange(lattice.columns[0] + 1, lattice.columns[1], dtype=np.float64)
    rows = np.arange(lattice.rows[0], lattice.rows[1], dtype=np.float64)
    if not len(columns) or not len(rows):
        return None
    steps = np.arange(_CLEAR, 1 - _CLEAR, 1 / (4 * lines_in_cell))
    places = lattice.places(columns[:, None, None], rows[None, :, None] + steps)
    cell = float(np.median(np.hypot(*np.moveaxis(places[..., -1, :] - places[..., 0, :], -1, 0)))) / (1 - 2 * _CLEAR)
    if 2 * cell / lines_in_cell < _FINEST_PX:
        return None
    y = np.round(places[..., 1]).astype(int)
    inside = (y >= 0) & (y < linear.shape[0])
    reach = max(1, round(cell * 0.06))
    light = np.zeros(y.shape)
    for away in range(-reach, reach + 1):
        x = np.round(places[..., 0]).astype(int) + away
        light += linear[np.clip(y, 0, linear.shape[0] - 1), np.clip(x, 0, linear.shape[1] - 1), gun]
    window = np.hanning(len(steps) + 2)[1:-1]
    total = (light * window).sum(axis=-1)

    def depth(cycles: float) -> Floats:
        wave = np.exp(-2j * np.pi * cycles * steps * lines_in_cell) * window
        mean = np.abs(wave.sum()) / window.sum()
        found: Floats = 2 * np.abs((light * wave).sum(axis=-1)) / np.maximum(total, 1e-9) - 2 * mean
        return found

    own = depth(0.5)
    beside = np.max([depth(cycles) for cycles in _BESIDE], axis=0)
    lit = inside.all(axis=-1) & (total > 0.3 * np.median(total))
    if lit.sum() < 6:
        return None
    full = 2 * float(np.exp(-2 * (np.pi * width / (2 * cell / lines_in_cell)) ** 2))
    if full < _SEEN:
        return None
    return float(np.mean((own > _DEEP * full) & (own > _CLEARLY * beside), where=lit))
