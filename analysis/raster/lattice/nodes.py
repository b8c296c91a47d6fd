"""From a photograph of a crosshatch, or of dots, to the places of its nodes, gun by gun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.photo.file import Photo
from analysis.raster.grid import SeenGrid, ShownGrid
from analysis.raster.lattice.causes import FewLinesError, cause_of
from analysis.raster.lattice.counting import GridError, counted_by_hand, first_lines, running_on
from analysis.raster.lattice.crossings import Lattice, find_lattice
from analysis.raster.lattice.fields import one_field_share
from analysis.raster.lattice.guns import gun_lattices, leading_gun
from analysis.raster.lattice.spots import see_spots
from analysis.raster.lattice.trace import Line, Trail, follow, line_width

__all__ = ["GridError", "Sight", "see_grid"]

Floats = NDArray[np.float64]

_REDUCED = 1100
"""Pixels across of the reduced photograph, at most about, in which the grid is looked for."""
_ROUGHLY = (0.8, 0.55, 1.05)
"""Shares of the photograph that the picture is tried to take."""
_SPAN = 1.35
"""Cells on each side of a node whose pieces tell where a line passes it."""
_FLOOR_PX = 0.02
"""Pixels that a node is uncertain by at least: what the mask's openings and the blocks of a JPEG leave."""
_FULL = 65535
"""Linear light of 1 in 16 bits."""
_CUT = 0.95
"""Share of its neighbour's width that an outermost line has at least, where the glass' edge does not cut it."""
_BRIGHT_GROUND = 0.8
"""Share of the lines' light that the ground between them has at most: a bright room's haze is borne."""
_BRIGHT_BETWEEN = 0.5
"""Share of the dots' light that is between them at most."""
_BLURRED = 0.11
"""Share of a cell that a line's standard deviation may be."""
_CLIPPED = 0.25
"""Share of the lines' middles that may be clipped before that is told."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Sight:
    """The grid as it was seen, and what has to be said of the photograph."""

    grid: SeenGrid
    width: float
    """Standard deviation of a line, or of a dot, across, in pixels."""
    one_field: float | None
    """Share of the vertical lines that show one field of two alone; None where that is not seen."""
    warnings: tuple[str, ...]


def see_grid(
    photo: Photo, shown: ShownGrid, *, middle: Floats | None = None, hidden: tuple[int, int] | None = None
) -> Sight:
    """Find the grid's nodes.

    Args:
        photo: the photograph, upright.
        shown: what was shown.
        middle: (x, y) in pixels of the middle of the marks; without it that of the glass is taken, as far as lines are
            seen on it. Where outer lines are hidden, the picture's own middle lies within less than half a cell of it.
        hidden: how many lines are hidden on the left and above, where somebody has counted them.

    Raises:
        GridError: no such grid is seen, or it is not clear which line is which.
    """
    small, scale = _reduced(photo)
    lattice, cell, lead = _led(small, shown)
    light = np.ascontiguousarray(small.mean(axis=2))
    _check_kind(light, lattice, shown.dots)
    width = line_width(np.ascontiguousarray(small[..., lead]), lattice, cell) * scale
    guns = None if shown.dots else gun_lattices(small, lattice, lead)
    lattice = _enlarged(lattice, scale)
    linear = _linear(photo)
    trail = Trail(width=width, clip=float(photo.curve[photo.clip_code]) * _FULL, lead=lead, alone=guns is not None)
    lines = [] if shown.dots else _followed(linear, lattice, trail)
    if hidden is None:
        about = _glass_middle(photo.size, lines, lattice) if middle is None else middle
        wide = float(np.median([line.width / line.cell for line in lines])) if lines else 0.0
        counted = first_lines(lattice, shown, about, running_on(lines, lattice), wide)
    else:
        counted = counted_by_hand(lattice, shown, hidden)
    if counted.doubt and middle is not None:
        raise GridError(counted.doubt, helps=("hidden",))
    if shown.dots:
        nodes, sigma, clipped = see_spots(linear, lattice, cell * scale, trail.clip)
    else:
        whole = _Whole.of(lattice, shown, counted.first)
        lines = _without_cut_ones(lines, whole)
        _check_sharp(lines)
        nodes, sigma = _crossings(lines, lattice)
        clipped = float(np.median([line.clipped for line in lines]))
        for gun, own in enumerate(guns or ()):
            if gun != lead:
                apart = _followed(linear, _enlarged(own, scale), replace(trail, lead=gun))
                found = _crossings(apart, lattice)
                nodes[gun], sigma[gun] = found[0][gun], found[1][gun]
    if not np.isfinite(nodes).any():
        dim = GridError("a grid is seen, but its lines cannot be followed: too dim, or not sharp")
        raise cause_of(dim, small, shown)
    # Without marks no figure hangs on a doubtful count but the overscan, which is of the lines' ends.
    ends = None if shown.dots or counted.doubt else lines
    warnings = []
    if counted.doubt:
        warnings.append(f"{counted.doubt} and give --hidden LEFT,ABOVE; overscan is not given")
    elif counted.by_middle:
        of = "glass" if middle is None else "marks"
        warnings.append(
            f"which lines are hidden is told by the middle of the {of}: a picture whose own middle lies more than half "
            "a cell off it would be placed a whole cell wrong; then count the hidden lines and give --hidden LEFT,ABOVE"
        )
    if clipped > _CLIPPED:
        warnings.append(
            f"{100 * clipped:.0f} % of the lines' middles are clipped, so their places are told less well: expose less"
        )
    grid = _placed(nodes, sigma, ends, lattice, shown, counted.first)
    one_field = None
    if shown.interlaced_lines and not shown.dots:
        lines_in_cell = shown.interlaced_lines * float(np.diff(shown.v).mean()) / 2
        one_field = one_field_share(
            linear, lattice, lines_in_cell, lead, float(np.median([line.width for line in lines if not line.upright]))
        )
    return Sight(grid=grid, width=width, one_field=one_field, warnings=tuple(warnings))


# --- Finding ----------------------------------------------------------------------------------------------------------


def _reduced(photo: Photo) -> tuple[NDArray[np.float32], int]:
    """(rows, columns, 3): linear light in a reduced photograph, and how many pixels one of its pixels is wide."""
    width, height = photo.size
    scale = max(1, round(max(width, height) / _REDUCED))
    source, step = (photo.halved, scale // 2) if scale % 2 == 0 else (photo.codes[..., ::-1], scale)
    # Whole blocks, so that a place in one is a place in the other.
    whole = source[: height // scale * step, : width // scale * step]
    small = cv2.resize(whole, (width // scale, height // scale), interpolation=cv2.INTER_AREA)
    light: NDArray[np.float32] = photo.curve[small[..., ::-1]]
    return light, scale


def _enlarged(lattice: Lattice, scale: int) -> Lattice:
    return replace(lattice, points=(lattice.points + 0.5) * scale - 0.5)


def _led(small: NDArray[np.float32], shown: ShownGrid) -> tuple[Lattice, float, int]:
    """The lattice, its cell, and the gun that shows it: green where it is lit."""
    tried: GridError | None = None
    for gun in (1, 0, 2):
        try:
            lattice, cell = _found(np.ascontiguousarray(small[..., gun]), shown)
        except GridError as error:
            tried = tried or error
            continue
        lead = leading_gun(small, lattice)
        if lead != gun:
            lattice, cell = _found(np.ascontiguousarray(small[..., lead]), shown)
        return lattice, cell, lead
    assert tried is not None
    raise cause_of(tried, small, shown) from tried


def _found(light: NDArray[np.float32], shown: ShownGrid) -> tuple[Lattice, float]:
    """The lattice of the size that fits best, and its cell, in the reduced photograph."""
    columns, rows = len(shown.u) - 1, len(shown.v) - 1
    best: Lattice | None = None
    for share in _ROUGHLY:
        cell = share * light.shape[1] / max(columns, 1)
        lattice = find_lattice(light, cell, dots=shown.dots)
        if lattice is not None and (best is None or len(lattice.points) > 1.2 * len(best.points)):
            best = lattice
        if best is not None and len(best.points) > 0.5 * (columns - 1) * (rows - 1):
            break
    if best is None:
        kind = "dots" if shown.dots else "lines that cross"
        raise GridError(f"no grid of {columns} x {rows} cells is seen: {kind}, sharp and filling most of the picture")
    seen = best.columns[1] - best.columns[0], best.rows[1] - best.rows[0]
    for name, many, most in (("columns", seen[0], columns), ("rows", seen[1], rows)):
        if many > most:
            raise GridError(
                f"a grid with at least {many} {name} of cells is seen, {columns} x {rows} are expected: give the "
                "format that was played, and the cells if it was drawn with other ones than usual",
                helps=("format", "cells"),
            )
        if many < 0.6 * most:
            raise FewLinesError(
                f"only {many} of {most} {name} of cells are seen: photograph the whole picture, sharp and evenly lit, "
                "or give the cells that it was drawn with",
                helps=("cells",),
            )
    across = np.linalg.norm(np.diff(best.places(np.array([-0.5, 0.5]), np.zeros(2)), axis=0))
    return best, float(across)


def _check_kind(light: NDArray[np.float32], lattice: Lattice, dots: bool) -> None:
    """Refuse lines where dots should be, and dark lines on a bright ground."""
    column, row = lattice.labels.T.astype(np.float64)

    def seen(right: float, down: float) -> float:
        x, y = np.round(lattice.places(column + right, row + down)).astype(int).T
        inside = (x >= 0) & (y >= 0) & (x < light.shape[1]) & (y < light.shape[0])
        return float(np.median(light[y[inside], x[inside]]))

    own = seen(0, 0)
    if seen(0.25, 0.25) > _BRIGHT_GROUND * own:
        raise GridError("the ground is as bright as the lines; bright ones on black are measured, as of crosshatch")
    if dots and max(seen(0.5, 0), seen(0, 0.5)) > _BRIGHT_BETWEEN * own:
        raise GridError(
            "lines are seen where dots should be: was it a crosshatch? give the pattern that was drawn",
            helps=("pattern",),
        )


def _glass_middle(size: tuple[int, int], lines: Sequence[Line], lattice: Lattice) -> Floats:
    """(x, y) of the middle between where the middle lines end; of the photograph where they do not."""
    middle = np.array(size) / 2
    for axis, ends in enumerate((lattice.rows, lattice.columns)):
        line = next((line for line in lines if line.upright == bool(axis) and line.number == sum(ends) // 2), None)
        if line is not None and np.isfinite(line.ends).all():
            middle[axis] = sum(line.ends) / 2
    return middle


def _linear(photo: Photo) -> NDArray[np.uint16]:
    """The photograph in linear light of 16 bits, which is what the lines are sampled in; blue first in memory."""
    curve = np.round(photo.curve * _FULL).astype(np.uint16)
    if photo.codes.dtype == np.uint8:
        return np.asarray(cv2.LUT(photo.codes[..., ::-1], curve), np.uint16)[..., ::-1]
    linear = np.empty(photo.codes.shape, np.uint16)[..., ::-1]
    for row in range(0, len(linear), 256):
        linear[row : row + 256] = curve[photo.codes[row : row + 256]]
    return linear


@dataclass(frozen=True, slots=True)
class _Whole:
    """Whether the outermost line seen on a side is the grid's own: that one is thinner, cut by the raster's edge."""

    left: bool
    right: bool
    top: bool
    bottom: bool

    @classmethod
    def of(cls, lattice: Lattice, shown: ShownGrid, first: tuple[int, int]) -> _Whole:
        across, down = (ends[1] - ends[0] for ends in (lattice.columns, lattice.rows))
        return cls(
            left=first[0] == 0,
            right=first[0] + across == len(shown.u) - 1,
            top=first[1] == 0,
            bottom=first[1] + down == len(shown.v) - 1,
        )


def _followed(linear: NDArray[np.uint16], lattice: Lattice, trail: Trail) -> list[Line]:
    numbers = [(number, False) for number in range(lattice.rows[0], lattice.rows[1] + 1)]
    numbers += [(number, True) for number in range(lattice.columns[0], lattice.columns[1] + 1)]
    lines = [follow(linear, lattice, number, upright, trail) for number, upright in numbers]
    return [line for line in lines if line is not None]


def _without_cut_ones(lines: list[Line], whole: _Whole) -> list[Line]:
    sides = ((False, 1, whole.top), (False, -2, whole.bottom), (True, 1, whole.left), (True, -2, whole.right))
    for upright, inner, is_whole in sides:
        if not is_whole:
            lines = _without_cut(lines, upright, inner)
    if sum(line.upright for line in lines) < 3 or sum(not line.upright for line in lines) < 3:
        raise GridError("a grid is seen, but its lines cannot be followed: too dim, or not sharp")
    return lines


def _without_cut(lines: list[Line], upright: bool, inner: int) -> list[Line]:
    """Without an outermost line that the glass' edge cuts along its length: what is left of it lies beside its middle.

    `inner` is the place of its neighbour among the lines of its direction, which perspective shows as wide.
    """
    own = [line for line in lines if line.upright == upright]
    if len(own) < 4:
        return lines
    outer, beside = own[0 if inner > 0 else -1], own[inner]
    return [line for line in lines if line is not outer] if outer.width < _CUT * beside.width else lines


def _check_sharp(lines: Sequence[Line]) -> None:
    """Refuse lines that fill their cells: centroids of what is blurred so far hang on what lies beside."""
    for line in lines:
        if line.width > _BLURRED * line.cell:
            raise GridError(
                f"the photograph is not sharp enough: lines are {200 * line.width / line.cell:.0f} % of a cell wide"
            )


# --- Nodes ------------------------------------------------------------------------------------------------------------


def _crossings(lines: Sequence[Line], lattice: Lattice) -> tuple[Floats, Floats]:
    """(3, rows, columns, 2) each: where lines cross, and the standard uncertainties, for the lattice's own lines."""
    rows, columns = (ends[1] - ends[0] + 1 for ends in (lattice.rows, lattice.columns))
    nodes = np.full((3, rows, columns, 2), np.nan)
    sigma = np.full((3, rows, columns, 2), np.nan)
    numbers = np.meshgrid(np.arange(columns) + lattice.columns[0], np.arange(rows) + lattice.rows[0])
    rough = lattice.places(*(number.astype(np.float64) for number in numbers))
    level = {line.number - lattice.rows[0]: line for line in lines if not line.upright}
    upright = {line.number - lattice.columns[0]: line for line in lines if line.upright}
    # Each line passes a node as a parabola; where two of them meet is found in turns.
    across = np.full((2, 3, rows, columns, 3), np.nan)
    error = np.full((2, 3, rows, columns), np.nan)
    for row, line in level.items():
        across[0, :, row], error[0, :, row] = _passing(line, rough[row, :, 0])
    for column, line in upright.items():
        across[1, :, :, column], error[1, :, :, column] = _passing(line, rough[:, column, 1])
    x = np.broadcast_to(rough[..., 0], (3, rows, columns)).copy()
    y = np.broadcast_to(rough[..., 1], (3, rows, columns)).copy()
    for _ in range(6):
        dx, dy = x - rough[..., 0], y - rough[..., 1]
        y = across[0, ..., 0] + across[0, ..., 1] * dx + across[0, ..., 2] * dx * dx
        x = across[1, ..., 0] + across[1, ..., 1] * dy + across[1, ..., 2] * dy * dy
        x, y = np.where(np.isfinite(x), x, rough[..., 0]), np.where(np.isfinite(y), y, rough[..., 1])
    told = np.isfinite(error).all(axis=0)
    nodes[told] = np.stack([x, y], axis=-1)[told]
    sigma[told] = np.stack([error[1], error[0]], axis=-1)[told]
    return nodes, sigma


