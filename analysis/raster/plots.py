"""Plots of the raster's shape and of its convergence, each with its finding as the title."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from analysis.drawing.plots import BLUE, INK, ORANGE, Plot, plot_sheet, plot_style
from analysis.raster.answer import amount, convergence_finding, linearity_finding, shape_finding
from analysis.raster.convergence import AGAINST_GREEN, Convergence
from analysis.raster.geometry.figures import Geometry, cell_errors
from analysis.raster.geometry.overscan import SIDES
from analysis.raster.geometry.smooth import Smooth, where_seen
from analysis.raster.ideal import MOST_LARGER, MOST_LARGER_GUNS, Ideal, exaggeration, ideal_of
from analysis.raster.unplaced import GREEN
from analysis.rounding import decimals, figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["convergence_plots", "geometry_plots"]

Floats = NDArray[np.float64]

_GUN = {"red": "#c8281e", "blue": "#1f5fc4"}
_SIDE = dict(zip(SIDES, ((BLUE, "-"), (BLUE, "--"), (ORANGE, "-"), (ORANGE, "--")), strict=True))
_LEAST = 0.0005
"""Share of the picture's height that a scale reaches to at least: what is nearly nothing is to look like it."""
_FINE = 61
_CONTOURS = 9


def geometry_plots(found: Geometry) -> list[Plot]:
    """The raster against its ideal, the bends of its sides, the sizes of its cells; none where too little is seen."""
    if found.smooth is None:
        return []
    ideal = ideal_of(found.grid, found.gun, found.picture_aspect)
    with plot_style():
        plots = [_shape(found, ideal), _edges(found, ideal)]
        return [*plots, _linearity(found, ideal)] if found.grid.placed else plots


def convergence_plots(found: Convergence) -> list[Plot]:
    """Maps of red's and blue's distance from green, and how it runs along the middle row and column."""
    if found.height is None:
        return []
    ideal = ideal_of(found.grid, GREEN, found.picture_aspect)
    with plot_style():
        return [_maps(found, ideal), _rows(found, ideal)]


# --- Geometry ---------------------------------------------------------------------------------------------------------


def _shape(found: Geometry, ideal: Ideal) -> Plot:
    errors = ideal.errors()
    factor = exaggeration(errors, ideal.cell, MOST_LARGER)
    title = shape_finding(found)
    straight, bent = _lines(ideal, factor)
    nodes = (ideal.wanted() + factor * errors)[where_seen(ideal.nodes)]
    figure, (axes,) = plot_sheet(
        title,
        f"The raster, its errors drawn {factor} times as large, over the ideal grid of its own place, size and turn.",
        1.15 + 7.2 * _ratio(np.concatenate([nodes, *straight, *bent])),
    )
    ideal_ink: Any = {"color": "#9fb6cc", "linewidth": 0.9}
    raster_ink: Any = {"color": ORANGE, "linewidth": 1.2}
    for line, other in zip(straight, bent, strict=True):
        axes.plot(*line.T, **ideal_ink)
        axes.plot(*other.T, **raster_ink)
    axes.plot(*nodes.T, "o", color=INK, markersize=2.2)
    axes.plot([], [], label="ideal", **ideal_ink)
    axes.plot([], [], label=f"raster, errors x {factor}", **raster_ink)
    axes.plot([], [], "o", color=INK, markersize=3, label="measured crossings")
    _picture_axes(
        axes, ideal, "from the marks' middle" if found.grid.placed else "from the picture's middle, seen straight on"
    )
    figure.legend(loc="outside lower center", ncols=3)
    return Plot("geometry-shape", title, figure)


def _lines(ideal: Ideal, factor: int) -> tuple[list[Floats], list[Floats]]:
    """Every line of the grid that is seen, as far as it is: as it should be, and as it is, its errors drawn larger."""
    reach = _reach(ideal)
    straight, bent = [], []
    for axis, lines in enumerate((ideal.shown.u, ideal.shown.v)):
        along = np.linspace(*reach[1 - axis], _FINE)
        for place in lines[(lines >= reach[axis][0]) & (lines <= reach[axis][1])]:
            across = np.full(_FINE, place)
            u, v = (across, along) if axis == 0 else (along, across)
            straight.append(ideal.at(u, v))
            bent.append(straight[-1] + factor * (ideal.smooth.at(u, v) - straight[-1]))
    return straight, bent


def _ratio(points: Floats) -> float:
    """Height over width of what is shown."""
    width, height = np.nanmax(points, axis=0) - np.nanmin(points, axis=0)
    return float(height / width)


def _reach(ideal: Ideal) -> tuple[tuple[float, float], tuple[float, float]]:
    """The outermost lines that are seen, in u and in v."""
    rows, columns = np.nonzero(where_seen(ideal.nodes))
    u, v = ideal.shown.u[columns], ideal.shown.v[rows]
    return (float(u.min()), float(u.max())), (float(v.min()), float(v.max()))


