"""The sides of black squares on white, found along their whole length; where they cross are the squares' corners.

A corner itself is rounded by any blur, and a lens bends sides by a part of a pixel: so each side is a parabola through
many crossings of the level half-way between black and white, in linear light.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.photo.file import Photo
from analysis.photo.targets import MARK_MODULES

__all__ = ["side_curves"]

Floats = NDArray[np.float64]

_ENDS = 0.09
"""Share of a side that is left out at both ends, where the other side's blur is."""
_MOST_PLACES = 60
_STEP_PX = 2.0
"""Between two places along a side: nearer ones tell the same, since blur spans them."""
_REACH_MODULES = (0.75, 0.4)
"""Modules to both sides of an edge that are looked at, first and then again: white and black are one module wide."""
_SAMPLES = 33
"""Across an edge."""
_LEAST_CONTRAST = 0.001
"""Of linear light, between black and white."""
_LEAST_SHARE = 0.6
"""Of a side's places that have to show an edge."""
_SOFT_PX = 1.5
_SOFT_MODULES = 0.06
"""Deviation of a blur, the lesser of both: JPEG spreads colour over a few pixels, and a coloured fringe with it."""
_SHARED = 4
"""Neighbouring places along a side that share their noise, by that blur and by smoothing along the side."""


def side_curves(photo: Photo, rough: Floats) -> tuple[Floats, Floats]:
    """Corners (..., 4, 2) of squares, and their standard uncertainties, from corners that are right to a few pixels.

    NaN where a square's sides are not clear.
    """
    flat = rough.reshape(-1, 4, 2)
    corners, sigma = np.full(flat.shape, np.nan), np.full(flat.shape, np.nan)
    for i, square in enumerate(flat):
        corners[i], sigma[i] = _square(photo, square)
    return corners.reshape(rough.shape), sigma.reshape(rough.shape)


def _square(photo: Photo, rough: Floats) -> tuple[Floats, Floats]:
    nothing = np.full((4, 2), np.nan), np.full((4, 2), np.nan)
    width, height = photo.size
    side = float(np.hypot(*(np.roll(rough, -1, axis=0) - rough).T).mean())
    margin = side / MARK_MODULES + 3
    left, top = np.maximum(np.floor(rough.min(axis=0) - margin), 0).astype(int)
    right, bottom = np.minimum(np.ceil(rough.max(axis=0) + margin), (width, height)).astype(int) + 1
    green = np.ascontiguousarray(photo.linear(slice(top, bottom), slice(left, right))[..., 1])
    light = cv2.GaussianBlur(green, (0, 0), min(_SOFT_PX, _SOFT_MODULES * side / MARK_MODULES))
    corners, sigma = rough - (left, top), np.zeros((4, 2))
    curves = np.zeros((4, 3))
    for reach in _REACH_MODULES:
        found = [
            _curve(light, corners[i], corners[(i + 1) % 4], curves[i], reach * side / MARK_MODULES) for i in range(4)
        ]
        if any(one is None for one in found):
            return nothing
        sides = [one for one in found if one is not None]
        corners, sigma = _crossings(sides, corners)
        # The curves' frames go from corner to corner: the next round begins straight between the new ones.
        curves = np.array([_bend(one, corners[i], corners[(i + 1) % 4]) for i, one in enumerate(sides)])
    return corners + np.array((left, top)), sigma


class _Side:
    """A parabola across the straight line from `start` to `stop`: y = c0 + c1 t + c2 t^2, t in [-1, 1] along it."""

    def __init__(self, start: Floats, stop: Floats, weights: Floats, covariance: Floats) -> None:
        self.middle, self.half = (start + stop) / 2, (stop - start) / 2
        self.normal = np.array([self.half[1], -self.half[0]]) / np.hypot(*self.half)
        self.weights, self.covariance = weights, covariance

    def at(self, t: float) -> Floats:
        """The point at t."""
        away = self.weights @ (1, t, t * t)
        return np.asarray(self.middle + t * self.half + away * self.normal)

    def slope(self, t: float) -> Floats:
        """The derivative by t."""
        return np.asarray(self.half + (self.weights[1] + 2 * t * self.weights[2]) * self.normal)

    def doubt(self, t: float) -> float:
        """Standard uncertainty across the curve at t."""
        powers = np.array([1, t, t * t])
        return float(np.sqrt(max(powers @ self.covariance @ powers, 0.0)))


def _bend(side: _Side, start: Floats, stop: Floats) -> Floats:
    """The parabola's part that is left when its ends are moved onto it: bend alone."""
    bend = side.weights[2]
    return np.array([-bend, 0.0, bend])