def _passing(line: Line, at: Floats) -> tuple[Floats, Floats]:
    """Parabolas with which a line passes places `at` along it, (3, nodes, 3), and their uncertainty there, (3, nodes).

    Each is fitted to the pieces around, the nearer ones more; pieces that lie off the others count little.
    """
    count = len(at)
    away = (line.along[None, :] - at[:, None]) / line.cell
    near = np.clip(1 - (np.abs(away) / _SPAN) ** 3, 0, None) ** 3
    design = np.stack([np.ones_like(away), away, away**2], axis=-1)
    found = np.full((3, count, 3), np.nan)
    error = np.full((3, count), np.nan)
    for gun in range(3):
        seen = np.isfinite(line.across[:, gun])
        if seen.sum() < 6:
            continue
        points, values = design[:, seen], line.across[seen, gun]
        weight = near[:, seen].copy()
        # Both sides have to be seen, or one side whole where the line ends.
        enough = (weight > 0.05).sum(axis=1) >= 4
        fit = np.zeros((count, 3))
        for _ in range(4):
            normal = np.einsum("nps,np,npt->nst", points, weight, points) + 1e-9 * np.eye(3)
            right = np.einsum("nps,np,p->ns", points, weight, values)
            fit = np.linalg.solve(normal, right[..., None])[..., 0]
            rest = np.abs(values[None, :] - np.einsum("nps,ns->np", points, fit))
            scatter = 1.4826 * np.median(rest[near[:, seen] > 0.05]) + 1e-4
            weight = near[:, seen] / np.maximum(1.0, rest / (2.5 * scatter))
        inverse = np.linalg.inv(normal)
        squares = np.einsum("nps,np,npt->nst", points, weight**2, points)
        spread = np.einsum("ns,nst,nt->n", inverse[:, 0], squares, inverse[:, 0])
        reach = np.where(seen[None, :], np.abs(away), np.inf).min(axis=1)
        enough &= reach < 0.6
        found[gun] = np.where(enough[:, None], fit / [1.0, line.cell, line.cell**2], np.nan)
        error[gun] = np.where(enough, np.hypot(scatter * np.sqrt(np.maximum(spread, 0)), _FLOOR_PX), np.nan)
    return found, error


