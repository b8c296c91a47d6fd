"""From the bundle fit to the grid on the glass, with every cause of uncertainty as a grid of its own."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.raster.bundle.solve import Bundle
from analysis.raster.geometry.smooth import POWERS, fit_smooth, projection
from analysis.raster.grid import GlassGrid, SeenGrid, ShownGrid
from analysis.raster.opening import Opening

__all__ = ["Frame", "glass_grid", "picture_axes", "picture_height", "placed_in"]

Floats = NDArray[np.float64]

_FRINGE = 4e-4
"""Standard uncertainty of how red's and blue's pictures are larger than green's (common practice, no source)."""


def glass_grid(
    shown: ShownGrid, bundle: Bundle, seen: Sequence[SeenGrid], gun: int, *, calibrated: bool
) -> tuple[GlassGrid, dict[str, list[GlassGrid]], float]:
    """The grid in the scene's mm, the same moved by each cause of uncertainty, and the uncertainty of lines' ends.

    `gun` is the one that was solved. `seen` are the photographs in the sensor's pixels; `calibrated` says
    that lateral colour was taken out of them.
    """
    shape = (len(shown.v), len(shown.u), 2)
    own = bundle.nodes.reshape(shape)
    nodes, sigma = np.full((3, *shape), np.nan), np.full((3, *shape), np.nan)
    nodes[gun], sigma[gun] = own, bundle.sigma.reshape(shape)
    fringed: list[Floats] = []
    for other in range(3):
        if other == gun:
            continue
        away, spread, fringe = _against(bundle, seen, gun, other)
        nodes[other] = own + away.reshape(shape)
        sigma[other] = np.hypot(sigma[gun], spread.reshape(shape))
        if not calibrated:
            moved = nodes.copy()
            moved[other] += fringe.reshape(shape)
            fringed.append(moved)
    level, level_spread = _ends(bundle, seen, own, lambda grid: grid.level_ends)
    upright, upright_spread = _ends(bundle, seen, own, lambda grid: grid.upright_ends)
    grid = GlassGrid(shown=shown, nodes=nodes, sigma=sigma, level_ends=level, upright_ends=upright)
    together = [replace(grid, nodes=nodes + shift.reshape(shape)) for shift in bundle.shifts]
    shared = {"bundle": together, "fringes": [replace(grid, nodes=moved) for moved in fringed]}
    return grid, shared, max(level_spread, upright_spread)


def _against(bundle: Bundle, seen: Sequence[SeenGrid], gun: int, other: int) -> tuple[Floats, Floats, Floats]:
    """(nodes, 2) each: how far another gun lies from the one that was solved, the uncertainty, and what lateral colour
    of one standard uncertainty would add."""
    total, weights, fringes = (np.zeros((len(bundle.nodes), 2)) for _ in range(3))
    for number, grid in enumerate(seen):
        apart = (grid.nodes[other] - grid.nodes[gun]).reshape(-1, 2)
        noise = np.hypot(grid.sigma[other], grid.sigma[gun]).reshape(-1, 2)
        good = np.isfinite(apart).all(axis=1) & np.isfinite(bundle.nodes).all(axis=1)
        places = bundle.scene.see(bundle.views[number], bundle.nodes[good])
        back = np.linalg.inv(places.by_point)
        spread = np.sqrt((back**2 @ (noise[good] ** 2)[..., None])[..., 0])
        weight = 1 / spread**2
        fringe = _FRINGE * (places.pixels - bundle.scene.values[1:3])
        total[good] += weight * (back @ apart[good][..., None])[..., 0]
        fringes[good] += weight * (back @ fringe[..., None])[..., 0]
        weights[good] += weight
    weights[weights == 0] = np.nan
    return total / weights, 1 / np.sqrt(weights), fringes / weights


