"""How far red and blue land beside green: at every node, by zone, and split into what adjustments move.

Differences of two guns' nodes are as smooth over the picture as the deflection that makes them, so each node is taken
from the smooth map of all of them (`smooth.py`). Where a node and its neighbours lie clearly off that map together, as
over a magnetised spot of the mask, what they share is added. So single nodes' noise does not make the largest figure,
and what noise is left in it is taken back (`largest`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.raster.controls import CONVERGENCE_CONTROLS, Control
from analysis.raster.geometry.figures import NO_MARKS, fitted, fitted_grid
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
from analysis.raster.quantities import CONVERGENCE_KEYS, convergence
from analysis.raster.unplaced import GREEN

__all__ = ["AGAINST_GREEN", "ZONES", "Convergence", "measure_convergence", "moved_by_controls", "zones"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Pair = tuple[float, float]
"""A value and its standard uncertainty."""

AGAINST_GREEN = {"red": 0, "blue": 2}
"""The guns that are compared with green, and their places among the guns."""
ZONES = ("centre", "top_left", "top_right", "bottom_left", "bottom_right", "rest")
"""The circle whose diameter is the picture height; the corners beyond two thirds of both ways out; what is left."""
_IN_PERCENT = {one.path: one.beside for one in convergence() if one.beside}
"""Where each figure in mm is in percent of the picture height."""

_CORNER = 2 / 3
_CORNERS = (("top_left", -1, -1), ("top_right", 1, -1), ("bottom_left", -1, 1), ("bottom_right", 1, 1))
_CLEARLY = 4.5
"""How many uncertainties neighbours have to lie off the map together to count by themselves."""
_FEWEST_NEIGHBOURS = 4


@dataclass(frozen=True, eq=False, kw_only=True)
class Convergence:
    """What was measured: what is not in `figures` is not available, and `reasons` says why."""

    figures: Mapping[str, float]
    """By path, as in `analysis.raster.quantities`."""
    uncertainty: Mapping[str, float]
    """Standard uncertainties, in the unit of the figures."""
    reasons: Mapping[str, str]
    """By path, by the beginning of one, or by the name of a gun."""
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
    """The fitted map of the offsets of each gun that could be measured."""
    scaling: tuple[int, ...] = ()
    """Which causes of the maps, counted from the last (-1), make all offsets larger or smaller and turn none around."""


def measure_convergence(grid: GlassGrid, picture_aspect: float, doubts: Sequence[GlassGrid] = ()) -> Convergence:
    """Misconvergence at every node with its standard uncertainty, and its figures.

    `picture_aspect` and `doubts` are as in `measure_geometry`; what moves all guns alike hardly matters here.
    """
    aspect = float(picture_aspect)
    offsets = np.full((2, *grid.nodes.shape[1:]), np.nan)
    found = Convergence(
        figures={},
        uncertainty={},
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
        return replace(found, reasons=dict.fromkeys(CONVERGENCE_KEYS, f"of green {reason}"))
    flat, green = fitted(grid, GREEN, aspect)
    others = [fitted_grid(doubt, GREEN, aspect) for doubt in doubts]
    parts, reasons = _measured_guns(flat, others)
    for part in parts:
        found.offsets[part.index], found.sigma[part.index] = part.offsets, part.sigma
    if not parts:
        return replace(found, reasons=dict.fromkeys(CONVERGENCE_KEYS, "; ".join(reasons.values())))
    height = 2 * float(np.hypot(*(green.coefficients @ projection(grid.shown, green.powers, POWERS[:3])[2])))
    fields = [_Field.of(part, grid.shown, aspect) for part in parts]
    unseen = _unseen(fields)
    own = _distances(fields)
    for part in parts:
        own |= _moved(part, grid.shown)
    shares = {
        _IN_PERCENT[name]: (100 / height * value, 100 / height * uncertainty)
        for name, (value, uncertainty) in own.items()
    }
    if not grid.placed:
        reasons |= {name.split(".")[0]: NO_MARKS for name in _IN_PERCENT}
    pairs = {**own, **shares} if grid.placed else shares
    return replace(
        found,
        figures={name: value for name, (value, _) in pairs.items()},
        uncertainty={name: uncertainty for name, (_, uncertainty) in pairs.items()},
        reasons={**reasons, **unseen, **{_IN_PERCENT[name]: why for name, why in unseen.items()}},
        height=height,
        maps={part.gun: part.doubted for part in parts},
        scaling=tuple(i - len(doubts) for i, doubt in enumerate(doubts) if doubt.scales),
    )


def _measured_guns(flat: GlassGrid, others: Sequence[GlassGrid]) -> tuple[list[_GunOffsets], dict[str, str]]:
    """The offsets of each gun of which enough is seen, and why there are none of another; `others` are the doubts."""
    parts: list[_GunOffsets] = []
    reasons: dict[str, str] = {}
    for k, (gun, index) in enumerate(AGAINST_GREEN.items()):
        places = flat.nodes[index] - flat.nodes[GREEN]
        missing = too_little(flat.shown, places)
        if not where_seen(places).any():
            reasons[gun] = (
                f"{gun} is not seen along green's lines: it is not lit, or lies too far from them; bring it near by eye"
            )
        elif missing is not None:
            reasons[gun] = f"of {gun} with green {missing}"
        else:
            plain = fit_smooth(flat.shown, places, np.hypot(flat.sigma[index], flat.sigma[GREEN]))
            doubted = plain.doubted([other.nodes[index] - other.nodes[GREEN] for other in others])
            parts.append(_GunOffsets.of(plain, doubted, flat.shown, k))
    return parts, reasons


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
    """One gun's offsets from green, as they came out and as they might have come out."""

    gun: str
    index: int
    """Its place in `AGAINST_GREEN`."""
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
        local, uncertainty = _shared(plain)
        u, v = (axis.ravel() for axis in np.meshgrid(shown.u, shown.v))
        shape = plain.places.shape
        seen = where_seen(plain.places)[..., None]
        offsets = plain.at(u, v).reshape(shape) + local
        sigma = np.hypot(doubted.spread(u, v).reshape(shape), uncertainty)
        drawn = plain.drawn(seed=index)
        doubts = plain.coefficients + doubted.causes[len(plain.causes) :]
        return cls(
            gun=list(AGAINST_GREEN)[index],
            index=index,
            plain=plain,
            doubted=doubted,
            offsets=np.where(seen, offsets, np.nan),
            sigma=np.where(seen, sigma, np.nan),
            batch=np.concatenate([plain.coefficients[None], doubts, drawn]),
            local=local,
            draws=len(drawn),
        )