# --- In the shown grid ------------------------------------------------------------------------------------------------


def _placed(
    nodes: Floats,
    sigma: Floats,
    lines: Sequence[Line] | None,
    lattice: Lattice,
    shown: ShownGrid,
    first: tuple[int, int],
) -> SeenGrid:
    """The lattice's nodes among all of the shown grid's."""
    rows, columns = len(shown.v), len(shown.u)
    whole = [np.full((3, rows, columns, 2), np.nan) for _ in range(2)]
    there = slice(first[1], first[1] + nodes.shape[1]), slice(first[0], first[0] + nodes.shape[2])
    whole[0][:, there[0], there[1]], whole[1][:, there[0], there[1]] = nodes, sigma
    level_ends, upright_ends = np.full((rows, 2, 2), np.nan), np.full((columns, 2, 2), np.nan)
    for line in lines or ():
        along = np.array(line.ends)
        across = line.at(along)
        if line.upright:
            upright_ends[line.number - lattice.columns[0] + first[0]] = np.stack([across, along], axis=1)
        else:
            level_ends[line.number - lattice.rows[0] + first[1]] = np.stack([along, across], axis=1)
    return SeenGrid(shown=shown, nodes=whole[0], sigma=whole[1], level_ends=level_ends, upright_ends=upright_ends)
