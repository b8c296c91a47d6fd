"""The raster's shape on the glass: every figure of its geometry from the nodes of a crosshatch.

The figures are those of one smooth map of the picture onto the glass (`smooth.py`), of the green gun. Size, place,
rotation and the terms of the adjustment basis are least-squares fits of that map over all of the grid's nodes, each
counting alike; nodes that are hidden or missing are filled in by the map, since without the corners of a pincushion the
rest looks smaller.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.raster.geometry.overscan import SIDES, outermost_lines, overscan
from analysis.raster.geometry.smooth import (
    POWERS,
    TERMS,
    Smooth,
    fit_smooth,
    largest,
    projection,
    spread_of,
    too_little,
    where_seen,
)
from analysis.raster.grid import GlassGrid, ShownGrid
from analysis.raster.quantities import GEOMETRY_KEYS
from analysis.raster.unplaced import best_gun, in_percent

__all__ = ["NO_MARKS", "Geometry", "cell_errors", "fitted", "fitted_grid", "measure_geometry", "seen_nodes"]

Floats = NDArray[np.float64]

WITHOUT_MARKS = ("edge_sag_percent", "edge_line", "bow_h_percent", "bow_v_percent", "overscan_percent")
"""What perspective cannot imitate: it keeps straight lines straight, and moves a line and its end alike."""
NO_MARKS = "without marks in the photograph the camera's perspective looks the same, and the scale is not known"

_UNEVEN = 0.02
"""Share by which the scale at a side may be off without marks: what good sets have of linearity and keystone (common
practice, no source)."""
_CLEARLY = 4.5
"""How many uncertainties a line has to lie off the map for cells beside it to be measured by the line itself."""
_FEWEST = 5
"""Nodes of a line that show whether it lies off as a whole."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Geometry:
    """What was measured: what is not in `figures` is not available, and `reasons` says why."""

    figures: Mapping[str, float]
    """By path, as in `analysis.raster.quantities`."""
    uncertainty: Mapping[str, float]
    """Standard uncertainties, in the unit of the figures."""
    reasons: Mapping[str, str]
    """By path, or by the beginning of one."""
    grid: GlassGrid
    """What was measured from."""
    gun: int
    """Whose nodes: green's, unless next to nothing is seen of them."""
    picture_aspect: float
    smooth: Smooth | None
    """The fitted map, in mm, without marks in percent of the picture height; None where too little is seen."""
    outermost: Mapping[str, float]
    """u or v of the outermost line seen on each side: those whose bend is measured."""


