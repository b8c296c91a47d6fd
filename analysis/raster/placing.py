"""From a photograph to the grid on the glass: the marks' plane, the lens, the nodes, and what is left in doubt."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analysis.lens.model import Lens
from analysis.photo.exposure import Exposure, field_shifts
from analysis.photo.face import USUAL_CURVATURE
from analysis.photo.file import Photo
from analysis.photo.notes import PhotoNotes, read_notes
from analysis.photo.plane import MarksGiven, Plane, plane_in, unknown_fringes, unknown_lenses
from analysis.photo.pose import USUAL_FOCAL
from analysis.raster.grid import GlassGrid, SeenGrid, ShownGrid
from analysis.raster.lattice.nodes import Sight, see_grid
from analysis.raster.lattice.trace import bell_of

__all__ = ["OnGlass", "Taken", "exposure_of", "grid_on_glass", "on_plane", "reach_of_mixing", "unmixed"]

Floats = NDArray[np.float64]

_MIXED = np.array([[0.94, 0.05, 0.01], [0.05, 0.90, 0.05], [0.01, 0.05, 0.94]])
"""What a channel (row) sees of red, green and blue light where all three guns are lit: what is left of the overlap of a
camera's filters (common practice, no source)."""
_MIXED_DOUBT = 1.0
"""Share by which the overlap may be another one, as a standard uncertainty: none of it, or twice as much (common
practice, no source)."""
_HALF_COLOUR = 5.0
"""The same, times the line's width in pixels, of a JPEG, which may have colour at half the pixels: what lines of one to
three pixels lost in simulated photographs, those of phones among them, which smooth colours too."""
_MOST_HALVED = 2.5
_PAIRING = 0.1
"""Share of a line's distance by which the second field may lie beside the first one's middle, as a standard uncertainty
(common practice, no source)."""
_ONE_FIELD = 0.15
"""Share of the picture with one field alone from which that is reported."""
_USUAL_HEIGHT_MM = 300.0
"""Of a picture that nobody knows the size of (common practice, no source)."""
_ASSUMED = ("depth", "curvature", "focal", "lens", "fringes", "exposure")
"""What is taken as usual where nobody knows it, and is reported as an assumption."""
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
    assumed: Mapping[str, tuple[GlassGrid, ...]] = field(default_factory=dict)
    """Those of the doubts that come of what was taken as usual: depth, curvature, focal, lens, fringes, exposure."""
    exposure: Exposure | None = None
    """As the file notes it; None where it does not."""


def grid_on_glass(
    photo: Photo,
    shown: ShownGrid,
    *,
    marks: MarksGiven | None = None,
    lens: Lens | None = None,
    hidden: tuple[int, int] | None = None,
    flat_glass: bool = False,
) -> OnGlass:
    """Find a grid's nodes in a photograph and place them on the glass. `hidden` is as in `see_grid`.

    `flat_glass` says that the glass is known to be flat where there are no marks.

    Raises:
        GridError: no such grid is seen, or it is not clear which of its lines is which.
        ValueError: the marks, the lens or the glass' radius do not go with the photograph; one line.
    """
    taken = Taken(size=photo.size, notes=read_notes(photo.path), is_jpeg=photo.path.suffix.lower() in (".jpg", ".jpeg"))
    if marks is None:
        own = None if lens is None else lens.for_photo(photo.size, taken.notes.orientation)
        sight = see_grid(photo, shown, hidden=hidden)
        grid = _straight(sight.grid, own)
        shared = _without_marks(sight.grid, own, photo.size)
        if flat_glass:
            shared.pop("curvature")
        found = _on_glass(sight, taken, grid, shared)
    else:
        _check_upright(marks.seen.centres)
        plane = plane_in(photo, marks, lens=lens)
        sight = see_grid(photo, shown, middle=plane.to_px(np.zeros((1, 2)))[0], hidden=hidden)
        found = on_plane(sight, taken, plane)
    return replace(found, warnings=(*_lens_warnings(lens, photo.size), *found.warnings))


@dataclass(frozen=True, kw_only=True)
class Taken:
    """How a photograph was taken, besides what is seen in it."""

    size: tuple[int, int]
    notes: PhotoNotes
    is_jpeg: bool


def on_plane(sight: Sight, taken: Taken, plane: Plane) -> OnGlass:
    """The grid that was seen, on the plane of the marks."""
    grid = _on_plane(sight.grid, plane, spread=True)
    shared = {
        name: [_on_plane(sight.grid, other, grid.sigma) for other in some] for name, some in plane.uncertain().items()
    }
    shared["seen marks"] = [_on_plane(sight.grid, other, grid.sigma) for other, _ in plane.perturbed()]
    return _on_glass(sight, taken, grid, shared, plane)