def _curve(light: NDArray[Any], start: Floats, stop: Floats, bent: Floats, reach: float) -> _Side | None:
    """The edge between two corners; None where there is no clear one. Clockwise, white lies to the left of the way."""
    length = float(np.hypot(*(stop - start)))
    count = int(np.clip(length * (1 - 2 * _ENDS) / _STEP_PX, 6, _MOST_PLACES))
    t = np.linspace(-1 + 2 * _ENDS, 1 - 2 * _ENDS, count)
    offsets = np.linspace(-reach, reach, _SAMPLES)
    straight = _Side(start, stop, bent, np.zeros((3, 3)))
    base = np.polynomial.polynomial.polyval(t, bent)
    across = base[:, None] + offsets
    places = straight.middle + t[:, None, None] * straight.half + across[..., None] * straight.normal
    seen = cv2.remap(
        light,
        places[..., 0].astype(np.float32),
        places[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float64)
    # A little smoothing along the edge takes noise away before the crossing is looked for.
    smooth = np.asarray(cv2.blur(seen, (1, 3), borderType=cv2.BORDER_REPLICATE), np.float64)
    crossed = _half_crossings(smooth, offsets)
    good = np.isfinite(crossed)
    if good.sum() < max(5, _LEAST_SHARE * count):
        return None
    return _fitted(start, stop, t[good], (base + crossed)[good])


def _half_crossings(seen: Floats, offsets: Floats) -> Floats:
    """(places,): the offset at which light rises half-way from black (first) to white (last); NaN where it does not."""
    black = np.median(seen[:, : _SAMPLES // 5])
    white = np.median(seen[:, -_SAMPLES // 5 :])
    if white - black < _LEAST_CONTRAST or white < 1.3 * black:
        return np.full(len(seen), np.nan)
    # Light and shade may run along a side: levels of each place, held near by those of the whole side.
    own_black, own_white = seen[:, : _SAMPLES // 5].mean(axis=1), seen[:, -_SAMPLES // 5 :].mean(axis=1)
    share = (seen - own_black[:, None]) / np.maximum(own_white - own_black, 0.3 * (white - black))[:, None] - 0.5
    rises = (share[:, :-1] < 0) & (share[:, 1:] >= 0)
    # One edge and no more: a place with two of them is covered by something.
    single = rises.sum(axis=1) == 1
    at = rises.argmax(axis=1)
    rows = np.arange(len(seen))
    low, high = share[rows, at], share[rows, at + 1]
    step = offsets[1] - offsets[0]
    return np.where(single, offsets[at] + step * -low / np.where(high > low, high - low, 1.0), np.nan)


def _fitted(start: Floats, stop: Floats, t: Floats, away: Floats) -> _Side | None:
    """A parabola through the places of an edge, without those that lie astray."""
    kept = np.ones(len(t), bool)
    design = np.stack((np.ones_like(t), t, t * t), axis=1)
    for _ in range(4):
        weights = np.linalg.lstsq(design[kept], away[kept], rcond=None)[0]
        rest = np.abs(away - design @ weights)
        limit = max(4 * 1.4826 * float(np.median(rest[kept])), 0.05)
        better = rest < limit
        if np.array_equal(better, kept) or better.sum() < 5:
            break
        kept = better
    if kept.sum() < max(5, _LEAST_SHARE * len(t)):
        return None
    freedom = max(int(kept.sum()) - 3, 1)
    variance = float((rest[kept] ** 2).sum()) / freedom
    covariance = _SHARED * variance * np.linalg.inv(design[kept].T @ design[kept])
    return _Side(start, stop, np.asarray(weights, np.float64), np.asarray(covariance, np.float64))


def _crossings(sides: list[_Side], corners: Floats) -> tuple[Floats, Floats]:
    """(4, 2) each: where a side meets the one before it, and the standard uncertainty."""
    found, sigma = np.empty((4, 2)), np.empty((4, 2))
    for i in range(4):
        before, after = sides[i - 1], sides[i]
        s, t = 1.0, -1.0
        for _ in range(4):
            matrix = np.stack((before.slope(s), -after.slope(t)), axis=1)
            step = np.linalg.solve(matrix, after.at(t) - before.at(s))
            s, t = s + step[0], t + step[1]
        found[i] = (before.at(s) + after.at(t)) / 2
        # Each side tells the place across itself.
        normals = np.stack((before.normal, after.normal))
        spread = np.linalg.inv(normals)
        sigma[i] = np.sqrt((spread**2) @ np.array([before.doubt(s), after.doubt(t)]) ** 2)
    return found, sigma