def _picture_axes(axes: Axes, ideal: Ideal, where: str) -> None:
    unit = "mm" if ideal.grid.placed else "% of the height"
    axes.set_aspect("equal")
    if not axes.yaxis_inverted():
        # Panels may share the axis.
        axes.invert_yaxis()
    axes.set_xlabel(f"right, {unit} {where}")
    axes.set_ylabel(f"down, {unit}")
    axes.grid(False)


def _edges(found: Geometry, ideal: Ideal) -> Plot:
    unit, key = ("mm", "edge_sag_mm") if found.grid.placed else ("% of the height", "edge_sag_percent")
    sags = {side: (found.figures[f"{key}.{side}"], found.uncertainty[f"{key}.{side}"]) for side in SIDES}
    said = [f"{side} {figure(sag, decimals(uncertainty, 2))}" for side, (sag, uncertainty) in sags.items()]
    title = f"Bends of the edges, inward positive: {', '.join(said)} {unit}"
    sheet, (axes,) = plot_sheet(
        title, "How far the outermost lines that are seen lie off the straight line between their ends.", 3.6
    )
    along = np.linspace(-1, 1, _FINE)
    inward = {"left": 1, "right": -1, "top": 1, "bottom": -1}
    for side in SIDES:
        place = np.full(_FINE, found.outermost[side])
        upright = side in SIDES[:2]
        line = ideal.smooth.at(place, along) if upright else ideal.smooth.at(along, place)
        chord = line[-1] - line[0]
        away = line - line[0]
        off = (chord[0] * away[:, 1] - chord[1] * away[:, 0]) / np.hypot(*chord)
        colour, dashes = _SIDE[side]
        axes.plot(along, off * inward[side] * (-1 if upright else 1), dashes, color=colour, label=side, linewidth=1.8)
    axes.axhline(0, color=INK, linewidth=1)
    axes.set_xlabel("along the edge: left and right from the top, top and bottom from the left")
    axes.set_xticks([-1, 0, 1], ["start", "middle", "end"])
    axes.set_ylabel(f"inward, {unit}")
    _at_least(axes, _LEAST * ideal.height)
    axes.legend(loc="upper left", bbox_to_anchor=(1, 1))
    return Plot("geometry-edges", title, sheet)


def _at_least(axes: Axes, reach: float) -> None:
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, -reach), max(high, reach))


def _linearity(found: Geometry, ideal: Ideal) -> Plot:
    title = linearity_finding(found)
    figure, panels = plot_sheet(
        title, "How much each cell is larger than the mean of its row or column, before any adjustment.", 3.4, 2
    )
    smooth = found.smooth
    assert smooth is not None
    words = (("middle row", "width", "from the left"), ("middle column", "height", "from the top"))
    for axis, (axes, (line, size, way)) in enumerate(zip(panels, words, strict=True)):
        errors = cell_errors(smooth, ideal.shown, axis)
        numbers = np.arange(1, len(errors) + 1)
        worst = int(np.argmax(np.abs(errors)))
        axes.bar(numbers, errors, width=0.8, color=[ORANGE if i == worst else BLUE for i in range(len(errors))])
        axes.axhline(0, color=INK, linewidth=1)
        axes.set_title(f"{line}: {size} of cells", fontsize=10, loc="left")
        axes.set_xlabel(f"cell, {way}; the largest error is orange")
        axes.set_ylabel("% off the mean")
        axes.grid(False, axis="x")
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlim(0.4, len(errors) + 0.6)
        _at_least(axes, 0.3)
    low = min(axes.get_ylim()[0] for axes in panels)
    high = max(axes.get_ylim()[1] for axes in panels)
    for axes in panels:
        axes.set_ylim(low, high)
    return Plot("geometry-linearity", title, figure)


# --- Convergence ------------------------------------------------------------------------------------------------------


