"""The lines of a grid, followed gun by gun through a photograph at its full size.

A line is sampled across at every pixel of its length, and averaged over pieces of a quarter of a cell: scan lines, the
mask's openings and moire are averaged away there, and a piece is short enough for the line to be straight in it. The
middle of a piece is the centroid of its light, weighted by a bell about the middle itself, so it does not hang on how
wide the line is or how its light is shared among scan lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.raster.lattice.crossings import Lattice

__all__ = ["Line", "Trail", "bell_of", "follow", "line_width"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

PIECES = 4
"""Pieces of a line in a cell."""
_CLEAR = 0.1
"""Share of a cell beside a crossing that is left out at least: the other line's light is there."""
_BEYOND = 1.35
"""Cells that a line is followed beyond its last crossing, to where its light ends."""
_DIM = 0.3
"""Share of a line's usual light below which a piece is not taken."""
_NARROW, _WIDE = 0.87, 1.3
"""Shares of a line's usual width outside which a piece is partly hidden, or is more than a line."""
_UNLIT = 0.12
"""Share of the brightest gun's light below which another gun is dark: channels see a little of each other."""
_NEAREST = 0.35
"""Share of a cell that is looked at on each side of a line."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Line:
    """One line in a photograph's pixels. `along` is x for level lines and y for upright ones; `across` the other."""

    number: int
    upright: bool
    along: Floats
    """(pieces,)."""
    across: Floats
    """(pieces, 3): where each gun's light has its middle; NaN where it is not seen."""
    cell: float
    """Mean length of a cell along the line, in pixels."""
    ends: tuple[float, float]
    """Where along the line its light ends, before and behind; NaN where the photograph does not show it."""
    clipped: float
    """Share of the line's middle that is clipped."""
    width: float
    """Standard deviation of its light across, in pixels."""
    lead: int = 1
    """The gun that lines are counted by."""

    def at(self, along: Floats) -> Floats:
        """`across` of the leading gun's pieces at places between them, by straight interpolation."""
        middle = self.across[:, self.lead]
        told = np.isfinite(middle)
        found: Floats = np.interp(along, self.along[told], middle[told])
        return found


def line_width(light: Singles, lattice: Lattice, cell: float) -> float:
    """Standard deviation of a usual line across, in pixels of `light`, from pieces all over the lattice."""
    reach = np.linspace(-_NEAREST, _NEAREST, 57)
    found = []
    for row in range(lattice.rows[0] + 1, lattice.rows[1]):
        along = np.arange(lattice.columns[0], lattice.columns[1]) + 0.5
        places = lattice.places(along[:, None] + 0 * reach, row + reach + 0 * along[:, None])
        x, y = (np.clip(np.round(places[..., i]).astype(int), 0, light.shape[1 - i] - 1) for i in (0, 1))
        seen = light[y, x].astype(np.float64)
        seen = np.clip(seen - np.percentile(seen, 30, axis=1, keepdims=True), 0, None)
        seen[seen < 0.15 * seen.max(axis=1, keepdims=True)] = 0
        weight = seen.sum(axis=1)
        middle = (seen @ reach) / np.maximum(weight, 1e-9)
        square = np.sum(seen * (reach - middle[:, None]) ** 2, axis=1) / np.maximum(weight, 1e-9)
        found.append(np.sqrt(square[weight > 0]))
    return float(np.median(np.concatenate(found))) * cell if found else 0.04 * cell


@dataclass(frozen=True, slots=True, kw_only=True)
class Trail:
    """What lines are followed by."""

    width: float
    """A usual line's standard deviation across, in pixels."""
    clip: float
    """The light from which samples are clipped."""
    lead: int = 1
    """The gun whose light says where lines end."""
    alone: bool = False
    """Whether only that gun's line is followed, since the others lie too far from it."""


