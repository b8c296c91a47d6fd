"""From a photograph to the grid on the glass: the marks' plane, the lens, the nodes, and what is left in doubt."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.lens.model import Lens
from analysis.photo.file import Photo
from analysis.photo.notes import read_notes
from analysis.photo.plane import MarksGiven, Plane, plane_in, unknown_lens
from analysis.raster.grid import GlassGrid, SeenGrid, ShownGrid
from analysis.raster.lattice.nodes import see_grid
from analysis.raster.lattice.trace import bell_of

__all__ = ["OnGlass", "grid_on_glass", "reach_of_mixing", "unmixed"]

Floats = NDArray[np.float64]

_MIXED = np.array([[0.94, 0.05, 0.01], [0.05, 0.90, 0.05], [0.01, 0.05, 0.94]])
"""What a channel (row) sees of red, green and blue light where all three guns are lit: what is left of the overlap of a
camera's filters (common practice, no source)."""
_MIXED_DOUBT = 1.0
"""Share by which the overlap may be another one, as a standard uncertainty: none of it, or twice as much (common
practice, no source)."""
_HALF_COLOUR = 1.5
"""The same, times the line's width in pixels, of a JPEG, which may have colour at half the pixels: what lines of one to
three pixels lost in simulated photographs."""
_PAIRING = 0.1
"""Share of a line's distance by which the second field may lie beside the first one's middle, as a standard uncertainty
(common practice, no source)."""
_UPRIGHT = 0.707
"""Cosine of the angle by which the marks' upper edge may be turned: more is another way up."""


@dataclass(frozen=True, eq=False, kw_only=True)
class OnGlass:
    """The grid on the glass, and the same as one cause of doubt after the other would have it."""

    seen: SeenGrid
    grid: GlassGrid
    doubts: tuple[GlassGrid, ...]
    plane: Plane | None
    """None without marks; the grid is then in the photograph's pixels, made straight by the lens."""
    warnings: tuple[str, ...]


def grid_on_glass(
    photo: Photo,
    shown: ShownGrid,
    *,
    marks: MarksGiven | None = None,
    lens: Lens | None = None,
    hidden: tuple[int, int] | None = None,
) -> OnGlass:
    """Find a grid's nodes in a photograph and place them on the glass. `hidden` is as in `see_grid`.

    Raises:
        GridError: no such grid is seen, or it is not clear which of its lines is which.
        ValueError: the marks, the lens or the glass' radius do not go with the photograph; one line.
    """
    if marks is not None:
        _check_upright(marks.seen.centres)
        plane = plane_in(photo, marks, lens=lens)
        sight = see_grid(photo, shown, middle=plane.to_px(np.zeros((1, 2)))[0], hidden=hidden)
        planes = [other for other, _ in plane.perturbed()] + plane.doubtful()
        grid = _on_plane(sight.grid, plane, spread=True)
        doubts = [_on_plane(sight.grid, other, grid.sigma) for other in planes]
    else:
        plane = None
        own = None if lens is None else lens.for_photo(photo.size, read_notes(photo.path).orientation)
        sight = see_grid(photo, shown, hidden=hidden)
        grid = _straight(sight.grid, own)
        others = [unknown_lens(photo.size)] if own is None else own.doubtful()
        doubts = [_straight(sight.grid, other) for other in others]
    doubts += _shared_doubts(grid)
    within = reach_of_mixing(sight.grid.nodes, sight.width)
    grid, doubts = unmixed(grid, within), [unmixed(doubt, within) for doubt in doubts]
    halved = _HALF_COLOUR / sight.width if photo.path.suffix.lower() in (".jpg", ".jpeg") else 0.0
    doubts.append(unmixed(grid, within, _MIXED_DOUBT + halved))
    warnings = (*_lens_warnings(lens, photo.size), *sight.warnings)
    return OnGlass(seen=sight.grid, grid=grid, doubts=tuple(doubts), plane=plane, warnings=warnings)


def _lens_warnings(lens: Lens | None, size: tuple[int, int]) -> list[str]:
    """What to know of a measurement of a photograph of that many pixels with this lens, or without one."""
    if lens is None:
        return [
            "no lens file is given: the camera may bend lines by half a percent, which the uncertainties hold; "
            "'trueraster measure lens' takes that away"
        ]
    if sorted(lens.size) != sorted(size):
        return [
            f"the lens was calibrated with {lens.size[0]}x{lens.size[1]} pixels, this photograph has {size[0]}x"
            f"{size[1]}: it is right for the same camera and zoom only, and for whole photographs made smaller"
        ]
    return []


