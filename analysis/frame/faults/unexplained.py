"""How much of what was done to a frame's edges one filter along the lines does not account for.

Softness, sharpness, bandwidth, an echo and a small move are one filter that is the same everywhere. What is not so
everywhere, or is no filter at all, is an error of another kind, whatever the nearest of these may be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.frame.place.axes import Registration

__all__ = ["Unexplained", "held_by_filter", "unexplained"]

_TAPS = 5
_ROWS = 120
"""Lines that are looked at, at most."""
_ALIKE = 0.01
"""What a line may differ from its neighbours where it is looked at: what is done down the picture is left out."""
_LEAST, _PLAIN = 0.0045, 0.013
"""Deviation from which what a filter leaves counts where it leaves much, and from which it counts in any case."""
_MUCH = 0.35


@dataclass(frozen=True, slots=True)
class Unexplained:
    """What a filter leaves."""

    rms: float
    """Deviation of luma, in fractions of white, noise taken off."""
    share: float
    """Of what the frame differs by from the raster without a filter, as energy, 0 to 1."""

    @property
    def is_another_kind(self) -> bool:
        return self.rms > _LEAST and (self.share > _MUCH or self.rms > _PLAIN)


def unexplained(luma: Any, drawn: Any, place: Registration, noise: float) -> Unexplained | None:
    """From luma, (rows, columns), against the raster that should be seen; None where no line shows it."""
    at = np.floor((np.arange(len(luma)) + 0.5 - place.y.offset) / place.y.scale).astype(int)
    inside = np.flatnonzero((at >= 4) & (at < len(drawn) - 4))
    rows = inside[:: max(1, len(inside) // (3 * _ROWS))]
    steady = np.max([np.abs(drawn[at[rows] + k] - drawn[at[rows]]).max(axis=1) for k in (-4, -2, -1, 1, 2, 4)], axis=0)
    rows = rows[steady < _ALIKE][:: max(1, int((steady < _ALIKE).sum()) // _ROWS)]
    if len(rows) < 8 or float(np.std(drawn[at[rows]], axis=1).max()) < 0.02:
        return None
    columns = (np.arange(luma.shape[1]) + 0.5 - place.x.offset) / place.x.scale - 0.5
    first = np.floor(columns).astype(int)
    part = (columns - first).astype(np.float32)
    left, right = (np.clip(first + k, 0, drawn.shape[1] - 1) for k in (0, 1))
    kinds, which = np.unique(at[rows], return_inverse=True)
    wanted = (drawn[kinds][:, left] * (1 - part) + drawn[kinds][:, right] * part)[which].astype(np.float64)
    seen = luma[rows].astype(np.float64)
    edge = 3 * _TAPS
    middle = slice(edge, luma.shape[1] - edge)
    design = np.stack(
        [np.roll(wanted, k, axis=1)[:, middle].ravel() for k in range(-_TAPS, _TAPS + 1)]
        + [np.ones(seen[:, middle].size)],
        axis=1,
    )
    target = seen[:, middle].ravel()
    normal = design.T @ design
    normal += 1e-6 * float(np.trace(normal)) / len(normal) * np.eye(len(normal))
    rest = target - design @ np.linalg.solve(normal, design.T @ target)
    plain = target - design[:, _TAPS]
    after = max(float(np.mean(rest**2)) - 1.05 * noise**2, 0.0)
    before = max(float(np.mean(plain**2)) - 1.05 * noise**2, after, 1e-12)
    return Unexplained(rms=after**0.5, share=after / before)


_NEAR_SCALE, _LEAST_MOVE = 0.012, 0.5
"""A scale so near to 1, which moves the ends of the lines by more samples than this, may be the work of a filter."""


def held_by_filter(luma: Any, drawn: Any, place: Registration) -> Registration:
    """The place without a scale that one filter in the raster's own samples accounts for as well.

    Ringing and sharpening change fine stripes in ways that a small change of scale resembles. No filter moves the two
    ends of a line apart, so a frame that was scaled keeps its place.
    """
    x = place.x
    moved, middle = (x.scale - 1) * x.raster, (x.start + x.stop - x.frame) / 2
    if x.raster != x.frame or not place.y.is_whole or abs(x.scale - 1) > _NEAR_SCALE:
        return place
    if abs(moved) < _LEAST_MOVE or abs(middle) > abs(moved):
        return place
    whole = replace(place, x=replace(x, scale=1.0, offset=0.0))
    own, other = (unexplained(luma, drawn, one, 0.0) for one in (place, whole))
    return whole if own is not None and other is not None and other.rms <= own.rms else place
