"""The opening through which the glass is seen, from where the light of lines that run beyond it ends.

Each side is a parabola through the ends on it; the opening is taken as a rectangle whose sides may bend alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.raster.grid import GlassGrid

__all__ = ["Opening", "opening_of"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_FEWEST = 5
"""Ends on a side that show where it is."""
_AT_EDGE = 0.98
"""u or v from which a line stands for the picture's edge."""
_END = 0.0003
"""Standard uncertainty of all ends on a side alike, as a share of the opening's height: light fades at the edge."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Opening:
    """The visible glass, in the unit of the grid that it was found in."""

    centre: Floats
    """(2,): between the middles of opposite sides."""
    rotation: float
    """Radians, clockwise."""
    size: tuple[float, float]
    """Between the middles of opposite sides."""
    corners: Floats
    """(4, 2): where the sides' curves meet, from the top left clockwise."""
    centre_sigma: float
    rotation_sigma: float


def opening_of(grid: GlassGrid, gun: int, end_sigma: float = 0.0) -> Opening | None:
    """The opening, where lines run beyond it on all four sides; None where a side of the picture ends before it does.

    `end_sigma` is the uncertainty of all ends on a side alike, besides that the light fades there.
    """
    seen = np.isfinite(grid.nodes[gun]).all(axis=-1)
    level, upright = grid.level_ends, grid.upright_ends
    u, v = grid.shown.u, grid.shown.v
    if grid.shown.dots or any(
        2 * line.sum() >= line.size > 0 and abs(place) > _AT_EDGE
        for line, place in ((seen[:, 0], u[0]), (seen[:, -1], u[-1]), (seen[0], v[0]), (seen[-1], v[-1]))
    ):
        return None
    return _from_sides(level[:, 0], level[:, 1], upright[:, 0], upright[:, 1], end_sigma)


def _from_sides(left: Floats, right: Floats, top: Floats, bottom: Floats, end_sigma: float) -> Opening | None:
    found = [_curve(left, 1), _curve(top, 0), _curve(right, 1), _curve(bottom, 0)]
    sides = [one for one in found if one is not None]
    if len(sides) < 4:
        return None
    corners = np.stack([_crossing(sides[i], sides[(i + 1) % 4]) for i in range(4)])
    # Middles of sides: between their corners, on their curves.
    middles = np.stack([side.at((corners[i - 1] + corners[i])[side.along] / 2) for i, side in enumerate(sides)])
    across, down = middles[2] - middles[0], middles[3] - middles[1]
    height = float(np.hypot(*down))
    # Both pairs of sides say how it is turned: the upper and the lower one's slopes, and the others'.
    chords = [corners[1] - corners[0], corners[2] - corners[3]]
    rises = [corners[3] - corners[0], corners[2] - corners[1]]
    angles = [math.atan2(chord[1], chord[0]) for chord in chords] + [math.atan2(-rise[0], rise[1]) for rise in rises]
    scatter = max(side.scatter for side in sides)
    end = math.hypot(_END * height, scatter, end_sigma)
    return Opening(
        centre=middles.mean(axis=0),
        rotation=float(np.mean(angles)),
        size=(float(np.hypot(*across)), height),
        corners=corners,
        centre_sigma=end / math.sqrt(2),
        rotation_sigma=max(end / height, float(np.std(angles)) / 2),
    )


@dataclass(frozen=True, eq=False)
class _Side:
    """x of y, or y of x, as a parabola; `along` is the axis that it runs along."""

    weights: Floats
    along: int
    scatter: float
    """Standard uncertainty of its middle by the ends' scatter."""

    def at(self, place: float) -> Floats:
        """The point at `place` along the side."""
        across = float(self.weights @ (1, place, place**2))
        return np.array([place, across] if self.along == 0 else [across, place])


def _curve(ends: Floats, along: int) -> _Side | None:
    """A parabola through ends (n, 2), the further off the less they count."""
    known = ends[np.isfinite(ends).all(axis=1)]
    if len(known) < _FEWEST:
        return None
    t, across = known[:, along], known[:, 1 - along]
    scale = float(np.abs(t).max())
    basis = np.vander(t / scale, 3, increasing=True)
    weights = np.ones(len(t))
    for _ in range(6):
        solved = np.linalg.lstsq(basis * weights[:, None], across * weights, rcond=None)[0]
        rest = np.abs(across - basis @ solved)
        spread = max(1.4826 * float(np.median(rest)), 1e-9)
        weights = np.sqrt(np.minimum(1.0, 1.5 * spread / np.maximum(rest, 1e-12)))
    return _Side(solved / scale ** np.arange(3), along, spread * math.sqrt(9 / 4 / len(t)))


def _crossing(first: _Side, second: _Side) -> Floats:
    """(2,): where a side meets the next one."""
    a, b = (first, second) if first.along == 1 else (second, first)
    y = b.weights[0]
    for _ in range(20):
        x = a.at(y)[0]
        y = b.at(x)[1]
    return np.array([x, y])
