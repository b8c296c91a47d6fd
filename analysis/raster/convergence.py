"""How far red and blue land beside green: at every node, by zone, and split into what adjustments move.

Differences of two guns' nodes are as smooth over the picture as the deflection that makes them, so each node is told by
the smooth map of all of them (`smooth.py`). Where a node and its neighbours lie clearly off that map together, as over
a magnetised spot of the mask, what they share is added. So single nodes' noise does not make the largest figure, and
what noise is left in it is taken back (`largest`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.raster.controls import CONVERGENCE_CONTROLS, Control
from analysis.raster.geometry.figures import NO_MARKS, as_nested, fitted, fitted_grid
from analysis.raster.geometry.smooth import (
    POWERS,
    TERMS,
    Smooth,
    fit_smooth,
    largest,
    projection,
    too_little,
    where_seen,
)
from analysis.raster.grid import GlassGrid, ShownGrid
from analysis.raster.unplaced import GREEN

__all__ = ["AGAINST_GREEN", "FIGURES", "ZONES", "Convergence", "measure_convergence", "moved_by_controls", "zones"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Figure = Any

AGAINST_GREEN = {"red": 0, "blue": 2}
"""The guns that are held against green, and their places among the guns."""
ZONES = ("centre", "top_left", "top_right", "bottom_left", "bottom_right", "rest")
"""The circle whose diameter is the picture height; the corners beyond two thirds of both ways out; what is left."""
FIGURES = (
    "centre_max_mm",
    "centre_max_percent",
    "overall_max_mm",
    "overall_max_percent",
    "zones_mm",
    "zones_percent",
    "parts",
    "parts_percent",
)
"""The names of all figures, in mm and by turns in percent of the picture height."""

_CORNER = 2 / 3
_CORNERS = (("top_left", -1, -1), ("top_right", 1, -1), ("bottom_left", -1, 1), ("bottom_right", 1, 1))
_CLEARLY = 4.5
"""How many uncertainties neighbours have to lie off the map together to be told by themselves."""
_FEWEST_NEIGHBOURS = 4


@dataclass(frozen=True, eq=False, kw_only=True)
class Convergence:
    """What was measured. `figures` and `uncertainty` hold all of `FIGURES`; `reasons` says why one is None."""

    figures: Mapping[str, Figure]
    uncertainty: Mapping[str, Figure]
    reasons: Mapping[str, str]
    """By the name of a figure, or `red`, `blue` where that gun is not told."""
    grid: GlassGrid
    """What was measured from."""
    picture_aspect: float
    offsets: Floats
    """(2, rows, columns, 2): red's and blue's place less green's; NaN where either gun was not seen.

    In mm, without marks in percent of the picture height.
    """
    sigma: Floats
    """(2, rows, columns, 2): their standard uncertainties."""
    height: float | None
    """The picture height, in the unit of the offsets; None where too little is seen."""
    maps: Mapping[str, Smooth]
    """Of each gun that could be told, the fitted map of its offsets."""

    def to_json(self, advice: Sequence[Mapping[str, Any]] = ()) -> dict[str, Any]:
        """What `measure convergence --json` prints."""
        unit = "mm" if self.grid.placed else "percent"
        nodes: list[dict[str, Any]] = []
        unsure: list[dict[str, Any]] = []
        green = self.grid.nodes[GREEN]
        for i, j in np.argwhere(where_seen(green)):
            node: dict[str, Any] = {"u": float(self.grid.shown.u[j]), "v": float(self.grid.shown.v[i])}
            node["x_mm"], node["y_mm"] = (float(part) for part in green[i, j]) if self.grid.placed else (None, None)
            errors: dict[str, Any] = {}
            for k, gun in enumerate(AGAINST_GREEN):
                seen = bool(np.isfinite(self.offsets[k, i, j]).all())
                node[f"{gun}_mm"] = errors[f"{gun}_mm"] = None
                node[f"{gun}_{unit}"] = [float(part) for part in self.offsets[k, i, j]] if seen else None
                errors[f"{gun}_{unit}"] = [float(part) for part in self.sigma[k, i, j]] if seen else None
            nodes.append(node)
            unsure.append(errors)
        return {
            **self.figures,
            "uncertainty": {**self.uncertainty, "nodes": unsure},
            "nodes": nodes,
            "advice": list(advice),
            "reasons": dict(self.reasons),
        }


def measure_convergence(grid: GlassGrid, picture_aspect: float, doubts: Sequence[GlassGrid] = ()) -> Convergence:
    """Misconvergence at every node with its standard uncertainty, and its figures.

    `picture_aspect` and `doubts` are as in `measure_geometry`; what moves all guns alike hardly matters here.
    """
    aspect = float(picture_aspect)
    nothing: dict[str, Figure] = dict.fromkeys(FIGURES)
    offsets = np.full((2, *grid.nodes.shape[1:]), np.nan)
    found = Convergence(
        figures=nothing,
        uncertainty=nothing,
        reasons={},
        grid=grid,
        picture_aspect=aspect,
        offsets=offsets,
        sigma=offsets.copy(),
        height=None,
        maps={},
    )
    reason = too_little(grid.shown, grid.nodes[GREEN])
    if reason is not None:
        return replace(found, reasons=dict.fromkeys(FIGURES, f"of green {reason}"))
    flat, green = fitted(grid, GREEN, aspect)
    others = [fitted_grid(doubt, GREEN, aspect) for doubt in doubts]
    reasons: dict[str, str] = {}
    parts: list[_GunOffsets] = []
    for k, (gun, index) in enumerate(AGAINST_GREEN.items()):
        places = flat.nodes[index] - flat.nodes[GREEN]
        if not where_seen(places).any():
            reasons[gun] = (
                f"{gun} is not seen along green's lines: it is not lit, or lies too far from them; bring it near by eye"
            )
            continue
        missing = too_little(grid.shown, places)
        if missing is not None:
            reasons[gun] = f"of {gun} with green {missing}"
            continue
        plain = fit_smooth(grid.shown, places, np.hypot(flat.sigma[index], flat.sigma[GREEN]))
        doubted = plain.doubted([other.nodes[index] - other.nodes[GREEN] for other in others])
        parts.append(_GunOffsets.of(plain, doubted, grid.shown, k))
        found.offsets[k], found.sigma[k] = parts[-1].offsets, parts[-1].sigma
    if not parts:
        return replace(found, reasons=dict.fromkeys(FIGURES, "; ".join(reasons.values())))
    height = 2 * float(np.hypot(*(green.coefficients @ projection(grid.shown, green.powers, POWERS[:3])[2])))
    if not grid.placed:
        reasons |= dict.fromkeys(FIGURES[::2], NO_MARKS)
    told, unsure = (_in_both(some, height, grid.placed) for some in _figures(parts, grid.shown, aspect))
    return replace(
        found,
        figures=told,
        uncertainty=unsure,
        reasons=reasons,
        height=height,
        maps={part.gun: part.doubted for part in parts},
    )


def _in_both(figures: Mapping[str, Figure], height: float, placed: bool) -> dict[str, Figure]:
    """`FIGURES` in mm, None without marks, and in percent of the picture height."""
    both: dict[str, Figure] = {}
    for name, by_percent in zip(FIGURES[::2], FIGURES[1::2], strict=True):
        both[name] = figures[name] if placed else None
        both[by_percent] = _scaled(figures[name], 100 / height)
    return both


def zones(u: Floats, v: Floats, picture_aspect: float) -> dict[str, Bools]:
    """Which points of the picture lie in which of `ZONES`."""
    centre = np.hypot(u * picture_aspect, v) <= 1
    corner = (np.abs(u) > _CORNER) & (np.abs(v) > _CORNER) & ~centre
    found = {"centre": centre}
    for name, right, down in _CORNERS:
        found[name] = corner & (u * right > 0) & (v * down > 0)
    return {**found, "rest": ~centre & ~corner}


def moved_by_controls(shown: ShownGrid, smooth: Smooth, maps: Floats) -> list[tuple[Control, Floats]]:
    """Each control with the coefficient (maps,) of its term, in offsets given as coefficients (maps, 2, terms).

    A least-squares fit of all controls at once over the grid's nodes. The coefficient is what the control moves at the
    right or lower edge, of a static one everywhere; those of the edges leave the middle where it is.
    """
    used = ("1", "u", "v", "u2", "v2")
    split = maps @ projection(shown, smooth.powers, tuple(POWERS[TERMS.index(term)] for term in used)).T
    return [
        (control, split[:, "xy".index(control.terms[0][0]), used.index(control.terms[0][1])])
        for control in CONVERGENCE_CONTROLS
    ]


@dataclass(frozen=True, eq=False, kw_only=True)
class _GunOffsets:
    """One gun's offsets from green, as they came out and as they might have."""

    gun: str
    plain: Smooth
    doubted: Smooth
    offsets: Floats
    sigma: Floats
    batch: Floats
    """(1 + doubts + draws, 2, terms): the map, the map of every doubt, and draws of the noise."""
    local: Floats
    """(rows, columns, 2): what neighbours share beyond the map, mostly 0."""
    draws: int

    @classmethod
    def of(cls, plain: Smooth, doubted: Smooth, shown: ShownGrid, index: int) -> _GunOffsets:
        local, unsure = _shared(plain)
        u, v = (axis.ravel() for axis in np.meshgrid(shown.u, shown.v))
        shape = plain.places.shape
        seen = where_seen(plain.places)[..., None]
        offsets = plain.at(u, v).reshape(shape) + local
        sigma = np.hypot(doubted.spread(u, v).reshape(shape), unsure)
        drawn = plain.drawn(seed=index)
        doubts = plain.coefficients + doubted.causes[len(plain.causes) :]
        return cls(
            gun=list(AGAINST_GREEN)[index],
            plain=plain,
            doubted=doubted,
            offsets=np.where(seen, offsets, np.nan),
            sigma=np.where(seen, sigma, np.nan),
            batch=np.concatenate([plain.coefficients[None], doubts, drawn]),
            local=local,
            draws=len(drawn),
        )


