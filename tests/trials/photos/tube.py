"""SIMULATION: a picture tube as numbers, and where its guns put a point of the picture.

Glass positions are millimetres in the plane of the marks, x right, y down. Picture coordinates u, v run from -1 to 1,
right and down. Guns are in the order red, green, blue.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from patterns.scene import Scene

__all__ = [
    "GREEN",
    "NO_SHIFT",
    "TERMS",
    "Blotch",
    "Mask",
    "MaskKind",
    "Terms",
    "Tube",
    "basis",
    "deflection",
    "dots_mm",
    "nodes_mm",
    "overscan_percent",
    "terms",
]

Floats = NDArray[np.float64]
Row = tuple[float, ...]
Terms = tuple[Row, Row]
"""Millimetres of every term of `TERMS`, for x and for y."""

TERMS = ("1", "u", "v", "uv", "u2", "v2", "u3", "uv2", "u2v", "v3")
GREEN = 1


def terms(x: Mapping[str, float] | None = None, y: Mapping[str, float] | None = None) -> Terms:
    """Millimetres by the names of `TERMS`; what is not named is 0."""
    for name in (*(x or {}), *(y or {})):
        if name not in TERMS:
            raise ValueError(f"{name!r} is none of {TERMS}")
    first, second = (tuple(float((given or {}).get(name, 0.0)) for name in TERMS) for given in (x, y))
    return first, second


NO_SHIFT = terms()


def basis(u: ArrayLike, v: ArrayLike) -> Floats:
    """(..., 10): the terms at picture points."""
    a, b = np.broadcast_arrays(np.asarray(u, np.float64), np.asarray(v, np.float64))
    return np.stack((np.ones_like(a), a, b, a * b, a * a, b * b, a**3, a * b * b, a * a * b, b**3), axis=-1)


def _slopes(u: Floats, v: Floats) -> tuple[Floats, Floats]:
    one, none = np.ones_like(u), np.zeros_like(u)
    by_u = np.stack((none, one, none, v, 2 * u, none, 3 * u * u, v * v, 2 * u * v, none), axis=-1)
    by_v = np.stack((none, none, one, u, none, 2 * v, none, 2 * u * v, u * u, 3 * v * v), axis=-1)
    return by_u, by_v


def deflection(
    width: float,
    height: float,
    *,
    centre: tuple[float, float] = (0.0, 0.0),
    rotation_deg: float = 0.0,
    parallelogram_deg: float = 0.0,
    x: Mapping[str, float] | None = None,
    y: Mapping[str, float] | None = None,
) -> Terms:
    """The usual words as terms: a picture of `width` by `height` mm, turned clockwise, its axes off the square.

    `x` and `y` are added in mm: "uv" keystone, "uv2" and "u2v" pincushion, "u2" and "v2" linearity (or bow in the
    other direction), "u3" and "v3" the S.
    """
    turn, lean = np.radians(rotation_deg), np.radians(rotation_deg + parallelogram_deg)
    plain = terms(
        {"1": centre[0], "u": width / 2 * np.cos(turn), "v": -height / 2 * np.sin(lean)},
        {"1": centre[1], "u": width / 2 * np.sin(turn), "v": height / 2 * np.cos(lean)},
    )
    more = terms(x, y)
    first, second = (tuple(a + b for a, b in zip(p, q, strict=True)) for p, q in zip(plain, more, strict=True))
    return first, second


class MaskKind(StrEnum):
    """What stands behind the glass."""

    NONE = "none"
    DOTS = "dots"
    """Round holes, phosphor dots in triads."""
    SLOTS = "slots"
    """Upright slots with bridges, staggered from triad to triad."""
    STRIPES = "stripes"
    """An aperture grille: stripes from top to bottom."""


@dataclass(frozen=True, kw_only=True)
class Mask:
    """A mask. `pitch_mm` is the distance of equal phosphors: of dots the nearest, else the horizontal one."""

    kind: MaskKind = MaskKind.DOTS
    pitch_mm: float = 0.26
    turn_deg: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Blotch:
    """A soft round spot where a gun's light is changed: what a magnetised mask or a worn phosphor looks like."""

    x_mm: float
    y_mm: float
    radius_mm: float
    gain: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Of each gun in the middle of the spot."""


@dataclass(frozen=True, kw_only=True)
class Tube:
    """A simulated tube; the defaults are a good 4:3 set, its picture 300 mm high, a little larger than its glass."""

    deflection: Terms = field(default_factory=lambda: deflection(400, 300))
    """Where green lands, in mm."""
    red: Terms = NO_SHIFT
    """Red's place less green's, in mm."""
    blue: Terms = NO_SHIFT
    glass_mm: tuple[float, float, float, float] = (-192.0, -144.0, 192.0, 144.0)
    """The visible glass: left, top, right, bottom."""
    corner_mm: float = 12.0
    """Radius of the visible glass's corners."""
    glass_radius_mm: float | None = None
    """Of the sphere that the face is part of; None is a flat face."""
    is_cylinder: bool = False
    """Whether the face is curved from left to right only."""
    depth_mm: float = 0.0
    """How far the face lies behind the marks' plane; of a curved one where it reaches their corners, or their sides."""
    spot_mm: tuple[float, float, float] = (0.30, 0.28, 0.32)
    """Standard deviations of each gun's spot at black."""
    spot_growth: float = 0.25
    """How much larger the spot is at white, as a share."""
    mask: Mask = Mask()
    pairing: float = 0.0
    """How far the second field lies off the middle between the first one's lines, in lines of a frame."""
    falloff: float = 0.2
    """Light lost in the picture's corners, as a share."""
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Light of each gun at white."""
    blotches: tuple[Blotch, ...] = ()

    def gun_terms(self, gun: int) -> Floats:
        """(2, 10): the deflection of one gun."""
        shift = (self.red, NO_SHIFT, self.blue)[gun]
        return np.asarray(np.array(self.deflection) + np.array(shift), np.float64)

    def places(self, u: ArrayLike, v: ArrayLike, gun: int) -> Floats:
        """(..., 2): where a gun puts picture points, in mm."""
        return basis(u, v) @ self.gun_terms(gun).T

    def picture_points(self, places: ArrayLike, gun: int) -> Floats:
        """(..., 2): the picture points (u, v) that a gun puts to `places` (..., 2), by Newton's method."""
        target = np.asarray(places, np.float64)
        given = self.gun_terms(gun)
        affine = np.linalg.inv(given[:, 1:3])
        found = (target - given[:, 0]) @ affine.T
        # Far outside the picture the polynomial may fold over; nothing is shown there.
        outside = np.abs(found).max(axis=-1, keepdims=True) > 1.6
        for _ in range(6):
            u, v = found[..., 0], found[..., 1]
            miss = basis(u, v) @ given.T - target
            by_u, by_v = (slope @ given.T for slope in _slopes(u, v))
            determinant = by_u[..., 0] * by_v[..., 1] - by_u[..., 1] * by_v[..., 0]
            step_u = (miss[..., 0] * by_v[..., 1] - miss[..., 1] * by_v[..., 0]) / determinant
            step_v = (miss[..., 1] * by_u[..., 0] - miss[..., 0] * by_u[..., 1]) / determinant
            step = np.stack((step_u, step_v), axis=-1)
            found = found - np.where(outside, 0.0, step)
        return found

    def gain(self, places: Floats, gun: int) -> Floats:
        """Light of a gun at `places` (..., 2), as a share of the middle's."""
        x, y = places[..., 0], places[..., 1]
        half = np.hypot(self.deflection[0][1], self.deflection[1][2])
        light = self.balance[gun] * (1 - self.falloff * np.clip((x * x + y * y) / half**2, 0, 1.5))
        for blotch in self.blotches:
            away = ((x - blotch.x_mm) ** 2 + (y - blotch.y_mm) ** 2) / blotch.radius_mm**2
            light = light * (1 + (blotch.gain[gun] - 1) * np.exp(-(away**2)))
        return np.asarray(light)

    @property
    def curved(self) -> Floats:
        """(2,): 1 for directions in which the face is curved as its radius says."""
        return np.array([1.0, 0.0 if self.is_cylinder else 1.0])

    def bulge(self, places: ArrayLike, corner: tuple[float, float]) -> Floats:
        """(..., 3): glass points with their z; a curved face is `depth_mm` behind the marks at `corner` (mm)."""
        flat = np.asarray(places, np.float64)
        if self.glass_radius_mm is None:
            z = np.full(flat.shape[:-1], self.depth_mm)
        else:
            square, curved = self.glass_radius_mm**2, self.curved
            inner = np.clip(square - flat**2 @ curved, 0, None)
            # Toward the camera is negative z: z points into the tube.
            z = np.sqrt(square - np.square(corner) @ curved) - np.sqrt(inner) + self.depth_mm
        return np.concatenate((flat, z[..., None]), axis=-1)


