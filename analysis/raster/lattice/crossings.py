"""Where a grid lies in a reduced photograph, roughly: its crossings, or its dots, with their columns and rows.

A crossing is where light goes off in four directions and none lies between. From the one nearest to the middle the
lattice is grown from neighbour to neighbour, so neither perspective nor a curved raster matters; outer lines, whose
crossings have no light beyond them, are added where light lies along them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["Lattice", "find_lattice"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

_NEAR = 0.28
"""Share of a cell that a neighbour may lie beside the place where it is looked for."""
_FAINT = 0.12
"""Share of a usual crossing's light that a crossing has at least: corners are dimmer, and uneven light helps."""
_FEWEST = 12
"""Crossings that make a grid."""
_ALONG = 0.55
"""Share of an outer line that has to be seen for the line to be there."""
_DEGREE = 3
"""Of the polynomial that carries the lattice to where no crossing was found."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Lattice:
    """Crossings by whole numbers of columns and rows, counted from the one nearest to the photograph's middle."""

    points: Floats
    """(crossings, 2): (x, y) in pixels."""
    labels: NDArray[np.int64]
    """(crossings, 2): (column, row)."""
    columns: tuple[int, int]
    """First and last column that are seen."""
    rows: tuple[int, int]

    def places(self, column: Floats, row: Floats) -> Floats:
        """(..., 2): pixels of any column and row, between and a little beyond the crossings."""
        design = _design(np.asarray(column, np.float64), np.asarray(row, np.float64), self._scale)
        return np.asarray(design @ self._weights, np.float64)

    @cached_property
    def _scale(self) -> Floats:
        return np.array([*self.labels.mean(axis=0), *np.maximum(np.ptp(self.labels, axis=0), 1)], dtype=np.float64)

    @cached_property
    def _weights(self) -> Floats:
        column, row = self.labels.T.astype(np.float64)
        design = _design(column, row, self._scale)
        return np.asarray(np.linalg.lstsq(design, self.points, rcond=1e-9)[0], np.float64)


def _design(column: Floats, row: Floats, scale: Floats) -> Floats:
    u, v = 2 * (column - scale[0]) / scale[2], 2 * (row - scale[1]) / scale[3]
    return np.stack([u**m * v**n for m in range(_DEGREE + 1) for n in range(_DEGREE + 1 - m)], axis=-1)


def find_lattice(light: Singles, cell: float, *, dots: bool = False) -> Lattice | None:
    """The lattice in `light`, (rows, columns), any linear measure of light.

    `cell` is the side of a cell in pixels, to a third of itself. None where there is no such lattice.
    """
    response = _dot_response(light, cell) if dots else _crossing_response(light, cell)
    peaks, strength = _peaks(response, cell)
    if len(peaks) < _FEWEST:
        return None
    usual = float(np.percentile(strength, 90))
    peaks = peaks[strength > _FAINT * usual]
    if len(peaks) < _FEWEST:
        return None
    labels = _grown(peaks, cell, light.shape)
    if labels is None:
        return None
    points = np.array([peaks[i] for i in labels.values()], dtype=np.float64)
    places = np.array(list(labels.keys()), dtype=np.int64)
    columns, rows = (_extent(places[:, axis]) for axis in (0, 1))
    inside = np.all((places >= [columns[0], rows[0]]) & (places <= [columns[1], rows[1]]), axis=1)
    if inside.sum() < _FEWEST or columns[1] - columns[0] < 2 or rows[1] - rows[0] < 2:
        return None
    lattice = Lattice(points=points[inside], labels=places[inside], columns=columns, rows=rows)
    lattice = _without_strays(lattice, cell)
    return lattice if dots else _with_outer_lines(lattice, light, cell)


def _extent(numbers: NDArray[np.int64]) -> tuple[int, int]:
    """First and last number that a fair part of the fullest one's crossings have."""
    counts = np.bincount(numbers - numbers.min())
    kept = np.flatnonzero(counts >= max(2, 0.25 * counts.max())) + numbers.min()
    return int(kept[0]), int(kept[-1])