def _shared(smooth: Smooth) -> tuple[Floats, Floats]:
    """(rows, columns, 2) twice: what a node and its eight neighbours clearly share beyond the map, and how unsure.

    It is the median of the nine, so that no single node counts.
    """
    window = np.lib.stride_tricks.sliding_window_view(
        np.pad(smooth.rest, ((1, 1), (1, 1), (0, 0)), constant_values=np.nan), (3, 3), axis=(0, 1)
    )
    nine = window.reshape(*smooth.rest.shape, 9)
    count = np.isfinite(nine).sum(axis=-1)
    enough = (count >= _FEWEST_NEIGHBOURS) & where_seen(smooth.places)[..., None]
    middle = np.nanmedian(np.where(enough[..., None], nine, 0.0), axis=-1)
    # The median of n normal values is unsure by sqrt(pi / 2n) of their spread.
    unsure = np.where(enough, smooth.sigma, np.inf) * np.sqrt(np.pi / 2 / np.maximum(count, 1))
    clear = np.abs(middle) > _CLEARLY * unsure
    return np.where(clear, middle, 0.0), np.where(clear, unsure, 0.0)


def _figures(
    parts: Sequence[_GunOffsets], shown: ShownGrid, aspect: float
) -> tuple[dict[str, Figure], dict[str, Figure]]:
    """The figures in mm and their uncertainties, of the guns that could be told."""
    told: dict[str, float | None] = {}
    unsure: dict[str, float | None] = {}
    noise: dict[str, float] = {}
    amounts: dict[str, list[tuple[Floats, int]]] = {"centre": [], "overall": []}
    for part in parts:
        seen = where_seen(part.plain.places)
        u, v = (axis[seen] for axis in np.meshgrid(shown.u, shown.v))
        fields = part.batch @ part.plain.basis(u, v).T + part.local[seen].T
        size = np.hypot(fields[:, 0], fields[:, 1])
        places = zones(u, v, aspect)
        for zone in ZONES:
            name = f"zones_mm.{zone}.{part.gun}"
            inside = size[:, places[zone]]
            told[name], unsure[name] = _largest(inside, part.draws) if inside.shape[1] else (None, None)
            noise[name] = (
                largest(float(inside[0].max()), inside[-part.draws :].max(axis=1))[1] if inside.shape[1] else 0.0
            )
        amounts["centre"].append((size[:, places["centre"]], part.draws))
        amounts["overall"].append((size, part.draws))
        _split(part, shown, fields, u, v, told, unsure)
    for name, among in (("centre_max_mm", ("centre",)), ("overall_max_mm", ZONES)):
        found = amounts[name.split("_")[0]]
        # Doubts and draws of both guns stand in the same order.
        together = np.concatenate([size for size, _ in found], axis=1)
        told[name], unsure[name] = _largest(together, found[0][1]) if together.shape[1] else (None, None)
        for zone in (f"zones_mm.{zone}.{part.gun}" for zone in among for part in parts):
            value, most = told[zone], told[name]
            # Each is freed of its own noise; a zone that stands out of it is not more than the whole.
            if value is not None and most is not None and value > max(most, _CLEARLY * noise[zone]):
                told[name], unsure[name] = value, unsure[zone]
    return as_nested(told), as_nested(unsure)


