"""How much of the picture lies beyond the visible glass, from where the light of the grid's lines ends.

The share is told at the middle of each side, as it is read off a scale there. Nothing of it needs marks: perspective
moves the lines and their ends alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.raster.geometry.smooth import Powers, Smooth, monomials, where_seen
from analysis.raster.grid import GlassGrid

__all__ = ["SIDES", "outermost_lines", "overscan"]

Floats = NDArray[np.float64]

SIDES = ("left", "right", "top", "bottom")

_MIDDLE = 0.7
"""How far from the middle of a side lines are asked where they end, of 1: the glass has round corners."""
_AT_EDGE = 0.98
"""u or v from which a line stands for the picture's edge: the outermost are cut by it, so their middle is inside."""
_FEWEST_ENDS = 3
_END_PERCENT = 0.03
"""Standard uncertainty, in percent of the picture height, of all ends on a side alike: light fades at the edge."""
_ALONG_EDGE = 0.1
"""Cells from the edge within which another line lies along it, cut by it: its light is beyond where the others end."""
_ALONG_PERCENT = 0.05
"""The same uncertainty there: what simulated edges were off by."""


@dataclass(frozen=True, slots=True)
class Hidden:
    """The hidden share of the picture's width or height on one side, in percent; None with a reason."""

    value: float | None
    uncertainty: float | None = None
    reason: str = ""


def outermost_lines(smooth: Smooth) -> dict[str, int]:
    """The index of the outermost line on each side that is seen: upright for left and right, level for top and bottom.

    A line is seen when at least half as many of its nodes are as of the line with most of them.
    """
    seen = where_seen(smooth.places)
    found: dict[str, int] = {}
    for (low, high), count in ((SIDES[:2], seen.sum(axis=0)), (SIDES[2:], seen.sum(axis=1))):
        lines = np.flatnonzero(2 * count >= count.max())
        found[low], found[high] = int(lines[0]), int(lines[-1])
    return found


def overscan(grid: GlassGrid, smooth: Smooth) -> dict[str, Hidden]:
    """What is hidden on each side.

    Where the middle of the outermost line is seen nothing is. Else the light of the lines that run to that side ends at
    the edge of the visible glass; the fitted map tells which part of the picture that is.
    """
    seen = where_seen(smooth.places)
    level, upright = np.abs(grid.shown.v) <= _MIDDLE, np.abs(grid.shown.u) <= _MIDDLE
    u, v = grid.shown.u, grid.shown.v
    outer = (
        (seen[level, 0], u[0], grid.level_ends[:, 0], 0, -1),
        (seen[level, -1], u[-1], grid.level_ends[:, 1], 0, 1),
        (seen[0, upright], v[0], grid.upright_ends[:, 0], 1, -1),
        (seen[-1, upright], v[-1], grid.upright_ends[:, 1], 1, 1),
    )
    return {
        # Dots begin a cell inside the picture: that the outermost are seen says nothing of its edge.
        side: Hidden(0.0, 0.0)
        if 2 * line.sum() >= line.size > 0 and abs(place) > _AT_EDGE
        else _hidden(smooth, (u, v)[axis], ends, axis, sign, side)
        for side, (line, place, ends, axis, sign) in zip(SIDES, outer, strict=True)
    }


def _hidden(smooth: Smooth, lines: Floats, ends: Floats, axis: int, sign: int, side: str) -> Hidden:
    places = ends[np.isfinite(ends).all(axis=-1)]
    points = picture_points(smooth, places)
    near = (np.abs(points[:, 1 - axis]) <= _MIDDLE) & (np.abs(points[:, axis]) < 1.5)
    points = points[near]
    if len(points) < _FEWEST_ENDS:
        return Hidden(None, None, f"no line at the picture's edge is seen at the {side}, nor where the others end")
    edge, scatter = _middle(points[:, 1 - axis], points[:, axis])
    at = (np.array([edge]), np.zeros(1)) if axis == 0 else (np.zeros(1), np.array([edge]))
    half = np.hypot(*_slopes(smooth, *at)[0, :, axis])
    height = 2 * np.hypot(*smooth.coefficients[:, 2])
    along = float(np.abs(lines - edge).min()) < _ALONG_EDGE * float(np.diff(lines).mean())
    uncertainty = (
        np.hypot(smooth.spread(*at)[0, axis], (_ALONG_PERCENT if along else _END_PERCENT) / 100 * height) / half
    )
    return Hidden(max(0.0, 50 * (1 - sign * edge)), 50 * float(np.hypot(scatter, uncertainty)))


def _middle(along: Floats, across: Floats) -> tuple[float, float]:
    """Where a side's edge is at its middle, from places along it, and the uncertainty that their scatter leaves."""
    basis = np.vander(along, 3 if len(along) >= 6 else 1, increasing=True)
    weights = np.ones(len(along))
    for _ in range(5):
        solved = np.linalg.lstsq(basis * weights[:, None], across * weights, rcond=None)[0]
        rest = np.abs(across - basis @ solved)
        scatter = max(1.4826 * float(np.median(rest)), 1e-12)
        weights = np.sqrt(np.minimum(1.0, 1.5 * scatter / np.maximum(rest, 1e-15)))
    spread = np.linalg.inv((basis * weights[:, None]).T @ (basis * weights[:, None]))
    return float(solved[0]), scatter * float(np.sqrt(spread[0, 0]))


def picture_points(smooth: Smooth, places: Floats) -> Floats:
    """(points, 2): the (u, v) that the map puts to `places` (points, 2), by repeated linear steps."""
    start = np.linalg.inv(smooth.coefficients[:, 1:3])
    found = (places - smooth.coefficients[:, 0]) @ start.T
    for _ in range(8):
        # Far outside the map may fold over.
        found = np.clip(found, -1.6, 1.6)
        missing = places - smooth.at(found[:, 0], found[:, 1])
        found = found + np.linalg.solve(_slopes(smooth, found[:, 0], found[:, 1]), missing[..., None])[..., 0]
    return np.asarray(found)


def _slopes(smooth: Smooth, u: Floats, v: Floats) -> Floats:
    """(points, 2, 2): how x and y change with u and v."""
    by_u, by_v = (_derived(u, v, smooth.powers, axis) @ smooth.coefficients.T for axis in range(2))
    return np.stack([by_u, by_v], axis=-1)


def _derived(u: Floats, v: Floats, powers: Powers, axis: int) -> Floats:
    lower = tuple((max(i - (axis == 0), 0), max(j - (axis == 1), 0)) for i, j in powers)
    return monomials(u, v, lower) * [pair[axis] for pair in powers]