def _without_strays(lattice: Lattice, cell: float) -> Lattice:
    """Without crossings that lie off where their neighbours have them."""
    for _ in range(2):
        off = np.hypot(*(lattice.places(*lattice.labels.T.astype(np.float64)) - lattice.points).T)
        kept = off < max(0.12 * cell, 4 * float(np.median(off)))
        lattice = Lattice(
            points=lattice.points[kept], labels=lattice.labels[kept], columns=lattice.columns, rows=lattice.rows
        )
    return lattice


# --- What a crossing looks like -------------------------------------------------------------------------------------


def _crossing_response(light: Singles, cell: float) -> Singles:
    """High where light goes off to the left and right, above and below, and none lies between."""
    arm, thick = max(3, round(0.22 * cell)), max(1, round(0.04 * cell))
    side = 2 * thick + 1
    across = cv2.boxFilter(light, -1, (arm, side))
    down = cv2.boxFilter(light, -1, (side, arm))
    move = round(0.2 * cell) + arm // 2
    ground = cv2.boxFilter(light, -1, (max(3, round(0.2 * cell)),) * 2)
    quarters = [_moved(ground, dx, dy) for dx, dy in itertools.product((-move, move), repeat=2)]
    arms = [_moved(across, dx, 0) for dx in (-move, move)] + [_moved(down, 0, dy) for dy in (-move, move)]
    response: Singles = np.minimum.reduce(arms) - np.maximum.reduce(quarters)
    return response


def _dot_response(light: Singles, cell: float) -> Singles:
    """High in the middle of a small bright spot."""
    small = max(3, round(0.09 * cell) | 1)
    spot = cv2.GaussianBlur(light, (0, 0), 0.4 * small)
    move = round(0.32 * cell)
    ways = [(dx, dy) for dx, dy in itertools.product((-move, 0, move), repeat=2) if (dx, dy) != (0, 0)]
    around = np.maximum.reduce([_moved(spot, dx, dy) for dx, dy in ways])
    response: Singles = spot - around
    return response


def _moved(values: NDArray[Any], dx: int, dy: int) -> NDArray[Any]:
    """Values from (dx, dy) further on; the frame's own edge goes on beyond it."""
    rows = np.clip(np.arange(values.shape[0]) + dy, 0, values.shape[0] - 1)
    columns = np.clip(np.arange(values.shape[1]) + dx, 0, values.shape[1] - 1)
    return values[rows][:, columns]


def _peaks(response: Singles, cell: float) -> tuple[Floats, Floats]:
    """Maxima that stand alone, (n, 2) as (x, y) to a fraction of a pixel, and how high they are."""
    smooth = cv2.GaussianBlur(response, (0, 0), max(0.7, 0.03 * cell))
    size = max(3, round(0.45 * cell) | 1)
    highest = cv2.dilate(smooth, np.ones((size, size), np.uint8))
    y, x = np.nonzero((smooth >= highest) & (smooth > 0))
    inside = (x > 0) & (y > 0) & (x < smooth.shape[1] - 1) & (y < smooth.shape[0] - 1)
    x, y = x[inside], y[inside]
    middle = smooth[y, x].astype(np.float64)
    ways = []
    for before, after in ((smooth[y, x - 1], smooth[y, x + 1]), (smooth[y - 1, x], smooth[y + 1, x])):
        bend = before + after - 2 * middle
        ways.append(np.clip(0.5 * (before - after) / np.minimum(bend, -1e-9), -0.5, 0.5))
    return np.stack([x + ways[0], y + ways[1]], axis=1), middle


# --- Growing ----------------------------------------------------------------------------------------------------------


def _grown(peaks: Floats, cell: float, shape: tuple[int, ...]) -> dict[tuple[int, int], int] | None:
    """Peaks by column and row: the largest lattice that grows from one of those near the middle."""
    middle = np.array([shape[1] / 2, shape[0] / 2])
    seeds = np.argsort(np.hypot(*(peaks - middle).T))[:10]
    best: dict[tuple[int, int], int] = {}
    for seed in seeds:
        steps = _first_steps(peaks, int(seed), cell)
        if steps is None:
            continue
        found = _grow(peaks, int(seed), steps)
        if len(found) > len(best):
            best = found
        if len(best) > 0.6 * len(peaks):
            break
    return best if len(best) >= _FEWEST else None