def _largest(sizes: Floats, draws: int) -> tuple[float, float]:
    """The largest of amounts (1 + doubts + draws, nodes), with its uncertainty."""
    return _with_doubts(sizes.max(axis=1), draws)


def _with_doubts(values: Floats, draws: int) -> tuple[float, float]:
    value, unsure = largest(float(values[0]), values[-draws:])
    return value, float(np.hypot(unsure, np.linalg.norm(values[1:-draws] - values[0])))


def _split(
    part: _GunOffsets,
    shown: ShownGrid,
    fields: Floats,
    u: Floats,
    v: Floats,
    told: dict[str, float | None],
    unsure: dict[str, float | None],
) -> None:
    """Add what the controls move, and the root mean square of what they leave at the nodes."""
    coefficients = moved_by_controls(shown, part.plain, part.batch)
    changes = moved_by_controls(shown, part.plain, part.doubted.causes)
    left = fields.copy()
    for (control, amounts), (_, change) in zip(coefficients, changes, strict=True):
        axis, term = control.terms[0]
        i, j = POWERS[TERMS.index(term)]
        left[:, "xy".index(axis)] -= amounts[:, None] * u**i * v**j
        name = f"parts.{part.gun}.{control.group}.{axis if term == '1' else f'{axis}_{term}'}"
        told[name], unsure[name] = float(amounts[0]), float(np.linalg.norm(change))
    name = f"parts.{part.gun}.remains"
    told[name], unsure[name] = _with_doubts(np.sqrt((left**2).sum(axis=1).mean(axis=1)), part.draws)


def _scaled(figure: Figure, share: float) -> Figure:
    if isinstance(figure, dict):
        return {name: _scaled(value, share) for name, value in figure.items()}
    return None if figure is None else figure * share