def _maps(found: Convergence, ideal: Ideal) -> Plot:
    unit = "mm" if found.grid.placed else "% of the height"
    title = convergence_finding(found)
    guns = [gun for gun in AGAINST_GREEN if gun in found.maps]
    # Not at every node: arrows need room.
    every = max(1, round(ideal.shown.u.size / 10))
    factor = exaggeration(found.offsets, 1.6 * every * ideal.cell, MOST_LARGER_GUNS)
    turn = np.linspace(0, 2 * np.pi, 181)
    circle = ideal.at(np.cos(turn) / found.picture_aspect, np.sin(turn))
    (low_u, high_u), (low_v, high_v) = _reach(ideal)
    u, v = np.meshgrid(np.linspace(low_u, high_u, _FINE), np.linspace(low_v, high_v, _FINE))
    places = ideal.at(u, v)
    arrows = ideal.wanted() + factor * found.offsets
    points = np.concatenate([circle, places.reshape(-1, 2), arrows.reshape(-1, 2)])
    figure, panels = plot_sheet(
        title,
        f"Distance from green; arrows show which way, drawn {factor} times as large. The circle is the centre zone.",
        1.6 + 7.0 / len(guns) * _ratio(points),
        len(guns),
        sharey=True,
    )
    sizes = {gun: _sizes(found.maps[gun], u, v) for gun in guns}
    top = max([_LEAST * ideal.height, *(float(size.max()) for size in sizes.values())])
    levels = MaxNLocator(_CONTOURS).tick_values(0, top)
    shades = LinearSegmentedColormap.from_list("", ["#ffffff", "#8d96a1"])
    drawn: Any = None
    low, high = np.nanmin(points, axis=0), np.nanmax(points, axis=0)
    for axes, gun in zip(panels, guns, strict=True):
        drawn = axes.contourf(places[..., 0], places[..., 1], sizes[gun], levels=levels, cmap=shades)
        offsets, starts = found.offsets[list(AGAINST_GREEN).index(gun)], ideal.wanted()
        seen = where_seen(offsets)
        seen &= (np.arange(seen.shape[0]) % every == seen.shape[0] // 2 % every)[:, None]
        seen &= np.arange(seen.shape[1]) % every == seen.shape[1] // 2 % every
        how: dict[str, Any] = {"angles": "xy", "scale_units": "xy", "scale": 1, "color": _GUN[gun]}
        axes.quiver(*starts[seen].T, *(offsets[seen] * factor).T, width=0.008, headwidth=3.5, headlength=4, **how)
        axes.plot(*circle.T, color=INK, linewidth=1, linestyle="--")
        axes.set_xlim(low[0] - 0.03 * (high - low)[0], high[0] + 0.03 * (high - low)[0])
        axes.set_ylim(low[1] - 0.03 * (high - low)[1], high[1] + 0.03 * (high - low)[1])
        _picture_axes(axes, ideal, "from the middle")
        axes.xaxis.set_major_locator(MaxNLocator(5))
        axes.set_title(f"{gun} against green", fontsize=10, loc="left", color=_GUN[gun])
    for axes in panels[1:]:
        axes.set_ylabel("")
    bar = figure.colorbar(drawn, ax=panels, location="bottom", shrink=0.7, aspect=40)
    bar.set_label(f"distance from green, {unit}")
    return Plot("convergence-map", title, figure)


def _sizes(smooth: Smooth, u: Floats, v: Floats) -> Floats:
    way = smooth.at(u.ravel(), v.ravel())
    return np.hypot(way[:, 0], way[:, 1]).reshape(u.shape)


def _rows(found: Convergence, ideal: Ideal) -> Plot:
    unit = "mm" if found.grid.placed else "% of the height"
    reach = _reach(ideal)
    words = (
        ("middle row", "sideways", "right of green", "left", "right"),
        ("middle column", "up and down", "below green", "top", "bottom"),
    )
    title = f"Middle row and column: {_most(found, reach, ideal.height, unit)}"
    figure, panels = plot_sheet(
        title,
        "Red and blue against green along the middle row and column; bands are two standard uncertainties.",
        3.4,
        2,
        sharey=True,
    )
    for axis, (axes, (line, way, positive, first, last)) in enumerate(zip(panels, words, strict=True)):
        along = np.linspace(*reach[axis], _FINE)
        for gun, smooth in found.maps.items():
            u, v = _through(along, axis)
            value, uncertainty = smooth.at(u, v)[:, axis], smooth.spread(u, v)[:, axis]
            dashes = "-" if gun == "red" else "--"
            axes.plot(along, value, dashes, color=_GUN[gun], label=gun, linewidth=1.8)
            axes.fill_between(
                along, value - 2 * uncertainty, value + 2 * uncertainty, color=_GUN[gun], alpha=0.15, linewidth=0
            )
        axes.axhline(0, color=INK, linewidth=1)
        axes.set_title(f"{line}, {way}", fontsize=10, loc="left")
        axes.set_xticks([-1, 0, 1], [first, "middle", last])
        axes.set_ylabel(f"{positive}, {unit}")
    # Both panels share the axis: only now all of it is known.
    _at_least(panels[0], _LEAST * ideal.height)
    panels[0].legend(loc="best")
    return Plot("convergence-middle", title, figure)


def _through(along: Floats, axis: int) -> tuple[Floats, Floats]:
    none = np.zeros(len(along))
    return (along, none) if axis == 0 else (none, along)


def _most(found: Convergence, reach: Sequence[tuple[float, float]], height: float, unit: str) -> str:
    told = []
    for gun, smooth in found.maps.items():
        sizes = []
        for axis, way in enumerate(("sideways", "up or down")):
            u, v = _through(np.linspace(*reach[axis], _FINE), axis)
            value, uncertainty = smooth.at(u, v)[:, axis], float(np.median(smooth.spread(u, v)[:, axis]))
            size = max(float(np.abs(value).max()), 2 * uncertainty, _LEAST / 2 * height)
            sizes.append(f"{amount(size, uncertainty, unit)} {way}")
        told.append(f"{gun} within {', '.join(sizes)}")
    return "; ".join(told)
