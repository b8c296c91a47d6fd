"""A grid photographed without marks, made upright by its own lines.

Without marks nobody knows how the camera stood, and perspective imitates place, size, rotation, keystone, parallelogram
and uneven cells. It cannot bend a line. So the perspective that makes the picture as upright as it will be is taken
away, whether it was the camera's or the raster's; lines keep their bends, and guns their places against each other, in
percent of the picture height.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.raster.geometry.smooth import Smooth
from analysis.raster.grid import GlassGrid

__all__ = ["GREEN", "best_gun", "in_percent"]

Floats = NDArray[np.float64]

GREEN = 1
"""The gun that geometry is told by, and that the others are held against: the eye goes by its light."""


def best_gun(grid: GlassGrid) -> int:
    """Green; but another (of a red crosshatch, say) where more than twice as many of its nodes are seen."""
    seen = np.isfinite(grid.nodes).all(axis=-1).sum(axis=(1, 2))
    return GREEN if 2 * seen[GREEN] >= seen.max() else int(np.argmax(seen))


def in_percent(grid: GlassGrid, smooth: Smooth, picture_aspect: float) -> GlassGrid:
    """The grid seen straight on, in percent of the picture height, its middle at 0; `smooth` is the map of one gun."""
    u, v = (axis.ravel() for axis in np.meshgrid(grid.shown.u, grid.shown.v))
    flat = np.stack([u * picture_aspect, v], axis=1) * 50.0
    upright = np.asarray(np.linalg.inv(_homography(flat, smooth.at(u, v))), np.float64)
    nodes, slopes = _mapped(upright, grid.nodes)
    sigma = np.sqrt(np.einsum("...ij,...j->...i", slopes**2, grid.sigma**2))
    return replace(
        grid,
        nodes=nodes,
        sigma=sigma,
        level_ends=_mapped(upright, grid.level_ends)[0],
        upright_ends=_mapped(upright, grid.upright_ends)[0],
    )


def _homography(source: Floats, target: Floats) -> Floats:
    """(3, 3): the perspective map of points (points, 2) to others, by linear least squares.

    Both are first moved and scaled to about 1, or the sum of squares would weigh the parts unevenly.
    """
    first, second = _about_one(source), _about_one(target)
    a, b = _homogeneous(source) @ first.T, _homogeneous(target) @ second.T
    none = np.zeros_like(a)
    rows = np.concatenate([np.hstack([a, none, -a * b[:, :1]]), np.hstack([none, a, -a * b[:, 1:2]])])
    # The vector of least size under the rows is the eigenvector of the least eigenvalue.
    found = np.linalg.svd(np.linalg.qr(rows, mode="r"))[2][-1].reshape(3, 3)
    return np.asarray(np.linalg.inv(second) @ found @ first, np.float64)


def _about_one(points: Floats) -> Floats:
    middle, size = points.mean(axis=0), float(points.std())
    return np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]])


def _homogeneous(points: Floats) -> Floats:
    return np.concatenate([points, np.ones((*points.shape[:-1], 1))], axis=-1)


def _mapped(homography: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Points (..., 2) through a homography, and its slopes (..., 2, 2) there."""
    through = _homogeneous(points) @ homography.T
    depth = through[..., 2:]
    places = through[..., :2] / depth
    slopes = (homography[:2, :2] - places[..., :, None] * homography[2, :2]) / depth[..., None]
    return places, slopes
