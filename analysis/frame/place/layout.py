"""What a chain did to the raster as a whole: cut off, moved, or scaled otherwise than the frame asks for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Axis, Registration

__all__ = ["layout_faults"]

Floats = NDArray[np.float64]

_FLOOR = 0.15
"""Raster samples that an end may be off in a clean chain: what converters do with their first and last samples."""
_FRACTION = 0.75
"""Raster samples that a picture may lie beside its place before that is a fault: an analogue way does as much."""
_PRICE = 9.0
"""What a freed parameter has to better the fit by, in units of its uncertainty squared."""
_MADE_SMALLER = 0.97
"""Scale below which a frame has not room for all of a raster's lines, or samples."""
_SHAPE = 0.0015
"""Share of a frame by which borders may differ from the shape that a raster should have: conventions differ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutFault:
    """One fault. `sides` are in words."""

    id: str
    confidence: float
    sides: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Kept:
    """One explanation of where the ends of a direction lie."""

    name: str
    cost: float


def layout_faults(registration: Registration, layouts: Sequence[tuple[float, float]]) -> tuple[LayoutFault, ...]:
    """The faults of a registration; `layouts` are the ways in which the whole raster may lie in the frame, centred."""
    named: dict[str, tuple[float, list[str]]] = {}
    for axis, names, index in ((registration.x, ("left", "right"), 0), (registration.y, ("top", "bottom"), 1)):
        if not axis.found:
            continue
        best, confidence = _explained(axis, [layout[index] for layout in layouts])
        for id, sides in _named(axis, best, names):
            old = named.get(id, (0.0, []))
            named[id] = max(old[0], confidence), old[1] + sides
    return tuple(LayoutFault(id=id, confidence=found[0], sides=tuple(found[1])) for id, found in named.items())


def _explained(axis: Axis, layouts: Sequence[float]) -> tuple[str, float]:
    """The cheapest explanation of both ends, and how sure it is."""
    ends = np.array([axis.start, axis.stop])
    size = axis.raster
    turn = np.array([[0.0, 1.0], [float(size), 1.0]])
    own = turn @ np.array([[axis.scale_error**2, axis.covariance], [axis.covariance, axis.offset_error**2]]) @ turn.T
    floor = _FLOOR * max(axis.scale, 1.0)
    spread = own + np.eye(2) * floor**2
    tried = [_Kept("whole", _distance(ends - [0.0, axis.frame], spread))]
    for scale in layouts:
        if scale < axis.nominal * 0.998:
            border = (axis.frame - scale * size) / 2
            loose = spread + np.eye(2) * (_SHAPE * axis.frame) ** 2
            tried.append(_Kept("whole", _distance(ends - [border, axis.frame - border], loose)))
    # The raster's own samples, in a frame of another size: cut, or with room beside it.
    if axis.frame != size:
        tried.append(_Kept("own", _along(ends, [0.0, float(size)], spread) + _PRICE))
    tried.append(_Kept("moved", _along(ends, [0.0, float(axis.frame)], spread) + _PRICE))
    tried.append(_Kept("free", 2 * _PRICE))
    best = min(tried, key=lambda kept: kept.cost)
    weights = {kept.name: 0.0 for kept in tried}
    for kept in tried:
        weights[kept.name] += math.exp(-min(kept.cost - best.cost, 200.0) / 2)
    return best.name, weights[best.name] / sum(weights.values())


def _distance(rest: Floats, spread: Floats) -> float:
    return float(rest @ np.linalg.solve(spread, rest))


def _along(ends: Floats, place: Sequence[float], spread: Floats) -> float:
    """Distance from the nearest of all places that are `place` moved by the same amount at both ends."""
    inverse = np.linalg.inv(spread)
    rest, ones = ends - place, np.ones(2)
    move = float(ones @ inverse @ rest) / float(ones @ inverse @ ones)
    return _distance(rest - move, spread)


def _named(axis: Axis, kept: str, names: tuple[str, str]) -> list[tuple[str, list[str]]]:
    """The fault ids of an explanation, with the sides that they concern."""
    if kept == "whole":
        return []
    tolerance = _FRACTION * max(axis.scale, 1.0)
    if axis.scale < _MADE_SMALLER:
        # Of lines by turns light and dark a part is lost there, and with it where they end.
        tolerance += 2 * max(axis.offset_error, axis.stop_error)
    if max(abs(axis.start), abs(axis.stop - axis.frame)) < tolerance:
        return []
    over = [axis.start < -tolerance, axis.stop > axis.frame + tolerance]
    cut = [name for name, is_over in zip(names, over, strict=True) if is_over]
    if kept == "moved":
        return [("shifted", [names[1] if axis.start > 0 else names[0]])]
    if kept == "own":
        return [("cropped", cut)] if cut else []
    if cut and axis.scale > axis.nominal:
        return [("cropped", cut)]
    return [("scaled", list(names))]
