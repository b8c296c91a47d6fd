"""The dots of a dot grid, gun by gun: the centroid of each, under a bell about the middle itself."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.raster.lattice.crossings import Lattice

__all__ = ["see_spots"]

Floats = NDArray[np.float64]

_REACH = 0.3
"""Share of a cell that is looked at on each side of a dot."""
_DIM = 0.3
"""Share of a usual dot's light that a dot has at least."""
_SIZES = (0.7, 1.5)
"""Shares of a usual dot's size outside which something else is seen, or a part of it."""
_UNLIT = 0.12
"""Share of the brightest gun's light below which another gun is dark."""
_FLOOR_PX = 0.01


def see_spots(linear: NDArray[Any], lattice: Lattice, cell: float, clip: float) -> tuple[Floats, Floats, float]:
    """Middles (3, rows, columns, 2) of a lattice's dots, their standard uncertainties, and the share that is clipped.

    `linear` is the photograph, (rows, columns, 3), in linear light; `cell` a cell's side in pixels.
    """
    rows, columns = (ends[1] - ends[0] + 1 for ends in (lattice.rows, lattice.columns))
    middles, sizes, lights = (np.full((3, rows, columns, 2), np.nan) for _ in range(3))
    noise = np.full((3, rows, columns), np.nan)
    tops = []
    half = max(3, round(_REACH * cell))
    for row in range(rows):
        for column in range(columns):
            place = lattice.places(np.array(column + lattice.columns[0]), np.array(row + lattice.rows[0]))
            x, y = (round(float(value)) for value in place)
            if not (half <= x < linear.shape[1] - half and half <= y < linear.shape[0] - half):
                continue
            piece = linear[y - half : y + half + 1, x - half : x + half + 1].astype(np.float64)
            ring = np.ones(piece.shape[:2], bool)
            ring[2:-2, 2:-2] = False
            ground = np.median(piece[ring], axis=0)
            light = piece - ground
            start = _brightest(light.sum(axis=2), half)
            tops.append(float(piece[tuple(np.round(start[::-1] + half).astype(int))].max()))
            for gun in range(3):
                told = _centroid(light[..., gun], start, half, 0.06 * cell)
                if told is None:
                    continue
                away, size, total = told
                middles[gun, row, column] = away + np.array([x, y])
                sizes[gun, row, column], lights[gun, row, column] = size, total
                noise[gun, row, column] = np.std(piece[ring][:, gun]) * size**2 / max(total, 1e-9) * 4
    usual = np.nanmedian(lights[..., 0], axis=(1, 2), keepdims=True)
    usual_size = np.nanmedian(sizes[..., 0], axis=(1, 2), keepdims=True)
    good = (lights[..., 0] > _DIM * usual) & (sizes[..., 0] > _SIZES[0] * usual_size)
    good &= (sizes[..., 0] < _SIZES[1] * usual_size) & (usual > _UNLIT * np.nanmax(usual))
    sigma = np.hypot(np.nan_to_num(noise), _FLOOR_PX)[..., None] * np.ones(2)
    clipped = float(np.mean(np.array(tops) >= clip)) if tops else 0.0
    return np.where(good[..., None], middles, np.nan), np.where(good[..., None], sigma, np.nan), clipped


def _brightest(light: Floats, half: int) -> Floats:
    """(x, y) of the light's middle, roughly, from the middle of the piece."""
    strong = np.clip(light - 0.4 * light.max(), 0, None)
    reach = np.arange(-half, half + 1)
    total = max(float(strong.sum()), 1e-9)
    return np.array([float(strong.sum(axis=0) @ reach), float(strong.sum(axis=1) @ reach)]) / total


def _centroid(light: Floats, start: Floats, half: int, width: float) -> tuple[Floats, float, float] | None:
    """Middle (x, y), standard deviation and light of a dot; None where it leads away."""
    reach = np.arange(-half, half + 1, dtype=np.float64)
    middle, bell = start.copy(), 2.2 * width + 0.5
    size, total = width, 0.0
    for _ in range(8):
        dx, dy = reach - middle[0], reach - middle[1]
        weight = np.exp(-0.5 * (dy[:, None] ** 2 + dx[None, :] ** 2) / bell**2) * light
        total = float(weight.sum())
        if total <= 0:
            return None
        moved = np.array([float(weight.sum(axis=0) @ dx), float(weight.sum(axis=1) @ dy)]) / total
        square = float(weight.sum(axis=0) @ dx**2 + weight.sum(axis=1) @ dy**2) / total / 2
        size = float(np.sqrt(max(square, 1e-6)))
        middle = middle + moved * 1.3
        if np.hypot(*middle) > half:
            return None
    return middle, size, total
