"""Triangles of primaries on a chromaticity diagram: how large they are, and how much of one another holds."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["area_of", "coverage_of"]

Floats = NDArray[np.float64]


def area_of(polygon: ArrayLike) -> float:
    """The area of a polygon (n, 2) that does not cross itself, whichever way round."""
    return abs(_signed(np.asarray(polygon, dtype=np.float64)))


def coverage_of(polygon: ArrayLike, wanted: ArrayLike) -> float:
    """The share of the convex polygon `wanted` (m, 2) that lies within the convex `polygon` (n, 2), 0 to 1.

    Both are given as their corners in order, whichever way round. One without an area covers nothing.
    """
    left, cutter = (_turned(np.asarray(corners, dtype=np.float64)) for corners in (wanted, polygon))
    whole = abs(_signed(left))
    if whole == 0 or _signed(cutter) == 0:
        return 0.0
    # What lies outside is cut away side by side (Sutherland and Hodgman, 1974).
    for start, end in zip(cutter, np.roll(cutter, -1, axis=0), strict=True):
        left = _cut(left, start, end)
        if len(left) < 3:
            return 0.0
    return min(abs(_signed(left)) / whole, 1.0)


def _signed(polygon: Floats) -> float:
    x, y = polygon.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def _turned(polygon: Floats) -> Floats:
    return polygon if _signed(polygon) >= 0 else polygon[::-1]


def _cut(polygon: Floats, start: Floats, end: Floats) -> Floats:
    """What of a polygon lies on the left of a line."""
    way = end - start
    off = way[0] * (polygon[:, 1] - start[1]) - way[1] * (polygon[:, 0] - start[0])
    kept: list[Floats] = []
    for i, point in enumerate(polygon):
        before = i - 1
        if (off[before] < 0) != (off[i] < 0):
            kept.append(polygon[before] + (point - polygon[before]) * off[before] / (off[before] - off[i]))
        if off[i] >= 0:
            kept.append(point)
    return np.array(kept).reshape(-1, 2)