def _first_steps(peaks: Floats, seed: int, cell: float) -> tuple[Floats, Floats] | None:
    """From a peak to its right and to its lower neighbour."""
    away = peaks - peaks[seed]
    distance = np.hypot(*away.T)
    near = np.flatnonzero((distance > 0.6 * cell) & (distance < 1.5 * cell))
    if len(near) < 2:
        return None
    right = [i for i in near if away[i, 0] > 0 and abs(away[i, 1]) < 0.5 * away[i, 0]]
    below = [i for i in near if away[i, 1] > 0 and abs(away[i, 0]) < 0.5 * away[i, 1]]
    if not right or not below:
        return None
    return away[min(right, key=lambda i: distance[i])], away[min(below, key=lambda i: distance[i])]


_WAYS = ((1, 0), (-1, 0), (0, 1), (0, -1))


def _grow(peaks: Floats, seed: int, steps: tuple[Floats, Floats]) -> dict[tuple[int, int], int]:
    found = {(0, 0): seed}
    used = {seed}
    own_steps = {(0, 0): steps}
    queue = [(0, 0)]
    for place in queue:
        here = peaks[found[place]]
        for way, (dx, dy) in enumerate(_WAYS):
            there = place[0] + dx, place[1] + dy
            if there in found:
                continue
            step = own_steps[place][0 if way < 2 else 1]
            sign = 1 if way % 2 == 0 else -1
            away = peaks - (here + sign * step)
            square = away[:, 0] ** 2 + away[:, 1] ** 2
            nearest = int(np.argmin(square))
            if square[nearest] > _NEAR**2 * float(step @ step) or nearest in used:
                continue
            found[there] = nearest
            used.add(nearest)
            taken = sign * (peaks[nearest] - here)
            across, down = own_steps[place]
            own_steps[there] = (0.5 * (across + taken), down) if way < 2 else (across, 0.5 * (down + taken))
            queue.append(there)
    return found


# --- Outer lines ------------------------------------------------------------------------------------------------------


def _with_outer_lines(lattice: Lattice, light: Singles, cell: float) -> Lattice:
    """With the lines beyond the last crossings along which light lies."""
    columns, rows = list(lattice.columns), list(lattice.rows)
    for ends, upright in ((columns, True), (rows, False)):
        others = lattice.rows if upright else lattice.columns
        for side, step in ((0, -1), (1, 1)):
            for number in _outward(ends[side], step):
                if not _is_lit(lattice, light, cell, number, others, upright):
                    break
                ends[side] = number
    return Lattice(
        points=lattice.points,
        labels=lattice.labels,
        columns=(columns[0], columns[1]),
        rows=(rows[0], rows[1]),
    )


def _outward(last: int, step: int) -> Iterator[int]:
    return iter(range(last + step, last + 4 * step, step))


def _is_lit(lattice: Lattice, light: Singles, cell: float, number: int, others: tuple[int, int], upright: bool) -> bool:
    """Whether light lies along a line: in most of its pieces as much above its sides as along the line before it."""
    along = np.arange(others[0], others[1], 0.25) + 0.125
    # Beside crossings, where other lines' light lies.
    along = along[np.abs(along - np.round(along)) > 0.2]
    inner = number - int(np.sign(number - sum(lattice.columns if upright else lattice.rows) / 2))
    rises = []
    for line in (number, inner):
        reach = np.linspace(-0.3, 0.3, 25)
        across = line + reach[None, :] + 0 * along[:, None]
        down = along[:, None] + 0 * reach[None, :]
        places = lattice.places(across, down) if upright else lattice.places(down, across)
        x, y = np.round(places[..., 0]).astype(int), np.round(places[..., 1]).astype(int)
        inside = (x >= 0) & (y >= 0) & (x < light.shape[1]) & (y < light.shape[0])
        seen = np.where(inside, light[np.clip(y, 0, light.shape[0] - 1), np.clip(x, 0, light.shape[1] - 1)], np.nan)
        whole = inside.all(axis=1)
        seen = seen[whole]
        if line == number and (len(seen) < 3 or len(seen) < 0.3 * len(along)):
            return False
        ground = np.maximum(seen[:, :5].mean(axis=1), seen[:, -5:].mean(axis=1))
        rises.append(seen[:, 5:-5].max(axis=1) - ground)
    return bool(np.mean(rises[0] > 0.3 * np.median(rises[1])) > _ALONG)