def measure_geometry(grid: GlassGrid, picture_aspect: float, doubts: Sequence[GlassGrid] = ()) -> Geometry:
    """Every figure of the raster's geometry, with its standard uncertainty.

    `picture_aspect` is the picture's width over its height, as it should be. `doubts` are the same grid as it would lie
    on the glass if one source of uncertainty (a mark's place, the lens) were off by its standard deviation; each adds
    the change that it makes. Where too little of the grid is seen there are no figures.
    """
    aspect, gun = float(picture_aspect), best_gun(grid)
    reason = too_little(grid.shown, grid.nodes[gun])
    if reason is not None:
        return Geometry(
            figures={},
            uncertainty={},
            reasons=dict.fromkeys(GEOMETRY_KEYS, reason),
            grid=grid,
            gun=gun,
            picture_aspect=aspect,
            smooth=None,
            outermost={},
        )
    flat, plain = fitted(grid, gun, aspect)
    smooth = plain.doubted([fitted_grid(doubt, gun, aspect).nodes[gun] for doubt in doubts])
    lines = outermost_lines(smooth)
    outermost = {side: float((grid.shown.u, grid.shown.v)[i // 2][lines[side]]) for i, side in enumerate(SIDES)}
    figures, uncertainty = _of_map(smooth, grid.shown, aspect, outermost)
    ends = (0, len(grid.shown.u) - 1, 0, len(grid.shown.v) - 1)
    figures |= {f"edge_line.{side}": float(abs(lines[side] - end)) for side, end in zip(SIDES, ends, strict=True)}
    for axis in range(2):
        for name, pair in _linearity(plain, smooth, grid.shown, axis).items():
            figures[name], uncertainty[name] = pair
    reasons: dict[str, str] = {}
    for side, hidden in overscan(flat, plain).items():
        name = f"overscan_percent.{side}"
        if hidden.value is None or hidden.uncertainty is None:
            reasons[name] = hidden.reason
        else:
            figures[name], uncertainty[name] = hidden.value, hidden.uncertainty
    if not grid.placed:
        reasons |= dict.fromkeys((name for name in GEOMETRY_KEYS if name not in WITHOUT_MARKS), NO_MARKS)
        figures, uncertainty = (
            {name: value for name, value in some.items() if name.split(".")[0] in WITHOUT_MARKS}
            for some in (figures, uncertainty)
        )
        uncertainty |= _with_scale(figures, uncertainty)
    return Geometry(
        figures=figures,
        uncertainty=uncertainty,
        reasons=reasons,
        grid=grid,
        gun=gun,
        picture_aspect=aspect,
        smooth=smooth,
        outermost=outermost,
    )


def _with_scale(figures: Mapping[str, float], uncertainty: Mapping[str, float]) -> dict[str, float]:
    """Uncertainties of bends without marks, with the raster's own unevenness that was taken for perspective."""
    left, right, top, bottom = sags = [f"edge_sag_percent.{side}" for side in SIDES]
    uneven = {sag: _UNEVEN * figures[sag] for sag in sags}
    return {
        **{sag: math.hypot(uncertainty[sag], uneven[sag]) for sag in sags},
        "bow_h_percent": math.hypot(uncertainty["bow_h_percent"], uneven[left] / 2, uneven[right] / 2),
        "bow_v_percent": math.hypot(uncertainty["bow_v_percent"], uneven[top] / 2, uneven[bottom] / 2),
    }


def fitted(grid: GlassGrid, gun: int, picture_aspect: float) -> tuple[GlassGrid, Smooth]:
    """The grid and one gun's map: in mm, without marks upright and in percent of the picture height."""
    smooth = fit_smooth(grid.shown, grid.nodes[gun], grid.sigma[gun])
    if grid.placed:
        return grid, smooth
    upright = in_percent(grid, smooth, picture_aspect)
    return upright, fit_smooth(grid.shown, upright.nodes[gun], upright.sigma[gun])


def fitted_grid(grid: GlassGrid, gun: int, picture_aspect: float) -> GlassGrid:
    """The grid alone, in the unit of `fitted`."""
    return grid if grid.placed else fitted(grid, gun, picture_aspect)[0]


def seen_nodes(shown: ShownGrid, places: Floats) -> list[tuple[float, ...]]:
    """(u, v, ...) of every node whose `places` (rows, columns, values) are all seen, row by row."""
    u, v = np.meshgrid(shown.u, shown.v)
    seen = where_seen(places)
    rows = np.column_stack([u[seen], v[seen], places[seen]])
    return [tuple(float(value) for value in row) for row in rows]


def _of_map(
    smooth: Smooth, shown: ShownGrid, aspect: float, outermost: Mapping[str, float]
) -> tuple[dict[str, float], dict[str, float]]:
    """The figures that change evenly with the map, and what all sources of uncertainty change them by."""
    plan = _Plan.of(smooth, shown, outermost)
    both = np.concatenate([smooth.coefficients + smooth.causes, smooth.coefficients - smooth.causes])
    batch = plan.figures(np.concatenate([smooth.coefficients[None], both]), aspect)
    half = len(smooth.causes)
    figures = {name: float(values[0]) for name, values in batch.items()}
    uncertainty = {
        name: float(np.sqrt((((values[1 : half + 1] - values[half + 1 :]) / 2) ** 2).sum()))
        for name, values in batch.items()
    }
    return figures, uncertainty


@dataclass(frozen=True, eq=False, kw_only=True)
class _Plan:
    """What coefficients are multiplied with: a matrix each, so that a hundred maps cost little more than one."""

    affine: Floats
    """(3, terms)."""
    main: Floats
    """(10, terms)."""
    corners: Floats
    """(4, terms): top left, top right, bottom left, bottom right."""
    sides: dict[str, Floats]
    """(3, terms) each: the outermost line's start, middle and end, from the left or from above."""
    pairs: dict[str, Floats]
    """The same, of the outermost lines that are seen on both of two opposite sides."""

    @classmethod
    def of(cls, smooth: Smooth, shown: ShownGrid, outermost: Mapping[str, float]) -> _Plan:
        along = np.array([-1.0, 0.0, 1.0])

        def line(side: str, place: float) -> Floats:
            across = np.full(3, place)
            return smooth.basis(across, along) if side in SIDES[:2] else smooth.basis(along, across)

        # Of a pincushion the outer of two lines sags more; lines unequally far out would look like a bow.
        both = {
            side: min(abs(outermost[low]), abs(outermost[high]))
            for low, high in (SIDES[:2], SIDES[2:])
            for side in (low, high)
        }
        return cls(
            affine=projection(shown, smooth.powers, POWERS[:3]),
            main=projection(shown, smooth.powers, POWERS),
            corners=smooth.basis(np.array([-1.0, 1.0, -1.0, 1.0]), np.array([-1.0, -1.0, 1.0, 1.0])),
            sides={side: line(side, place) for side, place in outermost.items()},
            pairs={side: line(side, math.copysign(both[side], place)) for side, place in outermost.items()},
        )

    def figures(self, maps: Floats, aspect: float) -> dict[str, Floats]:
        """By path, (maps,) each; `maps` are coefficients (maps, 2, terms)."""
        affine, terms = maps @ self.affine.T, maps @ self.main.T
        centre, across, down = affine[..., 0], affine[..., 1], affine[..., 2]
        width, height = 2 * _length(across), 2 * _length(down)
        angle = np.arctan2(across[:, 1], across[:, 0])
        lean = np.arctan2(_cross(across, down), (across * down).sum(axis=-1))
        found = {
            "centre_mm.0": centre[:, 0],
            "centre_mm.1": centre[:, 1],
            "centre_percent.0": 100 * centre[:, 0] / height,
            "centre_percent.1": 100 * centre[:, 1] / height,
            "width_mm": width,
            "height_mm": height,
            "rotation_deg": np.degrees(angle),
            "parallelogram_deg": np.degrees(lean) - 90,
            "aspect_error_percent": 100 * (width / height / aspect - 1),
        }
        for side, rows in self.sides.items():
            sag = _INWARD[side] * _sag(maps @ rows.T)
            found[f"edge_sag_mm.{side}"], found[f"edge_sag_percent.{side}"] = sag, 100 * sag / height
        for way, low, high in (("h", "left", "right"), ("v", "top", "bottom")):
            first, second = (_INWARD[side] * _sag(maps @ self.pairs[side].T) for side in (low, high))
            bow = (first - second) / 2
            found[f"bow_{way}_mm"], found[f"bow_{way}_percent"] = bow, 100 * bow / height
        corners = maps @ self.corners.T
        top, bottom = (_length(corners[..., i + 1] - corners[..., i]) for i in (0, 2))
        left, right = (_length(corners[..., i + 2] - corners[..., i]) for i in (0, 1))
        found["keystone_h_percent"] = 200 * (top - bottom) / (top + bottom)
        found["keystone_v_percent"] = 200 * (left - right) / (left + right)
        for name, axis, size, term in (("s_h_percent", across, width, "u3"), ("s_v_percent", down, height, "v3")):
            cubic = terms[..., TERMS.index(term)]
            found[name] = 100 * (cubic * axis).sum(axis=-1) / _length(axis) / (size / 2)
        for i, letter in enumerate("xy"):
            for j, term in enumerate(TERMS):
                found[f"terms.{letter}.{term}"] = terms[:, i, j]
        return found


def _length(vectors: Floats) -> Floats:
    return np.asarray(np.hypot(vectors[..., 0], vectors[..., 1]))


def _cross(first: Floats, second: Floats) -> Floats:
    """Positive where the second is clockwise from the first, as seen."""
    return np.asarray(first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0])


_INWARD = {"left": -1, "right": 1, "top": 1, "bottom": -1}
"""Which way off the chord of a side, clockwise or not, is toward the picture's middle."""


def _sag(line: Floats) -> Floats:
    """How far the middle lies clockwise off the chord from start to end; `line` is (maps, 2, 3)."""
    chord = line[..., 2] - line[..., 0]
    return _cross(chord, line[..., 1] - line[..., 0]) / _length(chord)


def _linearity(plain: Smooth, doubted: Smooth, shown: ShownGrid, axis: int) -> dict[str, tuple[float, float]]:
    """Value and uncertainty of both figures of linearity along the centre row (axis 0) or column.

    They are largest deviations, so noise is drawn to see what it does to them. What is uncertain of the way to the
    glass is drawn too, all of it at once, but only adds to the uncertainty: cells that came out too large at the sides
    by one cause may as well be too small.
    """
    places = (shown.u, shown.v)[axis]
    none = np.zeros(len(places))
    row = plain.basis(places, none) if axis == 0 else plain.basis(none, places)
    off, error = _lines_off(plain, axis)
    drawn, doubts = plain.drawn(), doubted.drawn_beyond(plain)
    maps = np.concatenate([plain.coefficients[None], doubts, drawn])
    noise = np.zeros((len(maps), len(places)))
    noise[-len(drawn) :] = np.random.default_rng(6).standard_normal((len(drawn), len(places))) * error
    cells = _cells(maps @ row.T, off + noise, places)
    mean = cells.mean(axis=-1, keepdims=True)
    deviation = 100 * np.abs(cells / mean - 1).max(axis=-1)
    most, least = cells.max(axis=-1), cells.min(axis=-1)
    span = 100 * (most - least) / (most + least)
    found: dict[str, tuple[float, float]] = {}
    for name, values in (
        (f"linearity_{'hv'[axis]}_percent", deviation),
        (f"linearity_{'hv'[axis]}_span_percent", span),
    ):
        value, uncertainty = largest(float(values[0]), values[-len(drawn) :])
        found[name] = value, float(np.hypot(uncertainty, spread_of(values[1 : -len(drawn)], values[0])))
    return found


def _cells(lines: Floats, off: Floats, places: Floats) -> Floats:
    """(maps, cells): cells between lines that lie at (maps, 2, lines) and, as wholes, `off` (maps, lines) beside it.

    They are taken against those that were shown, which are not quite even: outer ones may be cut, and the others' lines
    lie on whole samples.
    """
    sizes = _length(np.moveaxis(np.diff(lines, axis=-1), 1, -1)) + np.diff(off, axis=-1)
    return np.asarray(sizes / np.diff(places))


def cell_errors(smooth: Smooth, shown: ShownGrid, axis: int) -> Floats:
    """(cells,): by how many percent cells along the centre row (axis 0) or column are larger than their mean."""
    places = (shown.u, shown.v)[axis]
    none = np.zeros(len(places))
    at = smooth.at(places, none) if axis == 0 else smooth.at(none, places)
    cells = _cells(at.T[None], _lines_off(smooth, axis)[0][None], places)[0]
    return np.asarray(100 * (cells / cells.mean() - 1))


def _lines_off(smooth: Smooth, axis: int) -> tuple[Floats, Floats]:
    """(lines,) twice: how far vertical (axis 0) or horizontal lines lie off the map as wholes, with uncertainties.

    What the scan does to every line of the raster alike, such as ringing at its start, no smooth map shows. Only what
    is clearly off counts; else it would be noise.
    """
    rest, sigma = smooth.rest[..., axis], smooth.sigma[..., axis]
    if axis == 1:
        rest, sigma = rest.T, sigma.T
    off, error = np.zeros(rest.shape[1]), np.zeros(rest.shape[1])
    for i in range(rest.shape[1]):
        seen = np.isfinite(rest[:, i])
        if seen.sum() >= _FEWEST:
            middle = float(np.median(rest[seen, i]))
            uncertainty = 1.2533 * float(np.median(sigma[seen, i])) / np.sqrt(seen.sum())
            if abs(middle) > _CLEARLY * uncertainty:
                off[i], error[i] = middle, uncertainty
    return off, error