def _on_glass(
    sight: Sight, taken: Taken, grid: GlassGrid, shared: dict[str, list[GlassGrid]], plane: Plane | None = None
) -> OnGlass:
    """The grid with what is uncertain of it; `shared` has what comes of the way to the glass."""
    exposure = exposure_of(taken.notes, sight.grid.shown)
    shared = {**shared, "pairing": _pairing(grid), "exposure": _exposed(grid, exposure, sight.one_field)}
    within = reach_of_mixing(sight.grid.nodes, sight.width)
    grid = unmixed(grid, within)
    shared = {name: [unmixed(doubt, within) for doubt in some] for name, some in shared.items()}
    halved = min(_HALF_COLOUR / sight.width, _MOST_HALVED) if taken.is_jpeg else 0.0
    shared["colours"] = [unmixed(grid, within, _MIXED_DOUBT + halved)]
    return OnGlass(
        seen=sight.grid,
        grid=grid,
        doubts=tuple(doubt for some in shared.values() for doubt in some),
        plane=plane,
        warnings=(
            *(() if plane is None else plane.warnings),
            *_exposure_warnings(exposure, sight.one_field),
            *sight.warnings,
        ),
        assumed={name: tuple(some) for name, some in shared.items() if some and name in _ASSUMED},
        exposure=exposure,
    )


def exposure_of(notes: PhotoNotes, shown: ShownGrid) -> Exposure | None:
    """The photograph's exposure against the fields of what was shown; None where either is not known."""
    if notes.exposure_s is None or not shown.field_rate_hz:
        return None
    return Exposure(
        seconds=notes.exposure_s, field_rate_hz=shown.field_rate_hz, is_interlaced=shown.interlaced_lines > 0
    )


def _without_marks(seen: SeenGrid, lens: Lens | None, size: tuple[int, int]) -> dict[str, list[GlassGrid]]:
    """What is uncertain of a grid without marks."""
    grid = _straight(seen, lens)
    shared: dict[str, list[GlassGrid]] = {"curvature": [_curved(grid, size, lens)]}
    if lens is None:
        shared["lens"] = [_straight(seen, other) for other in unknown_lenses(size)]
        shared["fringes"] = [_straight(seen, other) for other in unknown_fringes(size)]
    else:
        shared["lens"] = [_straight(seen, other) for other in lens.doubtful()]
    return shared


def _curved(grid: GlassGrid, size: tuple[int, int], lens: Lens | None) -> GlassGrid:
    """The grid in pixels as it would be if the glass were curved as glass usually is.

    What bulges toward the camera looks larger, and the middle bulges most: by (r0^2 - r^2) / 2R of the distance.
    """
    nodes = grid.nodes
    told = np.isfinite(nodes[..., 0])
    middle = nodes[told].mean(axis=0)
    height = float(np.ptp(nodes[..., 1][told]))
    focal = USUAL_FOCAL * math.hypot(*size) if lens is None else (lens.fx + lens.fy) / 2
    mm = _USUAL_HEIGHT_MM / height
    share = USUAL_CURVATURE * mm / (2 * focal) * height

    def bulged(points: Floats) -> Floats:
        away = points - middle
        return np.asarray(points - away * (-share * (away**2).sum(axis=-1, keepdims=True) / height))

    return replace(grid, nodes=bulged(nodes))


def _exposed(grid: GlassGrid, exposure: Exposure | None, one_field: float | None) -> list[GlassGrid]:
    """The grid as it would be if the fields shared the picture otherwise."""
    noted = 0.0 if exposure is None else exposure.imbalance
    seen = 1.0 if one_field is not None and one_field > _ONE_FIELD else 0.0
    line = _line_height(grid)
    if line is None or not max(noted, seen):
        return []
    step = 0.5 * line * max(noted, seen)
    down = np.array([0.0, step])
    return [
        replace(grid, nodes=grid.nodes + pattern[None, :, None, None] * down) for pattern in field_shifts(grid.shown.v)
    ]


def _exposure_warnings(exposure: Exposure | None, one_field: float | None) -> list[str]:
    """What an exposure of other than whole frames does."""
    said = []
    if exposure is not None and not exposure.is_whole:
        does = (
            "one field counts more than the other, so lines may lie up to "
            f"{0.5 * exposure.imbalance:.2g} of a scan line too high or too low, which the uncertainties hold"
            if exposure.is_interlaced
            else "a part of the picture is brighter than the rest"
        )
        said.append(
            f"exposed for {exposure.words}, which is no whole number of frames: {does}; expose for {exposure.advised}"
        )
    elif one_field is not None and one_field > _ONE_FIELD:
        said.append(
            f"one field alone is seen in {100 * one_field:.0f} % of the picture: every second scan line is missing, so "
            "lines may lie half a scan line too high or too low, which the uncertainties hold; expose for a whole "
            "number of frames, as 1/30 s (60 Hz) or 1/25 s (50 Hz)"
        )
    return said


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


def _pairing(grid: GlassGrid) -> list[GlassGrid]:
    """The grid as it would be if the second field lay otherwise between the first one's lines."""
    line = _line_height(grid)
    return [] if line is None else [replace(grid, nodes=grid.nodes + np.array([0.0, 0.5 * _PAIRING * line]))]


def _line_height(grid: GlassGrid) -> float | None:
    """A scan line of a frame in the grid's unit; None where it is not interlaced, or hardly seen."""
    y = grid.nodes[..., 1]
    told: NDArray[np.bool_] = np.asarray(np.isfinite(y))
    if not grid.shown.interlaced_lines or np.count_nonzero(np.any(told, axis=(0, 2))) < 2:
        return None
    height = 2 * np.polyfit(np.broadcast_to(grid.shown.v[:, None], y.shape)[told], y[told], 1)[0]
    return float(height) / grid.shown.interlaced_lines


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