def _ends(
    bundle: Bundle, seen: Sequence[SeenGrid], nodes: Floats, of: Callable[[SeenGrid], Floats]
) -> tuple[Floats, float]:
    """Where lines' light ends, in mm, the median of all photographs; and the uncertainty that their scatter leaves.

    A rim before the glass hides a different part of it from each camera, so its ends differ between photographs.
    """
    known = np.isfinite(nodes).all(axis=-1)
    found = []
    for number, grid in enumerate(seen):
        ends = of(grid)
        pixels = bundle.scene.see(bundle.views[number], nodes[known]).pixels
        back = np.linalg.lstsq(np.column_stack([pixels, np.ones(len(pixels))]), nodes[known], rcond=None)[0]
        flat = ends.reshape(-1, 2)
        start = np.column_stack([flat, np.ones(len(flat))]) @ back
        found.append(bundle.scene.to_face(bundle.views[number], flat, start).reshape(ends.shape))
    every = np.stack(found)
    few = np.isfinite(every[..., 0]).sum(axis=0) * 2 < len(found)
    every = np.where(few[..., None], 0.0, every)
    middle = np.nanmedian(every, axis=0)
    scatter = 1.4826 * np.nanmedian(np.abs(every - middle), axis=0)[~few]
    spread = float(np.median(scatter.max(axis=-1))) / math.sqrt(len(found)) if len(scatter) else 0.0
    return np.where(few[..., None], np.nan, middle), spread


@dataclass(frozen=True, eq=False, kw_only=True)
class Frame:
    """From the scene's mm to the axes and the unit that figures are given in."""

    middle: Floats
    turn: Floats
    """(2, 2)."""
    scale: float = 1.0
    scale_sigma: float = 0.0
    """Relative."""
    in_mm: bool = True

    @classmethod
    def of(cls, opening: Opening | None) -> Frame:
        """About the middle of the glass where that is seen, else the axes as they are."""
        if opening is None:
            return cls(middle=np.zeros(2), turn=np.eye(2))
        return cls.upright(opening.centre, opening.rotation)

    @classmethod
    def upright(cls, middle: Floats, rotation: float) -> Frame:
        """Axes about a middle, turned clockwise by `rotation` in radians."""
        cosine, sine = np.cos(rotation), np.sin(rotation)
        return cls(middle=middle, turn=np.array([[cosine, sine], [-sine, cosine]]))

    def put(self, points: Floats) -> Floats:
        """Points (..., 2) of the scene."""
        return self.scale * ((points - self.middle) @ self.turn.T)

    def back(self, points: Floats) -> Floats:
        """The inverse of `put`."""
        return np.asarray(points / self.scale @ self.turn + self.middle)


def placed_in(grid: GlassGrid, frame: Frame) -> GlassGrid:
    """The grid in a frame."""
    return replace(
        grid,
        nodes=frame.put(grid.nodes),
        sigma=grid.sigma * frame.scale,
        level_ends=frame.put(grid.level_ends),
        upright_ends=frame.put(grid.upright_ends),
        placed=frame.in_mm,
        straight=True,
    )


def picture_axes(grid: GlassGrid, gun: int) -> tuple[Floats, float]:
    """The picture's middle, and by how much it is turned clockwise, in radians."""
    smooth = fit_smooth(grid.shown, grid.nodes[gun], grid.sigma[gun])
    fit = smooth.coefficients @ projection(grid.shown, smooth.powers, POWERS[:3]).T
    return fit[:, 0], math.atan2(fit[1, 1], fit[0, 1])


def picture_height(grid: GlassGrid, gun: int) -> tuple[float, float]:
    """The picture's height as figures have it, and along a ruler through its middle, in the grid's unit."""
    smooth = fit_smooth(grid.shown, grid.nodes[gun], grid.sigma[gun])
    down = smooth.coefficients @ projection(grid.shown, smooth.powers, POWERS[:3])[2]
    ends = smooth.at(np.zeros(2), np.array([-1.0, 1.0]))
    return 2 * float(np.hypot(*down)), float(np.hypot(*(ends[1] - ends[0])))