def _shared(smooth: Smooth) -> tuple[Floats, Floats]:
    """(rows, columns, 2) twice: what a node and its eight neighbours clearly share beyond the map, and its uncertainty.

    It is the median of the nine, so that no single node counts.
    """
    window = np.lib.stride_tricks.sliding_window_view(
        np.pad(smooth.rest, ((1, 1), (1, 1), (0, 0)), constant_values=np.nan), (3, 3), axis=(0, 1)
    )
    nine = window.reshape(*smooth.rest.shape, 9)
    count = np.isfinite(nine).sum(axis=-1)
    enough = (count >= _FEWEST_NEIGHBOURS) & where_seen(smooth.places)[..., None]
    middle = np.nanmedian(np.where(enough[..., None], nine, 0.0), axis=-1)
    # The standard uncertainty of the median of n normal values is sqrt(pi / 2n) of their spread.
    uncertainty = np.where(enough, smooth.sigma, np.inf) * np.sqrt(np.pi / 2 / np.maximum(count, 1))
    clear = np.abs(middle) > _CLEARLY * uncertainty
    return np.where(clear, middle, 0.0), np.where(clear, uncertainty, 0.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class _Field:
    """How far one gun lies from green at the crossings where it was seen."""

    gun: str
    sizes: Floats
    """(1 + doubts + draws, nodes): by the map, by that of every doubt, and by draws of the noise."""
    zones: Mapping[str, Bools]
    """(nodes,) each: which of them lie in a zone."""
    draws: int

    @classmethod
    def of(cls, part: _GunOffsets, shown: ShownGrid, aspect: float) -> _Field:
        fields, u, v = _at_crossings(part, shown)
        return cls(
            gun=part.gun, sizes=np.hypot(fields[:, 0], fields[:, 1]), zones=zones(u, v, aspect), draws=part.draws
        )

    def inside(self, zone: str) -> Floats:
        """The sizes in one zone."""
        return self.sizes[:, self.zones[zone]]


def _at_crossings(part: _GunOffsets, shown: ShownGrid) -> tuple[Floats, Floats, Floats]:
    """(maps, 2, nodes): a gun's offsets where it was seen, and u and v there."""
    seen = where_seen(part.plain.places)
    u, v = (axis[seen] for axis in np.meshgrid(shown.u, shown.v))
    return part.batch @ part.plain.basis(u, v).T + part.local[seen].T, u, v


def _unseen(fields: Sequence[_Field]) -> dict[str, str]:
    """Why there is no figure in mm of a zone in which nothing of a gun is seen."""
    reasons = {
        f"zones_mm.{zone}.{field.gun}": "no crossing with green is seen there"
        for field in fields
        for zone in ZONES
        if not field.zones[zone].any()
    }
    if not any(field.zones["centre"].any() for field in fields):
        reasons["centre_max_mm"] = "no crossing with green is seen there"
    return reasons


def _distances(fields: Sequence[_Field]) -> dict[str, Pair]:
    """The largest distances from green: of each gun by zone, of both in the centre and anywhere; in mm."""
    by_zone = {
        (zone, field.gun): _largest(field.inside(zone), field.draws)
        for field in fields
        for zone in ZONES
        if field.zones[zone].any()
    }
    found = {f"zones_mm.{zone}.{gun}": (one.value, one.uncertainty) for (zone, gun), one in by_zone.items()}
    for name, among in (("centre_max_mm", ("centre",)), ("overall_max_mm", ZONES)):
        # Doubts and draws of all guns are in the same order.
        together = np.concatenate([field.inside(zone) for field in fields for zone in among], axis=1)
        if not together.shape[1]:
            continue
        most = _largest(together, fields[0].draws)
        for (zone, _), one in by_zone.items():
            # Each is freed of its own noise; a zone that stands out of it is not more than the whole.
            if zone in among and one.value > max(most.value, _CLEARLY * one.noise):
                most = one
        found[name] = most.value, most.uncertainty
    return found


@dataclass(frozen=True, slots=True)
class _Largest:
    """The largest of several amounts."""

    value: float
    noise: float
    """What noise leaves uncertain of it."""
    uncertainty: float
    """With all that moves nodes together."""


def _largest(sizes: Floats, draws: int) -> _Largest:
    """The largest of amounts (1 + doubts + draws, nodes)."""
    return _with_doubts(sizes.max(axis=1), draws)


def _with_doubts(values: Floats, draws: int) -> _Largest:
    value, noise = largest(float(values[0]), values[-draws:])
    return _Largest(value, noise, float(np.hypot(noise, np.linalg.norm(values[1:-draws] - values[0]))))


def _moved(part: _GunOffsets, shown: ShownGrid) -> dict[str, Pair]:
    """What the controls move of one gun, and the root mean square of what they leave at the crossings; in mm."""
    amounts = moved_by_controls(shown, part.plain, part.batch)
    changes = moved_by_controls(shown, part.plain, part.doubted.causes)
    left, u, v = _at_crossings(part, shown)
    found: dict[str, Pair] = {}
    for (control, amount), (_, change) in zip(amounts, changes, strict=True):
        axis, term = control.terms[0]
        i, j = POWERS[TERMS.index(term)]
        left[:, "xy".index(axis)] -= amount[:, None] * u**i * v**j
        found[f"parts.{part.gun}.{control.part}"] = float(amount[0]), float(np.linalg.norm(change))
    remains = _with_doubts(np.sqrt((left**2).sum(axis=1).mean(axis=1)), part.draws)
    found[f"parts.{part.gun}.remains"] = remains.value, remains.uncertainty
    return found
