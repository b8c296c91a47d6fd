"""The grid as it should lie: straight, square, with equal cells, at the measured place, size and turn; and the way back
from the glass into the photograph. What pictures and plots are drawn from.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.lens.model import Lens
from analysis.photo.pose import homography, through
from analysis.raster.geometry.figures import fitted
from analysis.raster.geometry.smooth import POWERS, Smooth, projection, where_seen
from analysis.raster.grid import GlassGrid, ShownGrid
from analysis.raster.placing import OnGlass

__all__ = ["MOST_LARGER", "MOST_LARGER_GUNS", "Ideal", "exaggeration", "ideal_of", "to_photo"]

Floats = NDArray[np.float64]

_FACTORS = (1, 2, 3, 5, 7, 10, 15, 20, 30, 50)
"""By how much errors are drawn larger."""
MOST_LARGER, MOST_LARGER_GUNS = 20, 50
"""The most for crossings, and for a gun against green: with more, a set in order would look like one that is not."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Ideal:
    """The measured grid of one gun, flat, and the one that it should be, in the same unit."""

    unit: str
    """`mm`, or `% of height` without marks."""
    grid: GlassGrid
    """All guns' nodes in that unit."""
    gun: int
    smooth: Smooth
    centre: Floats
    """(2,)."""
    across: Floats
    """(2,): from the middle to where the middle of the right side should be."""
    down: Floats
    """(2,): to the middle of the bottom side."""

    @property
    def nodes(self) -> Floats:
        """(rows, columns, 2): as they were measured; NaN where not."""
        return np.asarray(self.grid.nodes[self.gun])

    @property
    def shown(self) -> ShownGrid:
        return self.grid.shown

    @property
    def height(self) -> float:
        """Of the picture."""
        return 2 * float(np.hypot(*self.down))

    @property
    def cell(self) -> float:
        """The smaller side of a cell."""
        steps = [
            float(np.hypot(*half)) * float(np.diff(places).min())
            for half, places in ((self.across, self.shown.u), (self.down, self.shown.v))
        ]
        return min(steps)

    def at(self, u: Floats, v: Floats) -> Floats:
        """(..., 2): where points of the picture should be."""
        return self.centre + np.asarray(u)[..., None] * self.across + np.asarray(v)[..., None] * self.down

    def wanted(self) -> Floats:
        """(rows, columns, 2): where the nodes should be."""
        return self.at(*np.meshgrid(self.shown.u, self.shown.v))

    def errors(self) -> Floats:
        """(rows, columns, 2): how far they are from there."""
        return self.nodes - self.wanted()


def ideal_of(grid: GlassGrid, gun: int, picture_aspect: float) -> Ideal:
    """The ideal grid of a measured one, of which enough is seen for a map."""
    flat, smooth = fitted(grid, gun, picture_aspect)
    fit = smooth.coefficients @ projection(grid.shown, smooth.powers, POWERS[:3]).T
    across, down = fit[:, 1], fit[:, 2]
    # Square to the level axis, which is the one that rotation is told by.
    square = np.array([-across[1], across[0]]) / np.hypot(*across)
    return Ideal(
        unit="mm" if grid.placed else "% of height",
        grid=replace(flat, placed=grid.placed),
        gun=gun,
        smooth=smooth,
        centre=fit[:, 0],
        across=across,
        down=square * np.hypot(*down),
    )


def to_photo(on: OnGlass, ideal: Ideal, lens: Lens | None) -> Callable[[Floats], Floats]:
    """What gives the photograph's pixels (..., 2) of places (..., 2) in the ideal grid's unit.

    `lens` is that of just this photograph; it is used where there are no marks.
    """
    if on.plane is not None:
        return on.plane.to_px
    if on.to_px is not None:
        return on.to_px
    straight, flat = on.grid.nodes[ideal.gun], ideal.nodes
    seen = np.argwhere(where_seen(straight))
    # Both lie in one perspective, so any four that are far apart tell it.
    corners = [seen[np.argmax(seen @ way)] for way in ((-1, -1), (-1, 1), (1, 1), (1, -1))]
    rows, columns = np.array(corners).T
    back = homography(flat[rows, columns], straight[rows, columns])

    def pixels(places: Floats) -> Floats:
        found = through(back, places)
        return found if lens is None else lens.bent(found)

    return pixels


def exaggeration(errors: Floats, cell: float, most: int) -> int:
    """By how much errors (..., 2) are drawn larger, up to `most`: nearly all within half a cell."""
    sizes = np.hypot(errors[..., 0], errors[..., 1])
    sizes = sizes[np.isfinite(sizes)]
    if not sizes.size:
        return 1
    usual, largest = float(np.quantile(sizes, 0.9)), float(sizes.max())
    return max((n for n in _FACTORS if n <= most and n * usual <= 0.6 * cell and n * largest <= 1.2 * cell), default=1)