def reach_of_mixing(nodes: Floats, width: float) -> Floats:
    """(3, 3, rows, columns, 2): how far another gun's line (second axis) draws a channel's centroid (first), 0 to 1.

    `nodes` are seen places, (3, rows, columns, 2), `width` a line's standard deviation, both in pixels. Under the bell
    that a centroid is weighted with a line draws by its distance where it is near, and not at all where it is far.
    """
    square = ((nodes[None] - nodes[:, None]) / width) ** 2
    return np.exp(-0.5 * np.nan_to_num(square) / (1 + (bell_of(width) / width) ** 2))


def unmixed(grid: GlassGrid, within: Floats | float = 1.0, share: float = 1.0) -> GlassGrid:
    """The guns' own places from those of a camera's channels, each of which sees a little of its neighbours too.

    A channel's centroid lies between those of the guns in its mixture, as far as these are `within` its reach
    (`reach_of_mixing`). Where a gun is not lit the others stand alone.
    """
    within = np.broadcast_to(within, (3, *grid.nodes.shape))
    mixed = np.eye(3) + share * (_MIXED - np.eye(3))
    lit: NDArray[np.bool_] = np.asarray(np.isfinite(grid.nodes[..., 0]).any(axis=(1, 2)))
    mixed = np.where(lit[None, :], mixed, 0.0)
    mixed = mixed / mixed.sum(axis=1, keepdims=True)
    mixed[~lit] = np.eye(3)[~lit]
    away = np.linalg.inv(mixed) - np.eye(3)
    # Only the guns' distances from each other count, so what one does not show moves no other.
    middle = np.nan_to_num(grid.nodes)
    told = np.isfinite(grid.nodes)
    nodes = grid.nodes.copy()
    for gun in range(3):
        for other in range(3):
            part = away[gun, other] * within[gun, other] * (middle[other] - middle[gun])
            nodes[gun] += np.where(told[other], part, 0.0)
    return replace(grid, nodes=nodes)


def _shared_doubts(grid: GlassGrid) -> list[GlassGrid]:
    """What moves all of the grid alike."""
    y = grid.nodes[..., 1]
    told: NDArray[np.bool_] = np.asarray(np.isfinite(y))
    if not grid.shown.interlaced_lines or np.count_nonzero(np.any(told, axis=(0, 2))) < 2:
        return []
    height = 2 * np.polyfit(np.broadcast_to(grid.shown.v[:, None], y.shape)[told], y[told], 1)[0]
    step = 0.5 * _PAIRING * height / grid.shown.interlaced_lines
    return [replace(grid, nodes=grid.nodes + np.array([0.0, step]))]


def _check_upright(centres: Floats) -> None:
    """Refuse a photograph that lies on its side: left and right, above and below are the photograph's here."""
    top = centres[1] - centres[0]
    cosine, sine = top / float(np.hypot(*top))
    if cosine < _UPRIGHT:
        turned = "upside down" if cosine < -_UPRIGHT else "on its side"
        way = "180" if cosine < -_UPRIGHT else ("90 degrees to the left" if sine > 0 else "90 degrees to the right")
        degrees = " degrees" if way == "180" else ""
        raise ValueError(f"the photograph lies {turned}, the marks say: turn it by {way}{degrees} and measure again")


def _on_plane(seen: SeenGrid, plane: Plane, sigma: Floats | None = None, *, spread: bool = False) -> GlassGrid:
    nodes = np.stack([plane.to_mm(seen.nodes[gun], gun) for gun in range(3)])
    if spread:
        # What a pixel's part in either direction makes on the glass.
        moved = [
            np.stack([plane.to_mm(seen.nodes[gun] + step * seen.sigma[gun], gun) for gun in range(3)]) - nodes
            for step in np.eye(2)
        ]
        sigma = np.sqrt(sum(change**2 for change in moved))
    assert sigma is not None
    return GlassGrid(
        shown=seen.shown,
        nodes=nodes,
        sigma=sigma,
        level_ends=plane.to_mm(seen.level_ends),
        upright_ends=plane.to_mm(seen.upright_ends),
    )


def _straight(seen: SeenGrid, lens: Lens | None) -> GlassGrid:
    """The grid in pixels, as a lens without distortion would have them."""
    grid = GlassGrid(
        shown=seen.shown,
        nodes=seen.nodes,
        sigma=seen.sigma,
        level_ends=seen.level_ends,
        upright_ends=seen.upright_ends,
        placed=False,
    )
    if lens is None:
        return grid
    return replace(
        grid,
        nodes=np.stack([lens.straight(seen.nodes[gun], gun) for gun in range(3)]),
        level_ends=lens.straight(seen.level_ends),
        upright_ends=lens.straight(seen.upright_ends),
    )