def follow(linear: NDArray[Any], lattice: Lattice, number: int, upright: bool, trail: Trail) -> Line | None:
    """Follow line `number` of a lattice in `linear`, (rows, columns, 3) of linear light.

    None where nothing is seen of it.
    """
    width, clip, lead = trail.width, trail.clip, trail.lead
    strip = _straightened(linear, lattice, number, upright, width)
    if strip is None:
        return None
    within, clear = strip.at - np.floor(strip.at), strip.clear
    used = np.flatnonzero(strip.inside & (within > clear) & (within < 1 - clear))
    part = ((within[used] - clear) / (1 - 2 * clear) * PIECES).astype(int)
    piece = np.floor(strip.at[used]).astype(int) * PIECES + np.clip(part, 0, PIECES - 1)
    pieces, starts, counts = np.unique(piece, return_index=True, return_counts=True)
    if not len(pieces):
        return None
    sums = np.add.reduceat(strip.light[:, used], starts, axis=1, dtype=np.float64)
    profiles = np.moveaxis(sums / counts[None, :, None], 1, 0)
    along = np.add.reduceat(strip.places[used], starts) / counts
    middle = np.add.reduceat(strip.middle[used], starts) / counts
    offset, light, spread = _centroids(profiles, strip.reach, width, lead if trail.alone else None)
    usual = np.nanmedian(light, axis=0)
    usual_spread = np.nanmedian(spread, axis=0)
    share = light / np.maximum(_smoothed(light), 1e-9)
    good = (light > _DIM * usual) & (share > 0.5) & (share < 2)
    good &= (spread > _NARROW * usual_spread) & (spread < _WIDE * usual_spread)
    good &= (np.abs(offset) < 0.8 * (strip.reach[-1] - 2 * width)) & (counts > 0.4 * np.median(counts))[:, None]
    # A gun that is not lit at all has no line.
    good &= usual > _UNLIT * np.max(usual)
    brightest = lead if trail.alone else int(np.argmax(usual))
    if good[:, brightest].sum() < 2 * PIECES or not good[:, lead].any():
        return None
    core = np.abs(strip.reach) <= max(1.0, 0.6 * width)
    return Line(
        number=number,
        upright=upright,
        along=along,
        across=np.where(good, middle[:, None] + offset, np.nan),
        cell=strip.cell,
        ends=_ends(strip, pieces[good.any(axis=1)], lead),
        clipped=float(np.mean(strip.light[core][:, used] >= clip)),
        width=_true_width(usual_spread[brightest], width),
        lead=lead,
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class _Strip:
    """A line with what lies beside it, sampled square to the way that the lattice has it going."""

    light: Singles
    """(reach, places, 3)."""
    reach: Floats
    """(reach,): pixels across, from the lattice's line."""
    places: Floats
    """(places,): pixels along."""
    middle: Floats
    """(places,): the lattice's line, in pixels across."""
    at: Floats
    """(places,): numbers of columns or rows along the line, whole at crossings."""
    inside: NDArray[np.bool_]
    """(places,): whether the photograph has the whole reach."""
    cell: float
    """Mean length of a cell along the line, in pixels."""
    width: float
    """Standard deviation of a usual line across, in pixels."""
    crossings: tuple[int, int]
    """Numbers of the first and the last crossing."""

    @property
    def clear(self) -> float:
        """Share of a cell on each side of a crossing in which the other line's light is."""
        return max(_CLEAR, 3.2 * self.width / self.cell)


def _straightened(linear: NDArray[Any], lattice: Lattice, number: int, upright: bool, width: float) -> _Strip | None:
    """The strip of a line; arguments as of `follow`. None where too little of it is in the photograph."""
    first, last = lattice.rows if upright else lattice.columns
    numbers = np.arange(first - _BEYOND, last + _BEYOND + 1e-9, 1 / 16)
    fixed = np.full_like(numbers, number)
    path = lattice.places(fixed, numbers) if upright else lattice.places(numbers, fixed)
    along, across = (path[:, 1], path[:, 0]) if upright else (path[:, 0], path[:, 1])
    if np.any(np.diff(along) <= 0):
        return None
    cell = float(np.mean(np.diff(along))) * 16
    half = int(np.ceil(min(_NEAREST * cell, 5.5 * width + 0.06 * cell + 3)))
    length, breadth = linear.shape[:2] if upright else linear.shape[1::-1]
    begin, end = max(0, int(np.ceil(along[0]))), min(length - 1, int(along[-1]))
    if end - begin < 2 * cell:
        return None
    places = np.arange(begin, end + 1, dtype=np.float64)
    middle = np.interp(places, along, across)
    reach = np.arange(-half, half + 1, dtype=np.float64)
    along_map = np.ascontiguousarray(np.broadcast_to(places.astype(np.float32), (len(reach), len(places))))
    across_map = (middle[None, :] + reach[:, None]).astype(np.float32)
    x, y = (across_map, along_map) if upright else (along_map, across_map)
    # Blue is first in memory, and the other order would be copied.
    light = cv2.remap(linear[..., ::-1], x, y, cv2.INTER_LINEAR)[..., ::-1]
    return _Strip(
        light=light.astype(np.float32),
        reach=reach,
        places=places,
        middle=middle,
        at=np.interp(places, along, numbers),
        inside=(middle > half) & (middle < breadth - 1 - half),
        cell=cell,
        width=width,
        crossings=(first, last),
    )


def bell_of(width: float) -> float:
    """Standard deviation in pixels of the bell that centroids of lines of that `width` are weighted with."""
    return 1.5 * width + 0.3


def _true_width(seen: float, width: float) -> float:
    """The width of a line of which a bell has made `seen`."""
    bell = bell_of(width)
    return float(np.sqrt(1 / max(1 / max(seen, 1e-6) ** 2 - 1 / bell**2, 1e-6)))


def _smoothed(light: Floats) -> Floats:
    """A running median along the line: corners may be dimmer, and a reflection lies on what is under it."""
    padded = np.pad(np.nan_to_num(light), ((PIECES, PIECES), (0, 0)), mode="edge")
    found: Floats = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * PIECES + 1, axis=0), axis=-1)
    return found