def _grid(points: Sequence[Any]) -> tuple[Floats, Floats]:
    u = np.array(sorted({float(2 * p.x - 1) for p in points}))
    v = np.array(sorted({float(2 * p.y - 1) for p in points}))
    return u, v


def nodes_mm(tube: Tube, scene: Scene) -> Floats:
    """(3, rows, columns, 2): the truth of every node of a grid, in mm."""
    return _truth(tube, *_grid(scene.nodes))


def dots_mm(tube: Tube, scene: Scene) -> Floats:
    """(3, rows, columns, 2): the truth of the middle of every dot, in mm."""
    return _truth(tube, *_grid(scene.dots))


def _truth(tube: Tube, u: Floats, v: Floats) -> Floats:
    over_u, over_v = np.meshgrid(u, v)
    return np.stack([tube.places(over_u, over_v, gun) for gun in range(3)])


def overscan_percent(tube: Tube) -> dict[str, float]:
    """The share of the picture's width (height) beyond the visible glass, along the lines through the glass's middle.

    Negative where the picture ends before the glass does.
    """
    left, top, right, bottom = tube.glass_mm
    x, y = (left + right) / 2, (top + bottom) / 2
    ends = tube.picture_points([(left, y), (right, y), (x, top), (x, bottom)], GREEN)
    return {
        "left": float(50 * (ends[0, 0] + 1)),
        "right": float(50 * (1 - ends[1, 0])),
        "top": float(50 * (ends[2, 1] + 1)),
        "bottom": float(50 * (1 - ends[3, 1])),
    }
