"""What varies evenly over a picture: errors of flat areas, block by block, as one smooth surface.

An error of level is the same wherever a level is shown; here only that counts which differs within areas of one level,
so a wrong level is no error of this kind. Hum goes up and down with the lines, tilt rises or falls along them, shading
does it in both directions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Registration

__all__ = ["Areas", "Surface", "fit_surface"]

Floats = NDArray[np.float64]

_REACH = 8, 5
"""Samples and lines around a sample within which nothing may change where it counts as flat."""
_EVEN, _SLOPE = 0.004, 0.05
"""What may change within that reach, in fractions of white: in a flat area, and down a column of a slope."""
_COLUMNS, _ROWS = 24, 32
"""Blocks across and down."""
_FEWEST = 24
"""Samples of an area in a block that count."""
_HUM = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
"""Periods in a picture that hum is looked for with: one or two of the mains in a field, and beats of them."""
_LEAST = 0.015
"""From top to bottom, in fractions of white, below which nothing is named."""
_EXPLAINED = 0.6
"""Share of what varies that a surface has to account for."""


@dataclass(frozen=True)
class Areas:
    """The flat areas of a drawn raster as they lie in a frame."""

    drawn: NDArray[Any]
    """(rows, columns) of the frame: the luma that was drawn there, the nearest sample of the raster."""
    flat: NDArray[np.bool_]
    """(rows, columns): whether nothing was drawn near that changes the level."""
    tag: NDArray[np.int64]
    """(rows, columns): a number for each level and colour, and for each narrow piece of a slope."""

    @classmethod
    def of(cls, planes: tuple[Any, Any, Any], place: Registration) -> Areas:
        """From the drawn raster's luma, C'B and C'R, (rows, columns), lying in the frame at `place`."""
        # What is examined in full needs it, a good frame does not.
        from scipy.ndimage import maximum_filter1d, minimum_filter1d

        def spread(plane: Any, axis: int) -> Any:
            size = 2 * _REACH[1 - axis] + 1
            return maximum_filter1d(plane, size, axis=axis, mode="nearest") - minimum_filter1d(
                plane, size, axis=axis, mode="nearest"
            )

        down = np.maximum.reduce([spread(plane, 0) for plane in planes])
        across = np.maximum.reduce([spread(plane, 1) for plane in planes])
        # Where two edges meet, neither direction alone shows the corner.
        near = maximum_filter1d(np.maximum(down, 0), 2 * _REACH[0] + 1, axis=1, mode="nearest")
        flat = (near < _EVEN) & (across < _SLOPE)
        # Slopes are steady; an edge that is soft is not.
        sloped = flat & (across >= _EVEN)
        tag = sum(
            np.round(plane * 250).astype(np.int64) * factor
            for plane, factor in zip(planes, (1, 1000, 1000000), strict=True)
        )
        steady = np.abs(np.diff(planes[0], 2, axis=1, prepend=planes[0][:, :1], append=planes[0][:, -1:])) < 1e-3
        flat &= ~sloped | steady
        rows, columns = (_nearest(axis) for axis in (place.y, place.x))
        inside = np.outer(*((at >= 0) & (at < size) for at, size in zip((rows, columns), flat.shape, strict=True)))
        at = np.ix_(np.clip(rows, 0, flat.shape[0] - 1), np.clip(columns, 0, flat.shape[1] - 1))
        _, tags = np.unique(np.where(flat, tag, -(10**12))[at], return_inverse=True)
        return cls(drawn=planes[0][at], flat=flat[at] & inside, tag=tags.reshape(inside.shape))

    @cached_property
    def blocks(self) -> NDArray[np.int64]:
        """(rows, columns): the block of each sample."""
        height, width = self.flat.shape
        down = np.arange(height) * _ROWS // height
        across = np.arange(width) * _COLUMNS // width
        blocks: NDArray[np.int64] = down[:, None] * _COLUMNS + across[None, :]
        return blocks

    @cached_property
    def keys(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Of the flat samples: their index, and their number of level and block; and the samples of each number."""
        where = np.flatnonzero(self.flat)
        both = self.tag.ravel()[where] * (_ROWS * _COLUMNS) + self.blocks.ravel()[where]
        return where, both, np.bincount(both)


def _nearest(axis: Any) -> NDArray[np.int64]:
    places: NDArray[np.int64] = np.floor((np.arange(axis.frame) + 0.5 - axis.offset) / axis.scale).astype(np.int64)
    return places


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """A smooth error over the picture."""

    id: str
    """hum, tilt or shading; empty where there is none."""
    swing: float = 0.0
    """From its lowest to its highest place, in fractions of white (of the level where `of_gain`)."""
    periods: float = 0.0
    """Of hum: in the height of the picture."""
    of_gain: bool = False
    """Whether it multiplies levels, rather than adding to them."""
    explained: float = 0.0
    """Share of what varies that it accounts for."""
    values: Floats | None = None
    """(rows, columns) of the frame: the surface itself, its mean zero."""
    left: float = 0.0
    """Deviation of the blocks that it leaves, in fractions of white."""

    def taken_out(self, plane: Any) -> Any:
        """A component's fractions, (rows, columns), without the surface."""
        if self.values is None:
            return plane
        return plane / (1 + self.values) if self.of_gain else plane - self.values


@dataclass(frozen=True, slots=True)
class _Blocks:
    """Means of blocks, less the mean of their level."""

    error: Floats
    weight: Floats
    level: Floats
    x: Floats
    y: Floats
    group: NDArray[np.int64]

    def centred(self, values: Floats) -> Floats:
        """Less the weighted mean of each level."""
        total = np.bincount(self.group, self.weight)
        mean: Floats = np.bincount(self.group, self.weight * values) / np.maximum(total, 1e-12)
        return values - mean[self.group]

    def fit(self, columns: list[Floats]) -> tuple[Floats, float]:
        """Weighted least squares: the factors, and what is left as a sum of squares."""
        root = np.sqrt(self.weight)
        design = np.stack([self.centred(column) for column in columns], axis=1) * root[:, None]
        design = np.concatenate([design, 1e-4 * np.eye(len(columns))])
        seen = np.append(self.error * root, np.zeros(len(columns)))
        factors = np.asarray(np.linalg.lstsq(design, seen, rcond=None)[0], np.float64)
        rest = seen - design @ factors
        return factors, float(rest @ rest)


def fit_surface(areas: Areas, plane: Any, noise: float) -> Surface:
    """The smooth error of a component, (rows, columns) of fractions; `noise` is a sample's standard deviation."""
    blocks = _blocks(areas, plane, noise)
    if blocks is None:
        return Surface(id="")
    whole = float(blocks.weight @ blocks.error**2)
    spread = float(np.sqrt(whole / blocks.weight.sum()))
    if spread < _LEAST / 8:
        return Surface(id="", left=spread)
    count = len(blocks.error)
    best: tuple[float, str, bool, float, Floats, float] | None = None
    for name, periods, terms in _families():
        columns = terms(blocks.x, blocks.y)
        for of_gain in (False, True):
            used = [column * blocks.level for column in columns] if of_gain else columns
            factors, left = blocks.fit(used)
            price = len(columns) + (0.5 if of_gain else 0.0)
            score = count * np.log(left / count + 1e-9) + 3 * price * np.log(count)
            if best is None or score < best[0]:
                best = score, name, of_gain, periods, factors, left
    assert best is not None
    _, name, of_gain, periods, factors, left = best
    height, width = areas.flat.shape
    y, x = (np.linspace(-1, 1, size) for size in (height, width))
    terms = next(terms for other, own, terms in _families() if (other, own) == (name, periods))
    values = np.zeros((height, width))
    for factor, column in zip(factors, terms(x[None, :], y[:, None]), strict=True):
        values = values + factor * column
    # Shading is a loss against the middle; the others go both ways.
    values = values - (values[height // 2, width // 2] if name == "shading" else values.mean())
    swing = float(np.ptp(values))
    explained = 1 - left / max(whole, 1e-12)
    at_levels = swing * (float(np.max(np.abs(blocks.level))) if of_gain else 1.0)
    rest = float(np.sqrt(left / blocks.weight.sum()))
    if at_levels < _LEAST or explained < _EXPLAINED:
        return Surface(id="", left=spread)
    return Surface(
        id=name, swing=swing, periods=periods, of_gain=of_gain, explained=explained, values=values, left=rest
    )


def _families() -> list[tuple[str, float, Any]]:
    """The kinds of surface: name, periods, and what makes their terms of x and y, each from -1 to 1."""
    found: list[tuple[str, float, Any]] = [("tilt", 0.0, lambda x, y: [x + 0 * y])]
    for count in _HUM:
        found.append(
            (
                "hum",
                count,
                lambda x, y, count=count: [np.sin(np.pi * count * y) + 0 * x, np.cos(np.pi * count * y) + 0 * x],
            )
        )
    found.append(("shading", 0.0, lambda x, y: [x + 0 * y, y + 0 * x, x * x + 0 * y, y * y + 0 * x, x * y]))
    return found


def _blocks(areas: Areas, plane: Any, noise: float) -> _Blocks | None:
    where, both, often = areas.keys
    if not len(where):
        return None
    values = np.asarray(plane, np.float64).ravel()[where]
    sums = np.bincount(both, values)
    used = np.flatnonzero(often >= _FEWEST)
    if len(used) < 12:
        return None
    mean, count = sums[used] / often[used], often[used].astype(np.float64)
    tag, block = used // (_ROWS * _COLUMNS), used % (_ROWS * _COLUMNS)
    _, group = np.unique(tag, return_inverse=True)
    # A code of 8 bits is known to a third of it, however many samples there are.
    weight = 1 / (noise**2 / count + 0.0015**2)
    total = np.bincount(group, weight)
    level = (np.bincount(group, weight * mean) / total)[group]
    # Blocks that stand out are no part of a smooth surface.
    error = mean - level
    usual = 4 * float(np.median(np.abs(error))) * 1.4826 + 0.01
    weight = weight * (np.abs(error) < max(usual, 0.12))
    blocks = _Blocks(
        error=error,
        weight=weight / weight.max(),
        level=level,
        x=2 * (block % _COLUMNS + 0.5) / _COLUMNS - 1,
        y=2 * (block // _COLUMNS + 0.5) / _ROWS - 1,
        group=group,
    )
    return _Blocks(blocks.centred(error), blocks.weight, level, blocks.x, blocks.y, group)