def _centroids(profiles: Floats, reach: Floats, width: float, gun: int | None) -> tuple[Floats, Floats, Floats]:
    """Middle, light and standard deviation of profiles (pieces, reach, 3), each (pieces, 3).

    They are looked for at the brightest place of all guns together, or of one.
    """
    side = max(2, len(reach) // 8)
    low, high = profiles[:, :side].mean(axis=1), profiles[:, -side:].mean(axis=1)
    # Uneven light, and a reflection's edge, as a slope under the line.
    slope = (high - low) / (reach[-side:].mean() - reach[:side].mean())
    ground = (low + high) / 2
    light = profiles - ground[:, None] - slope[:, None] * reach[None, :, None]
    bell = np.exp(-0.5 * (np.arange(-3, 3.5) / 1.5) ** 2)
    bright = light.sum(axis=2) if gun is None else light[..., gun]
    smooth = np.apply_along_axis(np.convolve, 1, bright, bell, mode="same")
    start = reach[np.argmax(smooth, axis=1)]
    middle = np.repeat(start[:, None], 3, axis=1)
    bell_width = bell_of(width)
    amount = spread = np.zeros_like(middle)
    for _ in range(7):
        away = reach[None, :, None] - middle[:, None]
        weight = np.exp(-0.5 * (away / bell_width) ** 2)
        seen = weight * light
        total = np.sum(seen, axis=1)
        safe = np.where(np.abs(total) > 1e-12, total, 1e-12)
        moved = np.sum(seen * away, axis=1) / safe
        # Under a bell only a part of the distance is seen: for a line of that width so much more of it is left.
        middle = middle + np.clip(moved * (1 + (width / bell_width) ** 2), -2 * width - 1, 2 * width + 1)
        amount = total / np.sum(weight * weight, axis=1)
        square = np.sum(seen * away**2, axis=1) / safe
        spread = np.sqrt(np.maximum(square, 0))
    return middle, amount, spread


def _ends(strip: _Strip, pieces: NDArray[np.int64], gun: int) -> tuple[float, float]:
    """Where along a line a gun's light falls to half of what it is shortly before; `pieces` are those it is seen in.

    NaN where the photograph does not show it.
    """
    light, at, places = strip.light, strip.at, strip.places
    side = max(2, len(strip.reach) // 8)
    ground = (light[:side].mean(axis=0) + light[-side:].mean(axis=0))[:, gun] / 2
    # At a crossing the other line lies beside this one: there the ground is as it is before and behind.
    crossing = np.round(at)
    first, last = strip.crossings
    crossed = (np.abs(at - crossing) < strip.clear) & (crossing >= first - 1) & (crossing <= last + 1)
    ground = np.where(crossed, np.interp(places, places[~crossed], ground[~crossed]), ground)
    core = np.abs(strip.reach) <= 1.2 * strip.width + 1
    above = np.where(strip.inside, light[core].mean(axis=0)[:, gun] - ground, np.nan)
    step = max(1, round(1.5 * strip.width))
    smooth = np.convolve(above, np.ones(2 * step + 1) / (2 * step + 1), mode="same")
    found = []
    for piece, sign in ((pieces[0], -1), (pieces[-1], 1)):
        # The last piece may be hidden in part.
        edge = (piece + 0.5 - sign) / PIECES
        near = (at * sign <= edge * sign) & (at * sign > edge * sign - 1)
        usual = float(np.nanmedian(smooth[near])) if near.any() else np.nan
        beyond = np.flatnonzero(at * sign > edge * sign)[::sign]
        # Steps outward until the light is gone and stays away.
        values = smooth[beyond]
        low = np.flatnonzero(values < 0.5 * usual)
        if not np.isfinite(usual) or not len(low) or np.isnan(values[: low[0] + 1]).any() or low[0] == 0:
            found.append(np.nan)
            continue
        i = int(low[0])
        share = (values[i - 1] - 0.5 * usual) / max(values[i - 1] - values[i], 1e-9)
        found.append(float(places[beyond[i - 1]] + sign * share))
    return found[0], found[1]
